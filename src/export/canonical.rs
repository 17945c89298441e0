//! The canonical CSV: lossless for readings, rows by time, then series.

use std::io::{self, Write};

use super::walk::{ExportError, Row, Selection, each_reading};
use crate::store::Reader;

/// The columns, in the order they are written.
pub const HEADER: &str = "taken_at,asset,phase,against,setup,resistance_ohm,bound,test_voltage_v,\
delivered_voltage_v,duration_s,temperature_c,temperature_of,humidity_pct,tester,operator,station,\
remark";

/// Writes readings as canonical rows, in the order in which they are given.
///
/// Times are RFC 3339 with `Z`. An equal reading that is a separate one (its source wrote times
/// coarser than a second) is written to the minute, `2026-03-02T08:15Z`, so that importing the file
/// again keeps both.
pub struct CanonicalWriter<W: Write> {
    out: W,
    line: Vec<u8>,
}

impl<W: Write> CanonicalWriter<W> {
    /// Writes the header.
    pub fn new(mut out: W) -> io::Result<Self> {
        out.write_all(HEADER.as_bytes())?;
        out.write_all(b"\n")?;
        Ok(CanonicalWriter { out, line: Vec::with_capacity(256) })
    }

    /// Writes a row; `again` when it is equal to the one before it and yet another reading.
    pub fn row(&mut self, row: &Row, again: bool) -> io::Result<()> {
        self.line.clear();
        write!(self.line, "{}", row.reading.taken_at)?;
        if again && self.line.ends_with(b":00Z") {
            self.line.truncate(self.line.len() - 4);
            self.line.push(b'Z');
        }
        self.line.push(b',');
        cells(&mut self.line, row)?;
        self.out.write_all(&self.line)
    }

    /// Sees to it that all of it is written.
    pub fn finish(mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// The cells after the time, with the line end.
fn cells(line: &mut Vec<u8>, row: &Row) -> io::Result<()> {
    let r = &row.reading;
    for text in [&row.asset, &row.phase, &r.series.against, &r.series.setup] {
        cell(line, text);
    }
    write!(line, "{},{},", r.ohms, r.bound.word())?;
    number(line, r.series.test_voltage.map(|v| v.get()))?;
    number(line, r.delivered_voltage_v)?;
    number(line, r.duration_s)?;
    number(line, r.temperature_c)?;
    cell(line, r.temperature_of.map_or("", |t| t.word()));
    number(line, r.humidity_pct)?;
    for text in [&r.tester, &r.operator, &r.station, &r.remark] {
        cell(line, text);
    }
    line.pop();
    line.push(b'\n');
    Ok(())
}

fn number(line: &mut Vec<u8>, value: Option<f64>) -> io::Result<()> {
    if let Some(v) = value {
        write!(line, "{v}")?;
    }
    line.push(b',');
    Ok(())
}

/// A text cell, quoted where RFC 4180 asks for it, with its comma.
fn cell(line: &mut Vec<u8>, text: &str) {
    if text.bytes().any(|b| matches!(b, b',' | b'"' | b'\n' | b'\r')) {
        line.push(b'"');
        for b in text.bytes() {
            if b == b'"' {
                line.push(b'"');
            }
            line.push(b);
        }
        line.push(b'"');
    } else {
        line.extend_from_slice(text.as_bytes());
    }
    line.push(b',');
}

/// Writes the readings of a selection, the tray's among them with an empty asset; `each` is told of
/// every row, after it. Returns how many there are.
pub fn export_readings<R: Reader + ?Sized>(
    reader: &R,
    selection: &Selection,
    out: impl Write,
    each: &mut dyn FnMut(&Row),
) -> Result<u64, ExportError> {
    let mut writer = CanonicalWriter::new(out)?;
    let count = each_reading(reader, selection, &mut |row, again| {
        writer.row(row, again)?;
        each(row);
        Ok(())
    })?;
    writer.finish()?;
    Ok(count)
}
