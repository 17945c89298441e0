//! Tables whose columns say what they hold: written as CSV or as Parquet, from one definition.

use std::borrow::Cow;
use std::io::{self, Write};

use crate::model::Stamp;

/// A table of rows `T`.
#[derive(Debug)]
pub struct Table<T: 'static> {
    /// What one row is, in a sentence.
    pub meaning: &'static str,
    /// Its columns, in the order they are written.
    pub columns: &'static [Column<T>],
}

/// A column of a table.
#[derive(Debug)]
pub struct Column<T> {
    /// Its name.
    pub name: &'static str,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
    /// What it holds, and what an empty cell means where that is not plain.
    pub meaning: &'static str,
    /// Where its cells come from.
    pub get: Get<T>,
}

/// How a cell is got out of a row, by the type of its column. None, and an empty text, is an empty
/// cell.
#[derive(Debug)]
pub enum Get<T> {
    /// An instant.
    Time(fn(&T) -> Option<Stamp>),
    /// A number.
    Number(fn(&T) -> Option<f64>),
    /// A whole number.
    Count(fn(&T) -> Option<usize>),
    /// A text.
    Text(for<'a> fn(&'a T) -> Cow<'a, str>),
}

impl<T> Column<T> {
    /// A column of instants.
    pub const fn time(
        name: &'static str,
        meaning: &'static str,
        get: fn(&T) -> Option<Stamp>,
    ) -> Self {
        Column { name, unit: "", meaning, get: Get::Time(get) }
    }

    /// A column of numbers.
    pub const fn number(
        name: &'static str,
        unit: &'static str,
        meaning: &'static str,
        get: fn(&T) -> Option<f64>,
    ) -> Self {
        Column { name, unit, meaning, get: Get::Number(get) }
    }

    /// A column of whole numbers.
    pub const fn count(
        name: &'static str,
        meaning: &'static str,
        get: fn(&T) -> Option<usize>,
    ) -> Self {
        Column { name, unit: "", meaning, get: Get::Count(get) }
    }

    /// A column of texts.
    pub const fn text(
        name: &'static str,
        meaning: &'static str,
        get: for<'a> fn(&'a T) -> Cow<'a, str>,
    ) -> Self {
        Column { name, unit: "", meaning, get: Get::Text(get) }
    }
}

/// Writes rows of a table as CSV: times as RFC 3339 in UTC, numbers with all their digits, nothing
/// neutralised.
pub struct CsvTable<T: 'static, W: Write> {
    table: &'static Table<T>,
    out: csv::Writer<W>,
}

impl<T, W: Write> CsvTable<T, W> {
    /// Writes the header.
    pub fn new(table: &'static Table<T>, out: W) -> io::Result<Self> {
        let mut out = csv::Writer::from_writer(out);
        out.write_record(table.columns.iter().map(|c| c.name)).map_err(io::Error::other)?;
        Ok(CsvTable { table, out })
    }

    /// Writes a row.
    pub fn row(&mut self, row: &T) -> io::Result<()> {
        let cells = self.table.columns.iter().map(|column| column.cell(row));
        for cell in cells {
            self.out.write_field(cell.as_bytes()).map_err(io::Error::other)?;
        }
        self.out.write_record(None::<&[u8]>).map_err(io::Error::other)
    }

    /// Sees to it that all of it is written.
    pub fn finish(mut self) -> io::Result<()> {
        self.out.flush()
    }
}

impl<T> Column<T> {
    fn cell<'a>(&self, row: &'a T) -> Cow<'a, str> {
        let text = match &self.get {
            Get::Text(get) => return get(row),
            Get::Time(get) => get(row).map(|v| v.to_string()),
            Get::Number(get) => get(row).map(|v| v.to_string()),
            Get::Count(get) => get(row).map(|v| v.to_string()),
        };
        text.unwrap_or_default().into()
    }
}
