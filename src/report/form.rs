//! The forms of a report, and how a file is written: whole, or not at all.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use super::document::Report;
use super::pdf::{Paper, PdfError};
use super::{csv, html, pdf};

/// What a report can be written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One self-contained page.
    Html,
    /// For paper and for handing over.
    Pdf,
    /// The rows behind it.
    Csv,
}

/// Why a report was not written.
#[derive(Debug, thiserror::Error)]
pub enum FormError {
    /// The template failed.
    #[error("the HTML form cannot be written: {0}")]
    Html(#[from] askama::Error),
    /// The font failed.
    #[error(transparent)]
    Pdf(#[from] PdfError),
    /// The rows failed.
    #[error("the CSV form cannot be written: {0}")]
    Csv(#[from] io::Error),
}

impl Form {
    /// Every form.
    pub const ALL: [Form; 3] = [Form::Html, Form::Pdf, Form::Csv];

    /// Its name, and the ending of its files.
    pub const fn name(self) -> &'static str {
        match self {
            Form::Html => "html",
            Form::Pdf => "pdf",
            Form::Csv => "csv",
        }
    }

    /// By its name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|form| form.name().eq_ignore_ascii_case(name))
    }

    /// By the ending of a file's name.
    pub fn of_file(path: &Path) -> Option<Self> {
        Self::parse(path.extension()?.to_str()?)
    }

    /// The report in this form; `paper` counts for PDF.
    pub fn render(self, report: &Report, paper: Paper) -> Result<Vec<u8>, FormError> {
        Ok(match self {
            Form::Html => html::render(report)?.into_bytes(),
            Form::Pdf => pdf::render(report, paper)?,
            Form::Csv => csv::render(report)?,
        })
    }
}

/// Writes a file so that its name always stands for whole content: beside it first, then renamed.
pub fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let name = path.file_name().ok_or(io::ErrorKind::InvalidInput)?;
    let mut half = std::ffi::OsString::from(".");
    half.push(name);
    half.push(format!(".{}.part", std::process::id()));
    let half = path.with_file_name(half);
    let written = File::create(&half).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()
    });
    if let Err(e) = written.and_then(|()| fs::rename(&half, path)) {
        return Err(match fs::remove_file(&half) {
            Err(other) if other.kind() != io::ErrorKind::NotFound => other,
            _ => e,
        });
    }
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    File::open(folder.unwrap_or(Path::new("."))).and_then(|f| f.sync_all())
}
