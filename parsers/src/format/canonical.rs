//! The canonical CSV: our own import and export format, lossless for readings.
//!
//! ```text
//!  taken_at,asset,phase,against,setup,resistance_ohm,bound,…     first record, any order
//!  2026-03-02T08:15:00Z,YT-014/drive,U,case,,550000000,>,…
//!     1                   2          3  4   5    6     7
//! ```
//! 1 RFC 3339 with offset; to the minute, or a date alone, is kept as that coarse  2 may be empty
//! 4 empty: `case`  6 ohms with a decimal point, no thousands mark; 0 is "at most the lowest
//! reading"; `OL`, `inf` and the like are over-range without a number  7 `=`, `>`, `<`; empty: `=`.
//! A mark written into 6 (`>550000000`) is taken too, where 7 is empty or says the same.
//!
//! A column that is not known is named in a warning and stays in the raw record. A column twice or
//! a required one missing refuses the stream.

use crate::fault::{Fault, Wrong};
use crate::format::{Decoder, Format, Record, put};
use crate::framing::Quoting;
use crate::piece::number::plain;
use crate::piece::quantity::check;
use crate::piece::resistance::{self, resistance};
use crate::piece::rfc3339;
use crate::piece::unit::{Quantity, Unit};
use crate::profile::Profile;
use crate::raw::{Bound, Parsed, Place, RawReading, Resistance, TemperatureOf};
use crate::split::Splitter;

/// The columns in the order they are written; their places here are the indices of a row.
pub(crate) const COLUMNS: [&str; 17] = [
    "taken_at",
    "asset",
    "phase",
    "against",
    "setup",
    "resistance_ohm",
    "bound",
    "test_voltage_v",
    "delivered_voltage_v",
    "duration_s",
    "temperature_c",
    "temperature_of",
    "humidity_pct",
    "tester",
    "operator",
    "station",
    "remark",
];

/// Those that a stream must have.
const REQUIRED: [&str; 4] = ["taken_at", "asset", "phase", "resistance_ohm"];

/// Values this large may be an instrument's code for infinity and are looked at closer, in ohms.
const MAY_BE_CODE: f64 = 1e30;

/// One row: a text per column of [`COLUMNS`]; empty where it is not stated.
pub(crate) type Row<'a> = [&'a str; COLUMNS.len()];

/// The row of `FORMATS`.
pub(crate) struct Canonical;

impl Format for Canonical {
    fn name(&self) -> &'static str {
        "canonical"
    }

    fn about(&self) -> &'static str {
        "CSV with the columns `taken_at,asset,phase,resistance_ohm,…` in SI units, times with offset"
    }

    fn quoting(&self, _: &Profile) -> Option<Quoting> {
        Some(Quoting { quote: b'"', separator: b',' })
    }

    fn open(&self, _: &Profile) -> Result<Box<dyn Decoder>, Wrong> {
        let splitter = Splitter::new(b',', b'"');
        Ok(Box::new(Table { splitter, columns: Vec::new(), warnings: Vec::new() }))
    }
}

struct Table {
    splitter: Splitter,
    /// For each column of the stream its place in [`COLUMNS`]; empty until the header came.
    columns: Vec<Option<usize>>,
    warnings: Vec<String>,
}

impl Decoder for Table {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        if self.columns.is_empty() {
            if !record.text.trim().is_empty() {
                let mut names = Vec::new();
                self.splitter.split(record.text, |name| names.push(name));
                (self.columns, self.warnings) = header(&names, record.text)?;
            }
            out.silent += 1;
            return Ok(());
        }
        let mut row: Row<'_> = [""; COLUMNS.len()];
        let (mut count, mut blank) = (0, true);
        self.splitter.split(record.text, |cell| {
            if let Some(Some(column)) = self.columns.get(count) {
                row[*column] = cell;
            }
            blank &= cell.is_empty();
            count += 1;
        });
        if blank {
            out.silent += 1;
        } else if count == self.columns.len() {
            put(record, reading(&row, record.place), out);
        } else {
            let expected = format!("{} columns as in the header", self.columns.len());
            let fault = Fault::new("columns", "", expected, &format!("{count}: {}", record.text));
            out.rejects.push(fault.reject(record.place, record.bytes));
        }
        Ok(())
    }

    fn warnings(&self) -> &[String] {
        &self.warnings
    }
}

