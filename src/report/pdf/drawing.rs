//! A scene onto paper, by the same table of looks that the screen has.

use pdf_writer::{Content, Name};

use super::sheet::{Sheet, fill, stroke};
use crate::report::ink::Ink;
use crate::report::scene::{Anchor, Item, Scene, Step};

/// The name of the graphics state with a meaning's cover; each page knows all of them.
pub(super) fn state_name(class: &str) -> Vec<u8> {
    format!("G-{class}").into_bytes()
}

/// Draws a scene with its upper left corner at `at`.
pub(super) fn draw(sheet: &mut Sheet, scene: &Scene, at: (f64, f64), scale: f64) {
    let up = sheet.up(at.1);
    let s = scale as f32;
    // Within, points count down from the corner, as in the scene.
    sheet.content().save_state().transform([s, 0.0, 0.0, -s, at.0 as f32, up]);
    items(sheet, &scene.items);
    sheet.content().restore_state();
}

fn items(sheet: &mut Sheet, all: &[Item]) {
    for item in all {
        match item {
            Item::Path { ink, steps } => path(sheet.content(), *ink, steps),
            Item::Text { ink, at, anchor, text } => words(sheet, *ink, *at, *anchor, text),
            Item::Group { items: parts, .. } => items(sheet, parts),
        }
    }
}

fn path(content: &mut Content, ink: Ink, steps: &[Step]) {
    let look = ink.look();
    content.save_state();
    if look.cover < 1.0 {
        content.set_parameters(Name(&state_name(look.class)));
    }
    if let Some(tone) = look.fill {
        fill(content, tone.light);
    }
    let (tone, wide) = look.stroke;
    if wide > 0.0 {
        stroke(content, tone.light);
        content.set_line_width(wide as f32);
        content.set_line_join(pdf_writer::types::LineJoinStyle::RoundJoin);
        if let Some((dash, gap)) = look.dash {
            content.set_dash_pattern([dash as f32, gap as f32], 0.0);
        }
    }
    for step in steps {
        match step {
            Step::Move((x, y)) => content.move_to(*x as f32, *y as f32),
            Step::Line((x, y)) => content.line_to(*x as f32, *y as f32),
            Step::Curve(a, b, c) => {
                let [a, b, c] = [a, b, c].map(|(x, y)| (*x as f32, *y as f32));
                content.cubic_to(a.0, a.1, b.0, b.1, c.0, c.1)
            }
            Step::Close => content.close_path(),
        };
    }
    match (look.fill.is_some(), wide > 0.0) {
        (true, true) => content.fill_nonzero_and_stroke(),
        (true, false) => content.fill_nonzero(),
        (false, true) => content.stroke(),
        (false, false) => content.end_path(),
    };
    content.restore_state();
}

fn words(sheet: &mut Sheet, ink: Ink, (x, y): (f64, f64), anchor: Anchor, text: &str) {
    let look = ink.look();
    let face = sheet.faces.of(look.bold);
    let wide = face.width(text, look.letters);
    let left = match anchor {
        Anchor::Start => x,
        Anchor::Middle => x - wide / 2.0,
        Anchor::End => x - wide,
    };
    let (name, bytes) = (face.resource, face.encode(text));
    let content = sheet.content();
    if let Some(tone) = look.fill {
        fill(content, tone.light);
    }
    // The page is upside down here; letters are not.
    content
        .begin_text()
        .set_font(name, look.letters as f32)
        .set_text_matrix([1.0, 0.0, 0.0, -1.0, left as f32, y as f32])
        .show(pdf_writer::Str(&bytes))
        .end_text();
}
