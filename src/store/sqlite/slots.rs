//! The rule of duplicates against the database: who stands where an incoming reading would.

use rusqlite::types::ValueRef;
use rusqlite::{CachedStatement, Connection, Row as DbRow, Rows, params};
use rustc_hash::FxHashMap;

use super::batches;
use super::cells::collect;
use super::error::damaged;
use super::row::{Note, Row, part_of};
use crate::model::{Precision, ReadingId, TemperatureOf};
use crate::store::same::{Origins, Rest, Slot};
use crate::store::{RecordPlace, Result, Source};

/// Slots of foreign readings that a delivery's coarse readings were found equal to: each stands
/// for one record only. In a temporary table, because a file grown by one row and given again may
/// claim millions.
pub(super) const CLAIMED_TABLE: &str = "CREATE TEMP TABLE claimed (delivery INTEGER, series
    INTEGER, taken_at INTEGER, tester INTEGER, bound INTEGER, ohms REAL, duration REAL, nth
    INTEGER, PRIMARY KEY (delivery, series, taken_at, tester, bound, ohms, duration, nth))
    STRICT, WITHOUT ROWID";

const CLAIM: &str = "INSERT INTO temp.claimed VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)";

const SLOTS: &str = "SELECT nth, batch, record, flags, note, temperature, delivered, humidity,
    EXISTS (SELECT 1 FROM temp.claimed c WHERE c.delivery = ?7 AND c.series = r.series
      AND c.taken_at = r.taken_at AND c.tester = r.tester AND c.bound = r.bound
      AND c.ohms = r.ohms AND c.duration = r.duration AND c.nth = r.nth)
    FROM reading r WHERE series = ?1 AND taken_at = ?2 AND tester = ?3 AND bound = ?4 AND ohms = ?5
    AND duration = ?6 ORDER BY nth";

/// What to do with a reading whose natural key is taken.
#[derive(Debug)]
pub(super) enum Found {
    /// It went in just now.
    Itself,
    /// It is a reading of its own, under this `nth`.
    Free(i64),
    /// It is stored already.
    Duplicate,
    /// It says something else than this reading, in these fields.
    Conflict(ReadingId, Vec<&'static str>),
}

/// An incoming reading with the numbers of the store.
#[derive(Debug)]
pub(super) struct Incoming<'a> {
    pub(super) row: &'a Row,
    pub(super) series: i64,
    pub(super) tester: i64,
    pub(super) note: i64,
    pub(super) note_text: &'a Note,
}

/// Looks at what stands under the key of incoming readings of one delivery.
pub(super) struct Slots<'a> {
    db: &'a Connection,
    query: Option<CachedStatement<'a>>,
    delivery: i64,
    pub(super) batch: i64,
    source: &'a Source,
    /// Where other batches came from, as far as they were asked for.
    sources: FxHashMap<i64, Source>,
    /// Whether a foreign slot was claimed.
    pub(super) claimed: bool,
}

impl<'a> Slots<'a> {
    pub(super) fn new(
        db: &'a Connection,
        delivery: i64,
        batch: i64,
        source: &'a Source,
    ) -> Result<Self> {
        let query = Some(db.prepare_cached(SLOTS)?);
        let sources = FxHashMap::default();
        Ok(Slots { db, query, delivery, batch, source, sources, claimed: false })
    }

    /// The rule of duplicates, slot by slot. `perhaps_in`: the reading may have gone in just now.
    pub(super) fn find(&mut self, new: &Incoming<'_>, perhaps_in: bool) -> Result<Found> {
        let mut query = match self.query.take() {
            Some(query) => query,
            None => self.db.prepare_cached(SLOTS)?,
        };
        let row = new.row;
        let found = self.walk(
            new,
            perhaps_in,
            query.query(params![
                new.series,
                row.taken_at,
                new.tester,
                row.words.bound(),
                row.ohms,
                row.duration(),
                self.delivery
            ])?,
        );
        self.query = Some(query);
        found
    }

