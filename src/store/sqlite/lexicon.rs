//! Rows of the database as readings of the model, with the names behind their numbers.

use std::cell::RefCell;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, Row};
use rustc_hash::FxHashMap;

use super::cells::Cells;
use super::error::damaged;
use super::names::NOBODY;
use super::row::{Note, part_of};
use super::slots::{note_text, temperature_of};
use crate::model::{
    Bound, Facts, Phase, Precision, Reading, ReadingId, Series, Text, TimeDoubt, Volts,
};
use crate::store::{Result, Stored, unplaced};

/// Names that a cache holds before it starts anew.
const CACHED: usize = 1 << 16;

/// The columns that [`Lexicon::stored`] reads, of `reading r` and `batch b`.
pub(super) const COLUMNS: &str =
    "r.series, r.taken_at, r.tester, r.bound, r.ohms, r.duration, r.nth, r.batch,
    r.record, r.flags, r.note, r.temperature, r.delivered, r.humidity, b.received_at";

/// Which of [`COLUMNS`] is the time, counted from 1: how a union names it.
pub(super) const TAKEN_AT: usize = 2;

/// A series with what only the tray has.
#[derive(Clone, Debug)]
struct Known {
    series: Arc<Series>,
    asset: i64,
    /// In the tray: what was written for asset and phase.
    written: Option<(Text, Text)>,
}

/// A reading with the numbers of the store.
#[derive(Debug)]
pub(super) struct Found {
    pub(super) stored: Stored,
    pub(super) series: i64,
    pub(super) asset: i64,
    pub(super) tester: i64,
    pub(super) nth: i64,
    pub(super) note: i64,
    /// In the tray: what was written for asset and phase.
    pub(super) written: Option<(Text, Text)>,
}

/// Names met so far. What a number means never changes, so nothing in here grows old.
#[derive(Debug, Default)]
pub(super) struct Lexicon {
    series: RefCell<FxHashMap<i64, Known>>,
    testers: RefCell<FxHashMap<i64, Text>>,
    notes: RefCell<FxHashMap<i64, Arc<Note>>>,
}

impl Lexicon {
    /// A series by number.
    fn series(&self, db: &Connection, no: i64) -> Result<Known> {
        cached(&self.series, no, || {
            let mut query = db.prepare_cached(
                "SELECT s.no, a.no, a.id, s.written, s.phase, s.against, s.setup, s.volts
                 FROM series s JOIN asset a ON a.no = s.asset WHERE s.no = ?1",
            )?;
            let mut rows = query.query([no])?;
            let Some(row) = rows.next()? else {
                return Err(damaged("series", no, "it is gone, and a reading names it"));
            };
            known(Cells { row, table: "series" })
        })
    }

    fn tester(&self, db: &Connection, no: i64) -> Result<Text> {
        cached(&self.testers, no, || {
            let id: Option<String> = db
                .prepare_cached("SELECT id FROM tester WHERE no = ?1")?
                .query_row([no], |row| row.get(0))
                .optional()?;
            id.map(Text::from)
                .ok_or_else(|| damaged("tester", no, "it is gone, and a reading names it"))
        })
    }

    /// A note by number.
    pub(super) fn note(&self, db: &Connection, no: i64) -> Result<Arc<Note>> {
        cached(&self.notes, no, || note_text(db, no).map(Arc::new))
    }

    /// A reading out of a row with [`COLUMNS`].
    pub(super) fn stored(&self, db: &Connection, row: &Row<'_>) -> Result<Found> {
        let cells = Cells { row, table: "reading" };
        let (series, batch, record, flags): (i64, i64, i64, i64) =
            (cells.get(0)?, cells.get(7)?, cells.get(8)?, cells.get(9)?);
        let id = ReadingId { batch: batch as u64, record: record as u64, part: part_of(flags) };
        let wrong = |why: String| damaged("reading", id, why);
        let (tester, note_no): (i64, i64) = (cells.get(2)?, cells.get(10)?);
        let known = self.series(db, series)?;
        let note = self.note(db, note_no)?;
        let duration: f64 = cells.get(5)?;
        let bound: i64 = cells.get(3)?;
        let facts = Facts {
            series: known.series.clone(),
            taken_at: cells.stamp(1)?,
            precision: *nth(Precision::ALL, flags & 3).ok_or_else(|| wrong(bits(flags)))?,
            time_doubt: TimeDoubt::ALL[(flags >> 2 & 3) as usize],
            ohms: cells.get(4)?,
            bound: *nth(Bound::ALL, bound).ok_or_else(|| wrong(format!("bound {bound}")))?,
            delivered_voltage_v: cells.thousandths(12)?,
            duration_s: (duration >= 0.0).then_some(duration),
            temperature_c: cells.thousandths(11)?,
            temperature_of: temperature_of(flags),
            humidity_pct: cells.thousandths(13)?,
            tester: self.tester(db, tester)?,
            operator: note.operator.clone(),
            station: note.station.clone(),
            remark: note.remark.clone(),
        };
        let reading = Reading::new(facts).map_err(|e| wrong(e.to_string()))?;
        let (recorded_at, in_tray) = (cells.stamp(14)?, known.asset == NOBODY);
        let nth = cells.get(6)?;
        let stored = Stored { id, reading, recorded_at, in_tray };
        let (asset, written) = (known.asset, known.written);
        Ok(Found { stored, series, asset, tester, nth, note: note_no, written })
    }
}

fn bits(flags: i64) -> String {
    format!("flags {flags:#x} mean nothing")
}

fn nth<T>(all: &[T], i: i64) -> Option<&T> {
    all.get(usize::try_from(i).ok()?)
}

fn known(cells: Cells<'_, '_>) -> Result<Known> {
    let asset: i64 = cells.get(1)?;
    let (written_asset, phase) = (cells.text(3)?, cells.text(4)?);
    let volts: f64 = cells.get(7)?;
    let test_voltage = match volts {
        -1.0 => None,
        v => Some(Volts::new("test_voltage_v", v).map_err(|e| cells.damaged(e))?),
    };
    let (id, label, written) = match asset {
        NOBODY => {
            let (id, label) = unplaced();
            (id, label, Some((written_asset, phase)))
        }
        _ => (cells.asset(2)?, Phase::new(&phase).map_err(|e| cells.damaged(e))?, None),
    };
    let (against, setup) = (cells.text(5)?, cells.text(6)?);
    let series = Arc::new(Series { asset: id, phase: label, against, setup, test_voltage });
    Ok(Known { series, asset, written })
}

fn cached<V: Clone>(
    cache: &RefCell<FxHashMap<i64, V>>,
    no: i64,
    load: impl FnOnce() -> Result<V>,
) -> Result<V> {
    if let Some(value) = cache.borrow().get(&no) {
        return Ok(value.clone());
    }
    let value = load()?;
    let mut cache = cache.borrow_mut();
    if cache.len() >= CACHED {
        cache.clear();
    }
    cache.insert(no, value.clone());
    Ok(value)
}
