//! Registers as CSV: one row type, one list of columns, both ways.

use std::collections::HashMap;
use std::io::{Read, Write};

use crate::model::Invalid;

/// A register row that is read from and written to CSV.
pub trait Row: Sized {
    /// The name of the register, as its file is called.
    const NAME: &'static str;
    /// The columns in the order they are written.
    const COLUMNS: &'static [&'static str];
    /// Columns that must be there to read it.
    const REQUIRED: &'static [&'static str];
    /// Reads a row.
    fn read(cells: &Cells<'_>) -> Result<Self, Invalid>;
    /// Writes it: one text per column.
    fn write(&self) -> Vec<String>;
}

/// A row's cells by column name; a missing column reads as empty.
pub struct Cells<'a> {
    columns: &'a HashMap<String, usize>,
    record: &'a csv::StringRecord,
}

impl Cells<'_> {
    /// The trimmed text of a column.
    pub fn text(&self, column: &str) -> &str {
        self.columns.get(column).and_then(|&i| self.record.get(i)).unwrap_or("").trim()
    }

    /// A number, none when empty.
    pub fn number(&self, column: &'static str) -> Result<Option<f64>, Invalid> {
        match self.text(column) {
            "" => Ok(None),
            text => match text.parse::<f64>() {
                Ok(v) if v.is_finite() => Ok(Some(v)),
                _ => Err(Invalid::new(column, "a number such as 5000000 or 5e6", text)),
            },
        }
    }

    /// A time, none when empty.
    pub fn time(&self, column: &'static str) -> Result<Option<crate::model::Stamp>, Invalid> {
        match self.text(column) {
            "" => Ok(None),
            text => crate::model::Stamp::parse(text)
                .map(Some)
                .map_err(|_| Invalid::new(column, "a time like 2026-03-02T08:15:00Z", text)),
        }
    }
}

/// What is wrong with a register file, and on which line.
#[derive(Debug, thiserror::Error)]
pub enum RowError {
    /// The file cannot be read as CSV.
    #[error("line {line}: {why}")]
    Csv {
        /// The line, counted from 1.
        line: u64,
        /// What the reader says.
        why: String,
    },
    /// A required column is missing.
    #[error("the header has no column `{column}` (a {register} file has `{columns}`)")]
    Missing {
        /// Which column.
        column: &'static str,
        /// Which register.
        register: &'static str,
        /// All its columns.
        columns: String,
    },
    /// A column that the register does not have.
    #[error("unknown column `{column}` (a {register} file has `{columns}`)")]
    Unknown {
        /// Which column.
        column: String,
        /// Which register.
        register: &'static str,
        /// All its columns.
        columns: String,
    },
    /// A cell that cannot be.
    #[error("line {line}: {invalid}")]
    Cell {
        /// The line, counted from 1.
        line: u64,
        /// What was expected and found.
        invalid: Invalid,
    },
}

/// Reads one row from its cells by column name: what another way of writing a register gives. An
/// empty cell is one that is not stated.
pub fn read_row<R: Row>(cells: &[(&'static str, String)]) -> Result<R, Invalid> {
    let columns = cells.iter().zip(0..).map(|((name, _), i)| ((*name).to_owned(), i)).collect();
    let record: csv::StringRecord = cells.iter().map(|(_, text)| text.as_str()).collect();
    R::read(&Cells { columns: &columns, record: &record })
}

/// Reads all rows of a register. Nothing is returned unless all of it can be read.
pub fn read_rows<R: Row>(input: impl Read) -> Result<Vec<R>, RowError> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(input);
    let mut columns = HashMap::new();
    let mut rows = Vec::new();
    let mut record = csv::StringRecord::new();
    let mut first = true;
    loop {
        let at = reader.position().line();
        let more = reader
            .read_record(&mut record)
            .map_err(|e| RowError::Csv { line: at, why: e.to_string() })?;
        if !more {
            break;
        }
        let line = record.position().map_or(at, csv::Position::line);
        if first {
            first = false;
            columns = header::<R>(&record)?;
            continue;
        }
        let cells = Cells { columns: &columns, record: &record };
        rows.push(R::read(&cells).map_err(|invalid| RowError::Cell { line, invalid })?);
    }
    Ok(rows)
}

fn header<R: Row>(record: &csv::StringRecord) -> Result<HashMap<String, usize>, RowError> {
    let mut columns = HashMap::new();
    for (i, name) in record.iter().enumerate() {
        let name = name.trim().trim_start_matches('\u{feff}').to_lowercase();
        if !R::COLUMNS.contains(&name.as_str()) {
            return Err(RowError::Unknown {
                column: name,
                register: R::NAME,
                columns: R::COLUMNS.join(","),
            });
        }
        columns.insert(name, i);
    }
    for column in R::REQUIRED {
        if !columns.contains_key(*column) {
            return Err(RowError::Missing {
                column,
                register: R::NAME,
                columns: R::COLUMNS.join(","),
            });
        }
    }
    Ok(columns)
}

/// Writes rows with their header, `\n` line ends, quoting only where needed.
pub fn write_rows<'a, R: Row + 'a>(
    output: impl Write,
    rows: impl IntoIterator<Item = &'a R>,
) -> std::io::Result<()> {
    let mut writer = csv::Writer::from_writer(output);
    writer.write_record(R::COLUMNS).map_err(std::io::Error::other)?;
    for row in rows {
        writer.write_record(row.write()).map_err(std::io::Error::other)?;
    }
    writer.flush()
}

/// The registers that have a file of their own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Register {
    /// `classes.csv`
    Classes,
    /// `assets.csv`
    Assets,
    /// `limits.csv`
    Limits,
    /// `events.csv`
    Events,
    /// `gear.csv`
    Gear,
    /// `proofs.csv`
    Proofs,
    /// `aliases.csv`
    Aliases,
    /// `corrections.csv`
    Corrections,
    /// `answers.csv`
    Answers,
    /// `sheets.csv`
    Sheets,
}

impl Register {
    /// Recognises a register by its header line: the columns of exactly one register, all of its
    /// required ones among them.
    pub fn recognise(header: &str) -> Option<Register> {
        fn fits<R: Row>(names: &[String]) -> bool {
            R::REQUIRED.iter().all(|c| names.iter().any(|n| n == c))
                && names.iter().all(|n| R::COLUMNS.contains(&n.as_str()))
        }
        let names: Vec<String> = header
            .trim_start_matches('\u{feff}')
            .trim()
            .split(',')
            .map(|n| n.trim().trim_matches('"').to_lowercase())
            .collect();
        use crate::model::{Alias, Asset, AssetClass, Event, Gear, Proof};
        let candidates = [
            (Register::Corrections, fits::<super::CorrectionRow>(&names)),
            (Register::Answers, fits::<super::AnswerRow>(&names)),
            (Register::Sheets, fits::<super::StepRow>(&names)),
            (Register::Limits, fits::<super::LimitRow>(&names)),
            (Register::Proofs, fits::<Proof>(&names)),
            (Register::Events, fits::<Event>(&names)),
            (Register::Aliases, fits::<Alias>(&names)),
            (Register::Gear, fits::<Gear>(&names)),
            (Register::Classes, fits::<AssetClass>(&names)),
            (Register::Assets, fits::<Asset>(&names)),
        ];
        candidates.into_iter().find(|(_, fits)| *fits).map(|(register, _)| register)
    }
}
