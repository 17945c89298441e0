//! Spreadsheets to delimited text, so that a profile reads them like any other export.
//!
//! ```text
//!  [sheet] ⇥ Tests                                  1
//!  Date ⇥ Time ⇥ Asset ⇥ Resistance (MΩ)            2
//!  2026-03-02 ⇥ 08:15:00 ⇥ YT-014/drive ⇥ 550.5     3
//! ```
//! 1 each visible sheet begins with its name: a profile with `blocks = { asset = ["[sheet]"] }`
//! takes it for the asset  2 rows as they stand, tabs between cells, empty rows left out
//! 3 dates, times and numbers by their value and not by how the cell shows them

use std::io::Cursor;

use calamine::{Data, DataRef, ExcelDateTime, Ods, Reader, SheetType, SheetVisible, Xlsx};

use jiff::ToSpan;
use jiff::civil::Date;

use crate::limits;

/// The first bytes of a zip archive, which XLSX (ISO/IEC 29500-2) and ODS (ISO/IEC 26300-3) are.
const ZIP: &[u8] = b"PK\x03\x04";

/// The name of the first member of an ODS archive, at a fixed place (ISO/IEC 26300-3, 3.3).
const MIMETYPE: &[u8] = b"mimetype";

/// A spreadsheet as text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SheetText {
    /// UTF-8, tabs between cells.
    pub text: Vec<u8>,
    /// No text cell looks like a number with a mark in it: all numbers have a decimal point.
    pub plain_numbers: bool,
    /// What a person should know: sheets that were not read.
    pub warnings: Vec<String>,
}

/// Whether a file that begins so is a spreadsheet.
pub fn is_sheet(head: &[u8]) -> bool {
    head.starts_with(ZIP)
}

/// The text of a spreadsheet.
///
/// # Errors
/// What was expected and found: no spreadsheet, or one too large.
pub fn sheet_text(bytes: &[u8]) -> Result<SheetText, String> {
    let mut out = Text::new();
    let name_at = 30..30 + MIMETYPE.len();
    let is_ods = bytes.get(name_at).is_some_and(|name| name == MIMETYPE);
    let broken =
        |error: String| format!("expected a spreadsheet (XLSX or ODS) in the zip archive: {error}");
    if is_ods {
        let mut book: Ods<_> =
            Ods::new(Cursor::new(bytes)).map_err(|error| broken(error.to_string()))?;
        for name in out.visible(book.sheets_metadata()) {
            let range = book.worksheet_range(&name).map_err(|error| broken(error.to_string()))?;
            out.begin(&name);
            for row in range.rows() {
                let cells = row.iter().enumerate();
                out.row(cells.map(|(at, cell)| (at, out_of(cell))).collect())?;
            }
            out.end()?;
        }
    } else {
        let mut book: Xlsx<_> =
            Xlsx::new(Cursor::new(bytes)).map_err(|error| broken(error.to_string()))?;
        for name in out.visible(book.sheets_metadata()) {
            let mut cells =
                book.worksheet_cells_reader(&name).map_err(|error| broken(error.to_string()))?;
            out.begin(&name);
            let (mut at, mut row) = (0, Vec::new());
            // Cell by cell: a lone cell in the last row must not fill the memory.
            while let Some(cell) = cells.next_cell().map_err(|error| broken(error.to_string()))? {
                let (line, column) = cell.get_position();
                if line != at {
                    out.row(std::mem::take(&mut row))?;
                    at = line;
                }
                row.push((column as usize, out_of_ref(cell.get_value())));
            }
            out.row(row)?;
            out.end()?;
        }
    }
    Ok(out.done)
}

/// A cell's text, and whether its author typed it as text.
struct CellText {
    text: String,
    is_typed: bool,
}

/// The text under way.
struct Text {
    done: SheetText,
    name: String,
    rows: Vec<Vec<(usize, CellText)>>,
    width: usize,
    cells: usize,
}

impl Text {
    fn new() -> Text {
        let done = SheetText { plain_numbers: true, ..SheetText::default() };
        Text { done, name: String::new(), rows: Vec::new(), width: 0, cells: 0 }
    }

