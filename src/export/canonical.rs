//! The canonical CSV: lossless for readings, rows by time, then series.

use std::cmp::Ordering;
use std::collections::{BTreeMap, HashSet};
use std::io::{self, Write};

use crate::model::{Correction, CorrectionKind, Reading, ReadingId, Text};
use crate::store::{Reader, StoreError, Stored, StoredTray, When};

/// What stands for the asset of a reading in the tray.
const UNPLACED: &str = "?";

/// The columns, in the order they are written.
pub const HEADER: &str = "taken_at,asset,phase,against,setup,resistance_ohm,bound,test_voltage_v,\
delivered_voltage_v,duration_s,temperature_c,temperature_of,humidity_pct,tester,operator,station,\
remark";

/// Writes readings as canonical rows, in the order of their time; those of one instant are put in
/// order here, by what is written and not by how a store numbers things.
///
/// Times are RFC 3339 with `Z`. An equal reading that is a separate one (its source wrote times
/// coarser than a second) is written to the minute, `2026-03-02T08:15Z`, so that importing the file
/// again keeps both.
pub struct CanonicalWriter<W: Write> {
    out: W,
    line: Vec<u8>,
    instant: Vec<Row>,
    rows: u64,
}

/// A reading under the asset and phase it is exported with: both may be empty in the tray.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its id, for the caller.
    pub id: ReadingId,
    /// The asset.
    pub asset: Text,
    /// The phase.
    pub phase: Text,
    /// The reading.
    pub reading: Reading,
}

impl<W: Write> CanonicalWriter<W> {
    /// Writes the header.
    pub fn new(mut out: W) -> io::Result<Self> {
        out.write_all(HEADER.as_bytes())?;
        out.write_all(b"\n")?;
        Ok(CanonicalWriter { out, line: Vec::with_capacity(256), instant: Vec::new(), rows: 1 })
    }

    /// Takes one row; `on_row` is told where each was written (the header being row 1) as soon as
    /// its instant is complete.
    pub fn push(&mut self, row: Row, on_row: &mut dyn FnMut(ReadingId, u64)) -> io::Result<()> {
        if self.instant.first().is_some_and(|r| r.reading.taken_at != row.reading.taken_at) {
            self.write_instant(on_row)?;
        }
        self.instant.push(row);
        Ok(())
    }

    /// Writes what is left and flushes; returns the number of readings written.
    pub fn finish(mut self, on_row: &mut dyn FnMut(ReadingId, u64)) -> io::Result<u64> {
        self.write_instant(on_row)?;
        self.out.flush()?;
        Ok(self.rows - 1)
    }

