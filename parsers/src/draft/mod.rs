//! A profile proposed for an unknown export: what the file shows is written, what it leaves open
//! is asked. Nothing is assumed of decimal marks, units and the order of dates.
//!
//! ```text
//!  bytes → text → sheet → columns → findings → TOML, questions, notes
//!           1       2        3         4         5
//! ```
//! 1 encoding  2 separator or positions, header, units row, preamble, blocks  3 which is which
//! 4 marks, units, times, labels  5 a draft with an open question is refused as a profile

mod ask;
mod columns;
mod content;
mod findings;
mod labels;
mod marks;
mod numbers;
mod several;
mod sheet;
mod text;
mod times;
mod units;
mod words;
mod write;

use std::collections::BTreeMap;

use ask::Asker;
use columns::Role;

/// What a draft is made of beside the bytes.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// The file's name, for the profile's title.
    pub title: String,
    /// Answers by the keys of questions. `columns.FIELD` overrules which column a field is.
    pub answers: BTreeMap<String, String>,
    /// Its numbers are known to have a decimal point, as those of a spreadsheet's cells.
    pub plain_numbers: bool,
}

/// A proposed profile.
#[derive(Clone, Debug)]
pub struct Draft {
    /// The profile, with comments. While a required question is open it names it in `unanswered`
    /// and is refused as a profile.
    pub toml: String,
    /// What each column of the file is taken for.
    pub columns: Vec<DraftColumn>,
    /// What is open, in the order in which it is best answered.
    pub questions: Vec<Question>,
    /// What a person should know, in words.
    pub notes: Vec<String>,
}

impl Draft {
    /// Whether every question that must be answered is.
    pub fn is_usable(&self) -> bool {
        self.questions.iter().all(|question| !question.required)
    }
}

/// A column as it is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DraftColumn {
    /// Its name, or its place where there is no header.
    pub name: String,
    /// The field, `resistance of …` where a row has several, `not needed`, or `unknown`.
    pub taken_for: String,
    /// The first values.
    pub sample: Vec<String>,
}

/// Something that the file does not say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// The key to answer it by.
    pub key: String,
    /// What is unsure, with values of the file.
    pub unsure: String,
    /// The ways to answer, or hints where any text will do.
    pub candidates: Vec<Candidate>,
    /// Nothing can be read before it is answered; else what is open waits in the tray or is
    /// flagged.
    pub required: bool,
}

/// One way to answer a question.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The answer.
    pub value: String,
    /// What it would make of rows of the file.
    pub means: String,
}

/// Why there is no draft.
#[derive(Debug, thiserror::Error)]
pub enum DraftError {
    /// Not text.
    #[error("expected text in columns, found binary data")]
    Binary,
    /// No way of parting gives a table.
    #[error(
        "expected a table with at least two columns and a row, found none (text in lines without \
         columns needs a profile of format `template`)"
    )]
    NoTable,
    /// Nothing in it can be a resistance.
    #[error("expected a column that could be a resistance, found `{0}`")]
    NoResistance(String),
    /// An answer that cannot be.
    #[error("expected {expected} for `{key}`, found `{found}`")]
    Answer {
        /// The key of the question.
        key: String,
        /// What would do.
        expected: String,
        /// The answer.
        found: String,
    },
}

/// Proposes a profile for the bytes of an export.
///
/// # Errors
/// When there is no table in it, and when an answer cannot be.
pub fn draft(bytes: &[u8], told: &Told) -> Result<Draft, DraftError> {
    let mut asker = Asker::new(&told.answers);
    let mut notes = Vec::new();
    let (text, encoding) = text::decode(bytes, &mut asker).ok_or(DraftError::Binary)?;
    let sheet = sheet::sheet(&text).ok_or(DraftError::NoTable)?;
    let (cols, contents) = columns::columns(&sheet, &mut asker, &mut notes);
    let found = findings::find(told, encoding, sheet, cols, &contents, &mut asker, &mut notes);
    if let Some((key, expected, found)) = asker.wrong.take() {
        return Err(DraftError::Answer { key, expected, found });
    }
    let has = |role: &Role| matches!(role, Role::Several(_)) || *role == findings::RESISTANCE;
    let asked = asker.questions.iter().any(|question| question.key == "columns.resistance");
    if !asked && !found.cols.iter().any(|col| has(&col.role)) {
        let names: Vec<_> = found.cols.iter().map(|col| col.name.as_str()).collect();
        return Err(DraftError::NoResistance(names.join("`, `")));
    }
    for key in asker.unused() {
        notes.push(format!("the answer to `{key}` was not needed"));
    }
    let toml = write::toml(&found, &asker.questions);
    let columns = found.cols.iter().enumerate().map(|(at, col)| DraftColumn {
        name: col.name.clone(),
        taken_for: write::taken_for(col),
        sample: found.sheet.column(at).take(5).map(str::to_owned).collect(),
    });
    Ok(Draft { toml, columns: columns.collect(), questions: asker.questions, notes })
}
