//! Batches: one delivery or one change each, numbered without a gap.

use rusqlite::{Connection, params};

use super::cells::collect;
use super::names;
use crate::model::Stamp;
use crate::store::{Batch, KeptFile, Recorded, Result, Source};

/// Smallest and largest of some numbers.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub(super) low: i64,
    pub(super) high: i64,
}

impl Span {
    /// Of one number.
    pub(super) fn of(value: i64) -> Self {
        Span { low: value, high: value }
    }

    /// Stretched over another span.
    pub(super) fn and(self, other: Span) -> Self {
        Span { low: self.low.min(other.low), high: self.high.max(other.high) }
    }
}

/// The number the next batch will have; the write lock must be held until it is added.
pub(super) fn next(db: &Connection) -> Result<i64> {
    let last: Option<i64> =
        db.prepare_cached("SELECT max(no) FROM batch")?.query_row([], |r| r.get(0))?;
    Ok(last.unwrap_or(0) + 1)
}

/// Adds a batch under the number from [`next`].
pub(super) fn add(db: &Connection, no: i64, now: Stamp, source: &Source) -> Result<()> {
    let source_no = names::source(db, source)?;
    let kept = source.file.as_ref().map(|file| names::kept(db, file)).transpose()?;
    db.prepare_cached("INSERT INTO batch (no, received_at, source, kept) VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![no, now.micros(), source_no, kept])?;
    Ok(())
}

/// What kind of source a person is.
pub(super) const HAND: &str = "hand";

/// Adds the batch of a person's change; returns its number.
pub(super) fn add_change(db: &Connection, now: Stamp, by: &str) -> Result<i64> {
    let no = next(db)?;
    let source =
        Source { kind: HAND.into(), name: by.into(), profile: Default::default(), file: None };
    add(db, no, now, &source)?;
    Ok(no)
}

/// Widens the span within which the readings of a batch are found.
pub(super) fn widen(db: &Connection, no: i64, series: Span, taken: Span) -> Result<()> {
    db.prepare_cached(
        "UPDATE batch SET series_low = min(ifnull(series_low, ?2), ?2),
           series_high = max(ifnull(series_high, ?3), ?3),
           taken_low = min(ifnull(taken_low, ?4), ?4),
           taken_high = max(ifnull(taken_high, ?5), ?5) WHERE no = ?1",
    )?
    .execute(params![no, series.low, series.high, taken.low, taken.high])?;
    Ok(())
}

/// A batch by number.
pub(super) fn find(db: &Connection, no: i64) -> Result<Option<Batch>> {
    let mut found = collect(
        db,
        "batch",
        "SELECT b.no, b.received_at, s.kind, s.name, s.profile, k.digest, k.bytes
         FROM batch b JOIN source s ON s.no = b.source LEFT JOIN kept k ON k.no = b.kept
         WHERE b.no = ?1",
        params![no],
        |cells| {
            let file = match cells.get::<Option<i64>>(6)? {
                None => None,
                Some(bytes) => Some(KeptFile { digest: cells.text(5)?, bytes: bytes as u64 }),
            };
            let (kind, name, profile) = (cells.text(2)?, cells.text(3)?, cells.text(4)?);
            Ok(Batch {
                number: cells.get::<i64>(0)? as u64,
                received_at: cells.stamp(1)?,
                source: Source { kind, name, profile, file },
            })
        },
    )?;
    Ok(found.pop())
}

/// The batches that took in a kept file, in order.
pub(super) fn of_file(db: &Connection, digest: &str) -> Result<Vec<u64>> {
    let mut ask = db.prepare_cached(
        "SELECT b.no FROM batch b JOIN kept k ON k.no = b.kept WHERE k.digest = ?1 ORDER BY b.no",
    )?;
    let numbers = ask.query_map([digest], |row| row.get::<_, i64>(0).map(|no| no as u64))?;
    Ok(numbers.collect::<rusqlite::Result<_>>()?)
}

/// The batches of readings that people entered by hand, oldest first.
pub(super) fn by_hand(db: &Connection) -> Result<Vec<Recorded<u64>>> {
    let sql = "SELECT b.no, b.received_at, s.name FROM batch b JOIN source s ON s.no = b.source
               WHERE s.kind = ?1 AND b.series_low IS NOT NULL ORDER BY b.no";
    collect(db, "batch", sql, params![HAND], |cells| {
        Ok(Recorded { value: cells.get::<i64>(0)? as u64, mark: cells.mark(1)? })
    })
}
