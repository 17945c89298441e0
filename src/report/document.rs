//! A report before it is HTML, PDF or CSV: headings, paragraphs, tables and drawings in order.

use super::scene::Scene;
use crate::model::{Stamp, Verdict};

/// A report of an asset or of the fleet.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// What it is a report of: `Insulation report: YT-014/drive`.
    pub title: String,
    /// One line below the title: from when it is, on what it rests.
    pub subtitle: String,
    /// The date of the document: nothing measured later is in it.
    pub as_of: Stamp,
    /// What stands in the foot of every page beside its number.
    pub foot: String,
    /// Its parts.
    pub sections: Vec<Section>,
    /// The same as rows for a program: what the CSV form holds.
    pub data: Data,
}

/// A part under a heading.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// The heading.
    pub heading: String,
    /// What stands under it.
    pub blocks: Vec<Block>,
}

/// A piece of a report.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// A paragraph.
    Text(String),
    /// A paragraph that must not be overlooked.
    Caution(String),
    /// A verdict with the sentence that carries it.
    Verdict(Verdict, String),
    /// Short paragraphs that belong together.
    List(Vec<String>),
    /// Names with their values.
    Facts(Vec<(String, String)>),
    /// A table.
    Table(Table),
    /// A drawing with the words below it.
    Drawing(Scene, String),
}

/// A table; a row never breaks over pages, the heading is repeated.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each as long as `columns`.
    pub rows: Vec<Vec<Cell>>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// What stands above it.
    pub heading: String,
    /// Its share of the width, against the other columns.
    pub share: f64,
    /// Whether it holds numbers, which stand at its right edge.
    pub numbers: bool,
}

/// A cell of a table.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Some words.
    Text(String),
    /// A verdict.
    Verdict(Verdict),
    /// A small drawing.
    Drawing(Scene),
}

/// Rows for a program, every cell plain text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Data {
    /// Names of the columns.
    pub header: Vec<&'static str>,
    /// The rows, each as long as the header.
    pub rows: Vec<Vec<String>>,
}

impl Section {
    pub(super) fn new(heading: impl Into<String>, blocks: Vec<Block>) -> Self {
        Section { heading: heading.into(), blocks }
    }
}

impl Table {
    /// A table with columns by heading and share of the width; a heading that ends in `#` is one of
    /// numbers.
    pub(super) fn new(columns: &[(&str, f64)]) -> Self {
        let column = |(heading, share): &(&str, f64)| Column {
            heading: heading.trim_end_matches('#').to_owned(),
            share: *share,
            numbers: heading.ends_with('#'),
        };
        Table { columns: columns.iter().map(column).collect(), rows: Vec::new() }
    }

    /// Adds a row of words.
    pub(super) fn push<const N: usize>(&mut self, cells: [String; N]) {
        self.rows.push(cells.into_iter().map(Cell::Text).collect());
    }
}

/// The mark that goes with a verdict's word; told apart by shape, in any font and any ink.
pub const fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::TooFew => "○",
        Verdict::Steady => "●",
        Verdict::Watch => "◇",
        Verdict::Declining => "▼",
        Verdict::BelowLimit => "■",
    }
}
