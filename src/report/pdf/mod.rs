//! A report as PDF: vector drawings from the same scenes as on screen, text that can be selected,
//! an embedded font, pages that break between rows, and the same bytes for the same report.

mod drawing;
mod face;
mod file;
mod sheet;
mod table;
mod text;

use super::document::{Block, Report, mark};
use super::scene::Size;
use sheet::{Sheet, Tint};

/// The paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 mm × 297 mm.
    #[default]
    A4,
    /// 8.5 in × 11 in.
    Letter,
}

impl Paper {
    /// Its size in points.
    pub const fn size(self) -> Size {
        match self {
            Paper::A4 => Size { width: 595.28, height: 841.89 },
            Paper::Letter => Size { width: 612.0, height: 792.0 },
        }
    }
}

/// Why there is no PDF: the font that is part of the program could not be read.
#[derive(Debug, thiserror::Error)]
#[error("the report's own font cannot be read: {0} (a fault of this program)")]
pub struct PdfError(#[from] ttf_parser::FaceParsingError);

/// The report as the bytes of a PDF file.
pub fn render(report: &Report, paper: Paper) -> Result<Vec<u8>, PdfError> {
    let mut sheet = Sheet::new(paper)?;
    sheet.paragraph(&report.title, Letters { height: 17.0, lead: 21.0, bold: true }, Tint::Ink);
    sheet.paragraph(&report.subtitle, BODY, Tint::Soft);
    sheet.space(3.0);
    sheet.rule(1.4, Tint::Ink);
    for section in &report.sections {
        let first = section.blocks.first().map_or(0.0, |block| least(&sheet, block));
        sheet.heading(&section.heading, first);
        for block in &section.blocks {
            draw(&mut sheet, block);
        }
    }
    Ok(file::written(sheet, report, paper))
}

/// Letters of a paragraph: their height, the distance of base lines, and whether they are bold.
#[derive(Clone, Copy, Debug)]
struct Letters {
    height: f64,
    lead: f64,
    bold: bool,
}

const BODY: Letters = Letters { height: 8.5, lead: 11.8, bold: false };
const SMALL: Letters = Letters { height: 7.2, lead: 9.4, bold: false };

/// How much of a block must stand below its heading on the same page.
fn least(sheet: &Sheet, block: &Block) -> f64 {
    match block {
        Block::Text(_) | Block::List(_) | Block::Facts(_) => 2.0 * BODY.lead,
        Block::Caution(words) => sheet.boxed_height(words),
        Block::Verdict(..) => 4.0 * BODY.lead,
        Block::Table(table) => table::least(sheet, table),
        Block::Drawing(scene, _) => scene.size.height + 3.0 * SMALL.lead,
    }
}

fn draw(sheet: &mut Sheet, block: &Block) {
    match block {
        Block::Text(words) => sheet.paragraph(words, BODY, Tint::Ink),
        Block::Caution(words) => sheet.boxed(words),
        Block::Verdict(verdict, words) => {
            let word = format!("{} {}", mark(*verdict), verdict.word().to_uppercase());
            sheet.verdict(&word, words, Tint::of(*verdict));
        }
        Block::List(items) => items.iter().for_each(|item| sheet.item(item)),
        Block::Facts(facts) => facts.iter().for_each(|(name, value)| sheet.fact(name, value)),
        Block::Table(table) => table::draw(sheet, table),
        Block::Drawing(scene, words) => sheet.figure(scene, words),
    }
    sheet.space(4.0);
}

fn deflated(bytes: &[u8]) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(bytes, 8)
}
