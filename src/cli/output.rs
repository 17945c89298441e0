//! Data to standard output: as a table for people, as JSON or CSV for programs.

use std::io::{self, IsTerminal, Write};

use serde::Serialize;
use serde_json::{Map, Value};

use crate::trend::words::ohms;

/// How data is printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Format {
    /// Columns for reading.
    #[default]
    Table,
    /// One JSON value.
    Json,
    /// Comma-separated values with a header.
    Csv,
}

/// A column of a table: the key in the row and the heading above it.
pub(crate) type Column = (&'static str, &'static str);

/// Prints rows; `empty` is what a table says when there are none.
pub(crate) fn rows<T: Serialize>(
    format: Format,
    columns: &[Column],
    rows: &[T],
    empty: &str,
) -> io::Result<()> {
    let values: Vec<Map<String, Value>> = rows.iter().filter_map(object).collect();
    match format {
        Format::Json => json(&values),
        Format::Csv => csv(&values, columns),
        Format::Table if values.is_empty() => line(empty),
        Format::Table => table(&values, columns),
    }
}

/// Prints one JSON value, indented.
pub(crate) fn json<T: Serialize + ?Sized>(value: &T) -> io::Result<()> {
    let mut out = io::stdout().lock();
    serde_json::to_writer_pretty(&mut out, value)?;
    out.write_all(b"\n")
}

/// Prints a line of text.
pub(crate) fn line(text: impl AsRef<str>) -> io::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_ref().as_bytes())?;
    out.write_all(b"\n")
}

fn object<T: Serialize>(row: &T) -> Option<Map<String, Value>> {
    match serde_json::to_value(row) {
        Ok(Value::Object(map)) => Some(map),
        _ => None,
    }
}

fn csv(values: &[Map<String, Value>], columns: &[Column]) -> io::Result<()> {
    let mut writer = ::csv::Writer::from_writer(io::stdout().lock());
    let header: Vec<String> = match values.first() {
        Some(first) => first.keys().cloned().collect(),
        None => columns.iter().map(|(key, _)| (*key).to_owned()).collect(),
    };
    writer.write_record(&header)?;
    for value in values {
        let cells = header.iter().map(|key| plain(value.get(key).unwrap_or(&Value::Null)));
        writer.write_record(cells)?;
    }
    writer.flush()
}

/// A value as it stands in CSV. A text that a spreadsheet would run as a formula gets an apostrophe
/// in front.
fn plain(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(s) if s.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{s}"),
        Value::String(s) => s.clone(),
        other => other.to_string(),
    }
}

/// One line under the headings and none between rows: a long list stays readable.
const STYLE: comfy_table::TableStyle = comfy_table::TableStyle::new()
    .header_separator(comfy_table::LineStyle::none().fill('─').junction('─'));

/// A table for a person beside the data, on standard error.
pub(crate) fn beside<T: Serialize>(columns: &[Column], rows: &[T]) {
    let values: Vec<Map<String, Value>> = rows.iter().filter_map(object).collect();
    super::note(drawn(&values, columns, io::stderr().is_terminal()));
}

fn table(values: &[Map<String, Value>], columns: &[Column]) -> io::Result<()> {
    line(drawn(values, columns, io::stdout().is_terminal()))
}

fn drawn(values: &[Map<String, Value>], columns: &[Column], is_terminal: bool) -> String {
    let mut table = comfy_table::Table::new();
    table.load_style(STYLE);
    table.set_content_arrangement(comfy_table::ContentArrangement::Dynamic);
    if !is_terminal {
        table.set_width(160);
    }
    table.set_header(columns.iter().map(|(_, heading)| *heading));
    for value in values {
        table.add_row(
            columns.iter().map(|(key, _)| readable(key, value.get(*key).unwrap_or(&Value::Null))),
        );
    }
    table.to_string()
}

/// A value as a person reads it: ohms with a prefix, instants as dates.
fn readable(key: &str, value: &Value) -> String {
    match value {
        Value::Null => "–".into(),
        Value::Number(n) if key.ends_with("_ohm") => ohms(n.as_f64().unwrap_or(f64::NAN)),
        Value::Number(n) if n.is_f64() => {
            let text = format!("{:.2}", n.as_f64().unwrap_or(f64::NAN));
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
        Value::String(s) if is_date_key(key) => s.chars().take(10).collect(),
        Value::String(s) if is_time_key(key) => s.replacen('T', " ", 1).replace(":00Z", "Z"),
        Value::String(s) => s.clone(),
        Value::Array(items) => items.iter().map(|v| readable("", v)).collect::<Vec<_>>().join("; "),
        other => other.to_string(),
    }
}

fn is_time_key(key: &str) -> bool {
    matches!(key, "taken_at" | "at" | "recorded_at" | "posted_at" | "due_at" | "ended_at")
}

fn is_date_key(key: &str) -> bool {
    matches!(key, "since" | "until" | "from" | "due" | "last")
        || key.starts_with("reaches_limit")
        || key.starts_with("projected_crossing")
}