    fn write_instant(&mut self, on_row: &mut dyn FnMut(ReadingId, u64)) -> io::Result<()> {
        let mut rows = std::mem::take(&mut self.instant);
        let Some(first) = rows.first() else { return Ok(()) };
        let at = first.reading.taken_at.to_string();
        rows.sort_by(order);
        for (i, row) in rows.iter().enumerate() {
            let again = i > 0 && equal_key(&rows[i - 1], row);
            self.line.clear();
            match at.strip_suffix(":00Z").filter(|_| again) {
                Some(minute) => write!(self.line, "{minute}Z,")?,
                None => write!(self.line, "{at},")?,
            }
            cells(&mut self.line, row)?;
            self.out.write_all(&self.line)?;
            self.rows += 1;
            on_row(row.id, self.rows);
        }
        rows.clear();
        self.instant = rows;
        Ok(())
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

/// The order of rows of one instant: by series, then by all else that is written.
fn order(a: &Row, b: &Row) -> Ordering {
    let number = |x: Option<f64>, y: Option<f64>| {
        x.unwrap_or(f64::NEG_INFINITY).total_cmp(&y.unwrap_or(f64::NEG_INFINITY))
    };
    let (r, s) = (&a.reading, &b.reading);
    (
        &a.asset,
        &a.phase,
        &r.series.against,
        &r.series.setup,
        r.series.test_voltage,
        &r.tester,
        r.bound,
    )
        .cmp(&(
            &b.asset,
            &b.phase,
            &s.series.against,
            &s.series.setup,
            s.series.test_voltage,
            &s.tester,
            s.bound,
        ))
        .then_with(|| r.ohms.total_cmp(&s.ohms))
        .then_with(|| number(r.duration_s, s.duration_s))
        .then_with(|| number(r.delivered_voltage_v, s.delivered_voltage_v))
        .then_with(|| number(r.temperature_c, s.temperature_c))
        .then_with(|| r.temperature_of.cmp(&s.temperature_of))
        .then_with(|| number(r.humidity_pct, s.humidity_pct))
        .then_with(|| {
            (&r.operator, &r.station, &r.remark).cmp(&(&s.operator, &s.station, &s.remark))
        })
}

/// Equal by the rule that makes a reading a duplicate, the instant being the same.
fn equal_key(a: &Row, b: &Row) -> bool {
    let (r, s) = (&a.reading, &b.reading);
    (&a.asset, &a.phase, &r.series.against, &r.series.setup, r.series.test_voltage)
        == (&b.asset, &b.phase, &s.series.against, &s.series.setup, s.series.test_voltage)
        && (&r.tester, r.bound, r.duration_s) == (&s.tester, s.bound, s.duration_s)
        && r.ohms == s.ohms
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

/// What went wrong while exporting.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The output could not be written.
    #[error("cannot write the export: {0}")]
    Io(#[from] io::Error),
}

/// How corrections show in an export.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corrections {
    /// Readings as they count now: moved ones at their place, voided ones left out.
    Applied,
    /// Readings as taken in: the corrections travel in a register of their own.
    Beside,
}

/// Writes every reading, the tray's among them with an empty asset; calls `on_row` with the row of
/// each. Memory stays bounded: only the tray and the corrected readings are held.
pub fn export_readings<R: Reader + ?Sized>(
    reader: &R,
    when: When,
    corrections: Corrections,
    out: impl Write,
    on_row: &mut dyn FnMut(ReadingId, u64),
) -> Result<u64, ExportError> {
    let mut writer = CanonicalWriter::new(out)?;
    let (corrected, mut aside) = match corrections {
        Corrections::Applied => applied(reader, when)?,
        Corrections::Beside => (HashSet::new(), Vec::new()),
    };
    let waiting = reader.tray(when)?;
    let mut elsewhere = corrected;
    elsewhere.extend(waiting.iter().map(|t| t.id));
    aside.extend(waiting.into_iter().map(|StoredTray { id, item, .. }| Row {
        id,
        asset: Text::default(),
        phase: item.written_phase,
        reading: item.reading,
    }));
    aside.sort_by_key(|row| row.reading.taken_at);
    let mut aside = aside.into_iter().peekable();
    let mut failed: Option<io::Error> = None;
    let walked = reader.for_each_reading(when, &mut |stored| {
        let at = stored.reading.taken_at;
        let mut write = || -> io::Result<()> {
            while let Some(row) = aside.next_if(|row| row.reading.taken_at <= at) {
                writer.push(row, on_row)?;
            }
            if !elsewhere.contains(&stored.id) {
                writer.push(as_taken_in(stored), on_row)?;
            }
            Ok(())
        };
        write().map_err(|e| {
            failed = Some(e);
            StoreError::Other("the export was stopped".into())
        })
    });
    // The walk only stops early when the output failed: its own error says more.
    if let Some(e) = failed {
        return Err(e.into());
    }
    walked?;
    for row in aside {
        writer.push(row, on_row)?;
    }
    Ok(writer.finish(on_row)?)
}

/// The row of a reading as it was taken in; one that came without asset has none here either.
fn as_taken_in(stored: &Stored) -> Row {
    let series = &stored.reading.series;
    let placed = *series.asset.as_str() != *UNPLACED;
    let text = |t: &str| if placed { Text::from(t) } else { Text::default() };
    Row {
        id: stored.id,
        asset: text(series.asset.as_str()),
        phase: text(series.phase.as_str()),
        reading: stored.reading.clone(),
    }
}

/// The ids of corrected readings, and the rows of those among them that still count.
fn applied<R: Reader + ?Sized>(
    reader: &R,
    when: When,
) -> Result<(HashSet<ReadingId>, Vec<Row>), ExportError> {
    let mut of: BTreeMap<ReadingId, Vec<Correction>> = BTreeMap::new();
    for c in reader.all_corrections(when)? {
        of.entry(c.value.reading).or_default().push(c.value);
    }
    let mut rows = Vec::new();
    for (&id, list) in &of {
        let Some(stored) = reader
            .find(id)?
            .filter(|s| s.reading.taken_at <= when.as_of && s.recorded_at <= when.known_at)
        else {
            continue;
        };
        let mut row = as_taken_in(&stored);
        let mut voided = false;
        for c in list {
            match &c.kind {
                CorrectionKind::Void => voided = true,
                CorrectionKind::Restore => voided = false,
                CorrectionKind::Overrule => {}
                CorrectionKind::Move { asset, phase } => {
                    row.asset = asset.as_str().into();
                    row.phase = phase.as_str().into();
                }
            }
        }
        if !voided {
            rows.push(row);
        }
    }
    Ok((of.into_keys().collect(), rows))
}