    /// The names of the sheets that are read, in their order.
    fn visible(&mut self, sheets: &[calamine::Sheet]) -> Vec<String> {
        let mut names = Vec::new();
        for sheet in sheets.iter().filter(|sheet| sheet.typ == SheetType::WorkSheet) {
            if sheet.visible == SheetVisible::Visible {
                names.push(sheet.name.clone());
            } else {
                let told = format!("the hidden sheet `{}` was not read", sheet.name);
                self.done.warnings.push(told);
            }
        }
        names
    }

    fn begin(&mut self, name: &str) {
        self.name = clean(name);
        self.width = 0;
    }

    /// Takes a row of cells with their columns.
    fn row(&mut self, mut row: Vec<(usize, CellText)>) -> Result<(), String> {
        row.retain(|(_, cell)| !cell.text.is_empty());
        let Some(last) = row.iter().map(|(at, _)| *at).max() else { return Ok(()) };
        self.width = self.width.max(last + 1);
        self.cells += last + 1;
        if self.cells > limits::SHEET_CELLS || self.width * self.rows.len() > limits::SHEET_CELLS {
            return Err(format!(
                "expected at most {} cells in a spreadsheet, found more (export it as text)",
                limits::SHEET_CELLS
            ));
        }
        self.done.plain_numbers &=
            row.iter().all(|(_, cell)| !(cell.is_typed && has_mark(&cell.text)));
        self.rows.push(row);
        Ok(())
    }

    /// Writes the sheet; one without a filled cell leaves nothing.
    fn end(&mut self) -> Result<(), String> {
        let rows = std::mem::take(&mut self.rows);
        if rows.is_empty() {
            return Ok(());
        }
        let out = &mut self.done.text;
        out.extend_from_slice(b"[sheet]\t");
        put(out, &self.name);
        out.push(b'\n');
        for row in rows {
            let mut cells = row.iter().peekable();
            for at in 0..self.width {
                if at > 0 {
                    out.push(b'\t');
                }
                if let Some((_, cell)) = cells.next_if(|(column, _)| *column == at) {
                    put(out, &cell.text);
                }
            }
            out.push(b'\n');
        }
        Ok(())
    }
}