/// Where each column of a header belongs, and a warning for each that is not known.
fn header(names: &[&str], text: &str) -> Result<(Vec<Option<usize>>, Vec<String>), Fault> {
    let (mut columns, mut warnings) = (Vec::new(), Vec::new());
    for (at, name) in names.iter().enumerate() {
        if !name.is_empty() && names[..at].contains(name) {
            return Err(Fault::new("header", name, "each column once", text));
        }
        let column = COLUMNS.iter().position(|known| known == name);
        if column.is_none() {
            warnings.push(format!("column `{name}` is not known: kept in the raw record only"));
        }
        columns.push(column);
    }
    match REQUIRED.iter().find(|required| !names.contains(required)) {
        Some(missing) => {
            let expected = format!("a header with the column `{missing}`, separated by commas");
            Err(Fault::new("header", missing, expected, text))
        }
        None => Ok((columns, warnings)),
    }
}

/// The reading of one row.
pub(crate) fn reading(row: &Row<'_>, place: Place) -> Result<RawReading, Fault> {
    let [taken_at, asset, phase, against, setup, ohms, bound, rest @ ..] = row;
    let [volts, delivered, duration, celsius, of, humidity, tester, operator, station, remark] =
        rest;
    let taken = rfc3339::instant(taken_at)
        .ok_or_else(|| Fault::new("time", COLUMNS[0], rfc3339::EXPECTED, taken_at))?;
    Ok(RawReading {
        place,
        taken: Some(taken),
        asset: (*asset).into(),
        phase: (*phase).into(),
        against: if against.is_empty() { "case".into() } else { (*against).into() },
        setup: (*setup).into(),
        resistance: ohms_of(ohms, bound)?,
        test_voltage_v: value(volts, Quantity::TestVoltage, COLUMNS[7])?,
        delivered_voltage_v: value(delivered, Quantity::DeliveredVoltage, COLUMNS[8])?,
        duration_s: value(duration, Quantity::Duration, COLUMNS[9])?,
        temperature_c: value(celsius, Quantity::Temperature, COLUMNS[10])?,
        temperature_of: match *of {
            "" => None,
            "winding" => Some(TemperatureOf::Winding),
            "ambient" => Some(TemperatureOf::Ambient),
            other => {
                return Err(Fault::new("word", COLUMNS[11], "`winding` or `ambient`", other));
            }
        },
        humidity_pct: value(humidity, Quantity::Humidity, COLUMNS[12])?,
        tester: (*tester).into(),
        operator: (*operator).into(),
        station: (*station).into(),
        remark: (*remark).into(),
    })
}

fn ohms_of(cell: &str, bound: &str) -> Result<Resistance, Fault> {
    let stated = match bound {
        "" => None,
        "=" => Some(Bound::Measured),
        ">" | "≥" | ">=" => Some(Bound::Over),
        "<" | "≤" | "<=" => Some(Bound::Under),
        other => return Err(Fault::new("bound", "bound", "`=`, `>` or `<`", other)),
    };
    // Most rows; everything else takes the way that knows all spellings.
    if let Some(value) = plain(cell).filter(|value| *value > 0.0 && *value < MAY_BE_CODE) {
        return Ok(match stated {
            None | Some(Bound::Measured) => Resistance::Measured(value),
            Some(Bound::Over) => Resistance::Over(Some(value)),
            Some(Bound::Under) => Resistance::Under(Some(value)),
        });
    }
    let field = "resistance_ohm";
    if cell.is_empty() {
        return Err(Fault::new("number", field, "a resistance in ohms", cell));
    }
    // The column says ohms: a unit in its cells is a doubt, not a help.
    if cell.ends_with(|c: char| c.is_alphabetic() || c == '\u{2126}') && plain_number_starts(cell) {
        return Err(Fault::new("unit", field, "ohms without a unit", cell));
    }
    resistance(cell, &resistance::Rules::PLAIN, Some(Unit::Scale(1.0)), stated, None, field)
}

/// Whether a digit stands before anything but a mark.
fn plain_number_starts(cell: &str) -> bool {
    cell.trim_start_matches(['<', '>', '=', '≤', '≥', ' '])
        .starts_with(|c: char| c.is_ascii_digit())
}

fn value(cell: &str, quantity: Quantity, field: &str) -> Result<Option<f64>, Fault> {
    if cell.is_empty() {
        return Ok(None);
    }
    let value = plain(cell).ok_or_else(|| {
        let expected = "a number with decimal point, without unit or thousands mark";
        Fault::new("number", field, expected, cell)
    })?;
    check(value, quantity, field, cell).map(Some)
}
