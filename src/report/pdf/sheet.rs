//! Paper that is written from top to bottom: what does not fit goes to a new page.

use pdf_writer::{Content, Name, Str};

use super::drawing;
use super::face::Faces;
use super::text::wrapped;
use super::{BODY, Letters, Paper, PdfError, SMALL};
use crate::model::Verdict;
use crate::report::scene::Scene;

/// Width of what is written, the same on both papers.
pub(super) const WIDTH: f64 = 505.0;

/// From the upper edge to the first line, and from the last to the lower edge.
const TOP: f64 = 46.0;
const BOTTOM: f64 = 50.0;

/// Colours of text and rules, dark enough on white and in grey.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tint {
    Ink,
    Soft,
    Faint,
    Alert,
    Watch,
    Steady,
}

impl Tint {
    pub(super) const fn of(verdict: Verdict) -> Self {
        match verdict {
            Verdict::TooFew => Tint::Soft,
            Verdict::Steady => Tint::Steady,
            Verdict::Watch => Tint::Watch,
            Verdict::Declining | Verdict::BelowLimit => Tint::Alert,
        }
    }

    pub(super) const fn rgb(self) -> u32 {
        match self {
            Tint::Ink => 0x1d2329,
            Tint::Soft => 0x56606b,
            Tint::Faint => 0xd9dee3,
            Tint::Alert => 0x8f2136,
            Tint::Watch => 0x7a5200,
            Tint::Steady => 0x23604e,
        }
    }
}

/// A finished heading: what it says, on which page, how far down.
pub(super) struct Mark {
    pub(super) words: String,
    pub(super) page: usize,
    pub(super) down: f64,
}

pub(super) struct Sheet {
    pub(super) faces: Faces,
    pub(super) pages: Vec<Content>,
    pub(super) marks: Vec<Mark>,
    paper: Paper,
    /// How far down the page is written.
    pub(super) y: f64,
    /// The left edge.
    pub(super) left: f64,
}

impl Sheet {
    pub(super) fn new(paper: Paper) -> Result<Self, PdfError> {
        let left = (paper.size().width - WIDTH) / 2.0;
        let faces = Faces::new()?;
        Ok(Sheet { faces, pages: vec![Content::new()], marks: Vec::new(), paper, y: TOP, left })
    }

    /// What is left of the page.
    pub(super) fn room(&self) -> f64 {
        self.paper.size().height - BOTTOM - self.y
    }

    /// Height of an empty page.
    fn whole(&self) -> f64 {
        self.paper.size().height - BOTTOM - TOP
    }

    pub(super) fn new_page(&mut self) {
        self.pages.push(Content::new());
        self.y = TOP;
    }

    /// Turns the page where what comes next, kept together, would not fit. Returns whether it did.
    pub(super) fn keep(&mut self, height: f64) -> bool {
        let turn = height > self.room() && self.y > TOP && height <= self.whole();
        if turn {
            self.new_page();
        }
        turn
    }

    pub(super) fn space(&mut self, height: f64) {
        if self.y > TOP {
            self.y += height;
        }
    }

    pub(super) fn content(&mut self) -> &mut Content {
        if self.pages.is_empty() {
            self.pages.push(Content::new());
        }
        let last = self.pages.len() - 1;
        &mut self.pages[last]
    }

    /// From points down the page to points up, as PDF counts.
    pub(super) fn up(&self, y: f64) -> f32 {
        (self.paper.size().height - y) as f32
    }