    fn walk(&mut self, new: &Incoming<'_>, perhaps_in: bool, mut slots: Rows<'_>) -> Result<Found> {
        let row = new.row;
        let coarse = row.words.precision() != Precision::Fine;
        let mut differs = None;
        let mut free = 0;
        while let Some(slot) = slots.next()? {
            let nth: i64 = slot.get(0)?;
            free = nth + 1;
            let batch: i64 = slot.get(1)?;
            let part = part_of(slot.get(3)?);
            let place = RecordPlace { record: slot.get::<_, i64>(2)? as u64, part };
            if perhaps_in && batch == self.batch && place == row.place() {
                return Ok(Found::Itself);
            }
            if coarse && slot.get(8)? {
                continue;
            }
            let origins = self.origins(row.place(), batch, place)?;
            match origins.judge(row.words.precision(), || self.differences(new, slot))? {
                Slot::Apart => {}
                Slot::Duplicate { same_record } => {
                    if coarse && !same_record {
                        self.claim(new, nth)?;
                    }
                    return Ok(Found::Duplicate);
                }
                Slot::Differs(fields) => {
                    let RecordPlace { record, part } = place;
                    let id = ReadingId { batch: batch as u64, record, part };
                    differs.get_or_insert((id, fields));
                }
            }
        }
        Ok(differs.map_or(Found::Free(free), |(id, fields)| Found::Conflict(id, fields)))
    }

    fn origins(&mut self, new: RecordPlace, batch: i64, place: RecordPlace) -> Result<Origins> {
        let incoming = (self.source, new);
        if batch == self.batch {
            return Ok(Origins::of(incoming, (self.source, place), true));
        }
        if !self.sources.contains_key(&batch) {
            let found = batches::find(self.db, batch)?
                .ok_or_else(|| damaged("batch", batch, "it is gone, and a reading names it"))?;
            self.sources.insert(batch, found.source);
        }
        Ok(Origins::of(incoming, (&self.sources[&batch], place), false))
    }

    fn claim(&mut self, new: &Incoming<'_>, nth: i64) -> Result<()> {
        let row = new.row;
        self.db.prepare_cached(CLAIM)?.execute(params![
            self.delivery,
            new.series,
            row.taken_at,
            new.tester,
            row.words.bound(),
            row.ohms,
            row.duration(),
            nth
        ])?;
        self.claimed = true;
        Ok(())
    }

    fn differences(&self, new: &Incoming<'_>, slot: &DbRow<'_>) -> Result<Vec<&'static str>> {
        let number = |i| {
            from_thousandths(slot.get_ref(i)?)
                .map_err(|why| damaged("reading", "of an equal key", why))
        };
        let note: i64 = slot.get(4)?;
        let loaded;
        let old = match note == new.note {
            true => new.note_text,
            false => {
                loaded = note_text(self.db, note)?;
                &loaded
            }
        };
        let row = new.row;
        let incoming = Rest {
            delivered_voltage_v: row.delivered.get(),
            temperature_c: row.temperature.get(),
            temperature_of: temperature_of(row.flags()),
            humidity_pct: row.humidity.get(),
            operator: &new.note_text.operator,
            station: &new.note_text.station,
            remark: &new.note_text.remark,
        };
        let stored = Rest {
            delivered_voltage_v: number(6)?,
            temperature_c: number(5)?,
            temperature_of: temperature_of(slot.get(3)?),
            humidity_pct: number(7)?,
            operator: &old.operator,
            station: &old.station,
            remark: &old.remark,
        };
        Ok(incoming.differences(&stored))
    }
}

/// The texts of a note.
pub(super) fn note_text(db: &Connection, no: i64) -> Result<Note> {
    let find = "SELECT no, operator, station, remark, reason FROM note WHERE no = ?1";
    let mut found = collect(db, "note", find, params![no], |cells| {
        Ok(Note {
            operator: cells.text(1)?,
            station: cells.text(2)?,
            remark: cells.text(3)?,
            reason: cells.text(4)?,
        })
    })?;
    found.pop().ok_or_else(|| damaged("note", no, "it is gone, and a reading names it"))
}

/// A number out of a column of whole thousandths, or of the number itself where those are not exact.
pub(super) fn from_thousandths(value: ValueRef<'_>) -> std::result::Result<Option<f64>, String> {
    match value {
        ValueRef::Null => Ok(None),
        ValueRef::Integer(whole) => Ok(Some(whole as f64 / 1000.0)),
        ValueRef::Real(value) => Ok(Some(value)),
        other => Err(format!("expected a number, found {}", other.data_type())),
    }
}

/// What the temperature was of, out of the column `flags`.
pub(super) fn temperature_of(flags: i64) -> Option<TemperatureOf> {
    match (flags >> 4) & 3 {
        1 => Some(TemperatureOf::Winding),
        2 => Some(TemperatureOf::Ambient),
        _ => None,
    }
}
