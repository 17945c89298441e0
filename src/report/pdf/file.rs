//! Pages, fonts and outline into one file, the same bytes each time.

use pdf_writer::{Date, Filter, Finish, Name, Pdf, Rect, Ref, TextStr};

use super::drawing::state_name;
use super::sheet::{Mark, Sheet};
use super::{Paper, deflated};
use crate::model::Stamp;
use crate::report::document::Report;
use crate::report::ink::Ink;

/// The refs of a page: itself and its content.
type PageRefs = (Ref, Ref);

pub(super) fn written(mut sheet: Sheet, report: &Report, paper: Paper) -> Vec<u8> {
    sheet.feet(&report.foot);
    let mut pdf = Pdf::new();
    pdf.set_version(1, 7);
    let mut refs = Ref::new(1);
    let [catalog, tree, info, outline, regular, bold] = [(); 6].map(|()| refs.bump());
    let pages: Vec<PageRefs> = sheet.pages.iter().map(|_| (refs.bump(), refs.bump())).collect();
    let covers: Vec<(Ink, Ref)> =
        Ink::all().filter(|i| i.look().cover < 1.0).map(|i| (i, refs.bump())).collect();

    let mut root = pdf.catalog(catalog);
    root.pages(tree).outlines(outline).lang(TextStr("en"));
    root.viewer_preferences().display_doc_title(true);
    root.finish();
    pdf.pages(tree).kids(pages.iter().map(|p| p.0)).count(pages.len() as i32);

    let size = paper.size();
    let contents = std::mem::take(&mut sheet.pages);
    let mut hash = blake3::Hasher::new();
    for ((page, content), drawn) in pages.iter().zip(contents) {
        let mut page = pdf.page(*page);
        page.media_box(Rect::new(0.0, 0.0, size.width as f32, size.height as f32));
        page.parent(tree).contents(*content);
        let mut resources = page.resources();
        let mut fonts = resources.fonts();
        fonts.pair(sheet.faces.regular.resource, regular);
        fonts.pair(sheet.faces.bold.resource, bold);
        fonts.finish();
        let mut states = resources.ext_g_states();
        for (ink, state) in &covers {
            states.pair(Name(&state_name(ink.look().class)), *state);
        }
        states.finish();
        resources.finish();
        page.finish();
        let bytes = drawn.finish();
        hash.update(&bytes);
        pdf.stream(*content, &deflated(&bytes)).filter(Filter::FlateDecode);
    }
    for (ink, state) in covers {
        let cover = ink.look().cover as f32;
        pdf.ext_graphics(state).non_stroking_alpha(cover).stroking_alpha(cover);
    }
    outlined(&mut pdf, &mut refs, outline, &sheet.marks, &pages, size.height);
    sheet.faces.regular.embed(&mut pdf, &mut refs, regular);
    sheet.faces.bold.embed(&mut pdf, &mut refs, bold);

    let mut about = pdf.document_info(info);
    about.title(TextStr(&report.title)).subject(TextStr(&report.subtitle));
    about.creator(TextStr("ohmward")).producer(TextStr("ohmward"));
    if let Some(date) = date(report.as_of) {
        about.creation_date(date).modified_date(date);
    }
    about.finish();
    // The file's id is that of its content: the same report is the same file.
    hash.update(report.title.as_bytes());
    let id = hash.finalize().as_bytes()[..16].to_vec();
    pdf.set_file_id((id.clone(), id));
    pdf.finish()
}

/// The headings as an outline to jump by.
fn outlined(
    pdf: &mut Pdf,
    refs: &mut Ref,
    outline: Ref,
    marks: &[Mark],
    pages: &[PageRefs],
    height: f64,
) {
    let items: Vec<Ref> = marks.iter().map(|_| refs.bump()).collect();
    let mut root = pdf.outline(outline);
    if let (Some(first), Some(last)) = (items.first(), items.last()) {
        root.first(*first).last(*last).count(items.len() as i32);
    }
    root.finish();
    for (i, mark) in marks.iter().enumerate() {
        let mut item = pdf.outline_item(items[i]);
        item.title(TextStr(&mark.words)).parent(outline);
        if i > 0 {
            item.prev(items[i - 1]);
        }
        if let Some(next) = items.get(i + 1) {
            item.next(*next);
        }
        let top = (height - mark.down + 4.0) as f32;
        item.dest().page(pages[mark.page].0).xyz(0.0, top, None);
    }
}

fn date(at: Stamp) -> Option<Date> {
    let text = at.to_string();
    let number = |range: std::ops::Range<usize>| text.get(range)?.parse::<u16>().ok();
    let small = |range| number(range).and_then(|n| u8::try_from(n).ok());
    let date = Date::new(number(0..4)?).month(small(5..7)?).day(small(8..10)?);
    Some(date.hour(small(11..13)?).minute(small(14..16)?).second(small(17..19)?).utc_offset_hour(0))
}