    /// Writes one line of text with its base line at `y`.
    pub(super) fn write(&mut self, text: &str, (x, y): (f64, f64), letters: Letters, tint: Tint) {
        if text.is_empty() {
            return;
        }
        let up = self.up(y);
        let face = self.faces.of(letters.bold);
        let (name, bytes): (Name<'_>, _) = (face.resource, face.encode(text));
        let content = self.content();
        fill(content, tint.rgb());
        content
            .begin_text()
            .set_font(name, letters.height as f32)
            .set_text_matrix([1.0, 0.0, 0.0, 1.0, x as f32, up])
            .show(Str(&bytes))
            .end_text();
    }

    pub(super) fn rule(&mut self, wide: f64, tint: Tint) {
        let (from, to) = (self.left, self.left + WIDTH);
        self.stroke(&[(from, self.y), (to, self.y)], wide, tint);
        self.y += wide + 1.0;
    }

    /// Draws a line through some places.
    pub(super) fn stroke(&mut self, spots: &[(f64, f64)], wide: f64, tint: Tint) {
        let ups: Vec<(f32, f32)> = spots.iter().map(|(x, y)| (*x as f32, self.up(*y))).collect();
        let content = self.content();
        stroke(content, tint.rgb());
        content.set_line_width(wide as f32);
        for (i, (x, y)) in ups.into_iter().enumerate() {
            if i == 0 {
                content.move_to(x, y)
            } else {
                content.line_to(x, y)
            };
        }
        content.stroke();
    }

    /// A paragraph over the whole width; it may run over pages.
    pub(super) fn paragraph(&mut self, words: &str, letters: Letters, tint: Tint) {
        self.indented(words, 0.0, letters, tint);
    }

    fn indented(&mut self, words: &str, indent: f64, letters: Letters, tint: Tint) {
        let face = self.faces.of(letters.bold);
        let lines = wrapped(face, words, letters.height, WIDTH - indent);
        // No line stands alone at the foot of a page.
        self.keep(letters.lead * lines.len().min(2) as f64);
        for line in lines {
            if letters.lead > self.room() {
                self.new_page();
            }
            let base = self.y + letters.height * 1.05;
            self.write(&line, (self.left + indent, base), letters, tint);
            self.y += letters.lead;
        }
    }

    /// A heading that stays with what stands directly below it, which needs `least`.
    pub(super) fn heading(&mut self, words: &str, least: f64) {
        let letters = Letters { height: 11.0, lead: 15.0, bold: true };
        self.space(9.0);
        self.keep(20.0 + least);
        self.marks.push(Mark { words: words.to_owned(), page: self.pages.len() - 1, down: self.y });
        self.paragraph(words, letters, Tint::Ink);
        self.rule(0.6, Tint::Soft);
        self.y += 3.0;
    }

    pub(super) fn item(&mut self, words: &str) {
        // The dash stays with the first lines.
        self.keep(2.0 * BODY.lead);
        let base = self.y + BODY.height * 1.05;
        self.write("–", (self.left + 2.0, base), BODY, Tint::Soft);
        self.indented(words, 12.0, BODY, Tint::Ink);
        self.y += 1.5;
    }

    pub(super) fn fact(&mut self, name: &str, value: &str) {
        let indent = 142.0;
        let names = wrapped(&self.faces.regular, name, BODY.height, indent - 8.0);
        let lines = wrapped(&self.faces.regular, value, BODY.height, WIDTH - indent).len();
        self.keep(BODY.lead * lines.max(names.len()) as f64);
        let top = self.y;
        for (i, name) in names.iter().enumerate() {
            let base = top + BODY.lead * i as f64 + BODY.height * 1.05;
            self.write(name, (self.left, base), BODY, Tint::Soft);
        }
        let page = self.pages.len();
        self.indented(value, indent, BODY, Tint::Ink);
        if self.pages.len() == page {
            self.y = self.y.max(top + BODY.lead * names.len() as f64);
        }
    }

    pub(super) fn verdict(&mut self, word: &str, words: &str, tint: Tint) {
        let big = Letters { height: 12.5, lead: 17.0, bold: true };
        let lines = wrapped(&self.faces.regular, words, BODY.height, WIDTH - 12.0).len();
        let height = big.lead + BODY.lead * lines as f64;
        self.keep(height);
        let (top, page) = (self.y, self.pages.len());
        self.indented(word, 12.0, big, tint);
        self.indented(words, 12.0, BODY, Tint::Ink);
        if self.pages.len() == page {
            let x = self.left + 2.0;
            self.stroke(&[(x, top), (x, self.y)], 3.0, tint);
        }
        self.y += 2.0;
    }

    /// The height of a paragraph in a frame.
    pub(super) fn boxed_height(&self, words: &str) -> f64 {
        let lines = wrapped(&self.faces.bold, words, BODY.height, WIDTH - 20.0);
        BODY.lead * lines.len() as f64 + 14.0
    }

    /// A paragraph in a frame.
    pub(super) fn boxed(&mut self, words: &str) {
        let letters = Letters { bold: true, ..BODY };
        let lines = wrapped(&self.faces.bold, words, letters.height, WIDTH - 20.0);
        let height = self.boxed_height(words);
        self.keep(height);
        let (top, left, right) = (self.y, self.left, self.left + WIDTH);
        let bottom = top + height;
        self.stroke(
            &[(left, top), (right, top), (right, bottom), (left, bottom), (left, top)],
            1.2,
            Tint::Ink,
        );
        for (i, line) in lines.iter().enumerate() {
            let base = top + 7.0 + letters.lead * i as f64 + letters.height * 1.05;
            self.write(line, (left + 10.0, base), letters, Tint::Ink);
        }
        self.y = bottom;
    }

    /// A drawing over the whole width, kept with the words below it.
    pub(super) fn figure(&mut self, scene: &Scene, words: &str) {
        let scale = (WIDTH / scene.size.width).min(1.0);
        let lines = wrapped(&self.faces.regular, words, SMALL.height, WIDTH).len();
        let height = scene.size.height * scale;
        self.keep(height + 4.0 + SMALL.lead * lines as f64);
        let at = (self.left, self.y);
        drawing::draw(self, scene, at, scale);
        self.y += height + 4.0;
        self.paragraph(words, SMALL, Tint::Soft);
    }

    /// Writes the foot of every page, now that their number is known.
    pub(super) fn feet(&mut self, words: &str) {
        let all = self.pages.len();
        let pages = std::mem::take(&mut self.pages);
        let y = self.paper.size().height - 26.0;
        let lines = wrapped(&self.faces.regular, words, SMALL.height, WIDTH - 90.0);
        for (page, content) in pages.into_iter().enumerate() {
            self.pages.push(content);
            self.stroke(&[(self.left, y - 11.0), (self.left + WIDTH, y - 11.0)], 0.5, Tint::Faint);
            if let Some(line) = lines.first() {
                self.write(line, (self.left, y), SMALL, Tint::Soft);
            }
            let number = format!("page {} of {all}", page + 1);
            let wide = self.faces.regular.width(&number, SMALL.height);
            self.write(&number, (self.left + WIDTH - wide, y), SMALL, Tint::Soft);
        }
    }
}

pub(super) fn fill(content: &mut Content, rgb: u32) {
    let [r, g, b] = parts(rgb);
    content.set_fill_rgb(r, g, b);
}

pub(super) fn stroke(content: &mut Content, rgb: u32) {
    let [r, g, b] = parts(rgb);
    content.set_stroke_rgb(r, g, b);
}

fn parts(rgb: u32) -> [f32; 3] {
    [16, 8, 0].map(|shift| ((rgb >> shift) & 0xff) as f32 / 255.0)
}