/// A cell in quotes where it has one in it (RFC 4180, rules 6 and 7).
fn put(out: &mut Vec<u8>, text: &str) {
    if text.contains('"') {
        out.push(b'"');
        out.extend_from_slice(text.replace('"', "\"\"").as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(text.as_bytes());
    }
}

/// A text on one line: tabs and line ends become blanks.
fn clean(text: &str) -> String {
    let blank = |c: char| if c.is_control() { ' ' } else { c };
    text.chars().map(blank).collect::<String>().trim().to_owned()
}

/// Whether a text is a number with one mark in it, which may be of either kind.
fn has_mark(text: &str) -> bool {
    let bytes = text.as_bytes();
    let marks = text.match_indices(['.', ',']).filter(|(at, _)| {
        let digit =
            |at: Option<usize>| at.and_then(|at| bytes.get(at)).is_some_and(u8::is_ascii_digit);
        digit(at.checked_sub(1)) && digit(Some(at + 1))
    });
    !text.contains(':') && marks.count() == 1
}

fn out_of(cell: &Data) -> CellText {
    let typed = |text: &str| CellText { text: clean(text), is_typed: true };
    let plain = |text: String| CellText { text, is_typed: false };
    match cell {
        Data::Empty => plain(String::new()),
        Data::String(text) => typed(text),
        Data::Int(value) => plain(value.to_string()),
        Data::Float(value) => plain(number(*value)),
        Data::Bool(value) => plain(if *value { "TRUE" } else { "FALSE" }.to_owned()),
        Data::DateTime(value) => plain(time(value)),
        Data::DateTimeIso(text) => plain(iso(text)),
        Data::DurationIso(text) => plain(clock(text).unwrap_or_else(|| clean(text))),
        Data::Error(error) => plain(error.to_string()),
    }
}

fn out_of_ref(cell: &DataRef<'_>) -> CellText {
    match cell {
        DataRef::SharedString(text) => CellText { text: clean(text), is_typed: true },
        other => out_of(&Data::from(other.clone())),
    }
}

/// The number that was meant: a sheet shows 15 digits of what may be 0.30000000000000004.
fn number(value: f64) -> String {
    let rounded = format!("{value:.14e}").parse().unwrap_or(value);
    format!("{rounded}")
}

/// A serial time: a date, a time of day, both, or how long something took as `m:ss`.
fn time(value: &ExcelDateTime) -> String {
    let serial = value.as_f64();
    if value.is_duration() {
        let seconds = (serial * 86_400.0).round() as i64;
        return format!("{}:{:02}", seconds / 60, seconds % 60);
    }
    // A day's fraction loses its last digits in a double: to the nearest millisecond it is whole.
    let millis = ((serial - serial.floor()) * 86_400_000.0).round() as i64;
    let (carry, millis) = (millis / 86_400_000, millis % 86_400_000);
    let (year, month, day, ..) = value.to_ymd_hms_milli();
    let seconds = millis / 1000;
    let mut clock = format!("{:02}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60);
    if millis % 1000 > 0 {
        clock.push_str(&format!(".{:03}", millis % 1000));
    }
    let date = Date::new(year as i16, month as i8, day as i8)
        .and_then(|date| date.checked_add(carry.days()))
        .map_or_else(|_| format!("{year:04}-{month:02}-{day:02}"), |date| date.to_string());
    match (serial < 1.0, millis == 0) {
        (true, _) => clock,
        (false, true) => date,
        (false, false) => format!("{date}T{clock}"),
    }
}

/// An ISO time of an ODS cell; midnight stands for the day.
fn iso(text: &str) -> String {
    text.strip_suffix("T00:00:00").unwrap_or(text).to_owned()
}

/// `PT08H15M00S` as a time of day: ODS keeps times so (ISO/IEC 26300-3, 18.2 `duration`).
fn clock(text: &str) -> Option<String> {
    let rest = text.strip_prefix("PT")?;
    let (hours, rest) = rest.split_once('H').unwrap_or(("0", rest));
    let (minutes, rest) = rest.split_once('M').unwrap_or(("0", rest));
    let seconds = rest.strip_suffix('S').unwrap_or("0");
    let hours: u32 = hours.parse().ok()?;
    let minutes: u32 = minutes.parse().ok()?;
    let whole: f64 = seconds.parse().ok()?;
    (hours < 24).then(|| format!("{hours:02}:{minutes:02}:{:02}", whole.round() as u32))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_by_their_serial_number() {
        // ISO/IEC 29500-1, 18.17.4.1: in the 1900 system 1 January 1900 is 1; from memory, 46083 is
        // 2 March 2026 (the fixtures hold dates that another program wrote).
        let of = |serial: f64, kind| time(&ExcelDateTime::new(serial, kind, false));
        let date = calamine::ExcelDateTimeType::DateTime;
        assert_eq!(of(46_083.0, date), "2026-03-02");
        assert_eq!(of(46_083.0 + 0.34375, date), "2026-03-02T08:15:00");
        assert_eq!(of(0.34375, date), "08:15:00");
        for second in 0..86_400 {
            let text = of(46_083.0 + f64::from(second) / 86_400.0, date);
            let (h, m, s) = (second / 3600, second / 60 % 60, second % 60);
            let due = format!("2026-03-02T{h:02}:{m:02}:{s:02}");
            assert!(text == due || second == 0, "{second}: {text}");
        }
        assert_eq!(of(60.0 / 86_400.0, calamine::ExcelDateTimeType::TimeDelta), "1:00");
        assert_eq!(clock("PT08H15M00S").as_deref(), Some("08:15:00"));
    }

    #[test]
    fn numbers_as_they_were_meant() {
        assert_eq!(number(0.1 + 0.2), "0.3");
        assert_eq!(number(1234.0), "1234");
        assert!(
            has_mark("1.234") && has_mark(">1,5") && !has_mark("02.03.2026") && !has_mark("YT.x")
        );
    }

    #[test]
    fn what_is_no_spreadsheet() {
        assert!(sheet_text(b"PK\x03\x04 and nothing more").is_err());
    }
}
