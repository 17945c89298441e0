//! Asking for readings: of an asset, by id, all by time, the tray, the uses of a tester.

use rusqlite::{Connection, OptionalExtension, ToSql, params};
use rustc_hash::FxHashMap;

use super::cells::Cells;
use super::lexicon::{COLUMNS, Found, Lexicon, TAKEN_AT};
use super::names;
use crate::model::{AssetId, ReadingId, Stamp};
use crate::store::{Result, StoreError, Stored, StoredTray, TrayItem, When, same};

/// By time, then series; in the tray, where series have no meaning, by what was written.
fn order(all: &mut [Found]) {
    all.sort_by(|a, b| {
        same::by_time(&a.stored.reading, &b.stored.reading)
            .then_with(|| (&a.written, a.nth).cmp(&(&b.written, b.nth)))
    });
}

/// Readings with their numbers, out of any selection of [`COLUMNS`].
struct Select<'a> {
    db: &'a Connection,
    lexicon: &'a Lexicon,
}

impl Select<'_> {
    fn each(
        &self,
        sql: &str,
        params: &[&dyn ToSql],
        each: &mut dyn FnMut(Found) -> Result<()>,
    ) -> Result<()> {
        let mut query = self.db.prepare_cached(sql)?;
        let mut rows = query.query(params)?;
        while let Some(row) = rows.next()? {
            each(self.lexicon.stored(self.db, row)?)?;
        }
        Ok(())
    }

    fn all(&self, sql: &str, params: &[&dyn ToSql]) -> Result<Vec<Found>> {
        let mut all = Vec::new();
        self.each(sql, params, &mut |found| {
            all.push(found);
            Ok(())
        })?;
        Ok(all)
    }
}

/// Hands out readings that come by time: those of one instant in the order of [`order`].
struct InOrder<'a> {
    instant: Vec<Found>,
    each: &'a mut dyn FnMut(Stored) -> Result<()>,
}

impl<'a> InOrder<'a> {
    fn new(each: &'a mut dyn FnMut(Stored) -> Result<()>) -> Self {
        InOrder { instant: Vec::new(), each }
    }

    fn add(&mut self, found: Found) -> Result<()> {
        let at = |f: &Found| f.stored.reading.taken_at;
        if self.instant.first().is_some_and(|first| at(first) != at(&found)) {
            self.hand_out()?;
        }
        self.instant.push(found);
        Ok(())
    }

    fn hand_out(&mut self) -> Result<()> {
        order(&mut self.instant);
        self.instant.drain(..).try_for_each(|found| (self.each)(found.stored))
    }
}

/// The readings of an asset, those moved here included, by time, then series.
pub(super) fn of_asset(
    db: &Connection,
    lexicon: &Lexicon,
    asset: &AssetId,
    when: When,
    each: &mut dyn FnMut(Stored) -> Result<()>,
) -> Result<()> {
    since(db, lexicon, asset, Stamp::MIN, when, each)
}

/// Those measured at `from` or later.
fn since(
    db: &Connection,
    lexicon: &Lexicon,
    asset: &AssetId,
    from: Stamp,
    when: When,
    each: &mut dyn FnMut(Stored) -> Result<()>,
) -> Result<()> {
    let Some(asset) = names::known_asset(db, asset)? else {
        return Ok(());
    };
    let series: Vec<i64> = db
        .prepare_cached("SELECT no FROM series WHERE asset = ?1")?
        .query_map([asset], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    let (from, as_of, known_at) = (from.micros(), when.as_of.micros(), when.known_at.micros());
    let mut params: Vec<&dyn ToSql> = vec![&asset, &as_of, &known_at, &from];
    let sql = if series.len() <= MERGED {
        params.extend(series.iter().map(|no| no as &dyn ToSql));
        merged(series.len())
    } else {
        sorted()
    };
    let mut all = InOrder::new(each);
    Select { db, lexicon }.each(&sql, &params, &mut |found| all.add(found))?;
    all.hand_out()
}

/// Up to so many series of an asset are merged by time: each is stored by time, so that nothing
/// has to be sorted and little is in memory.
const MERGED: usize = 64;

/// What is measured from ?4 to ?2 and known at ?3.
const IN_TIME: &str = "r.taken_at BETWEEN ?4 AND ?2 AND b.received_at <= ?3";

/// The readings of asset ?1 by time, whose so many series are ?5 and on.
fn merged(series: usize) -> String {
    let of_one = |n: usize| {
        format!(
            "SELECT {COLUMNS} FROM reading r CROSS JOIN batch b ON b.no = r.batch
             WHERE r.series = ?{} AND {IN_TIME} UNION ALL ",
            5 + n
        )
    };
    let of_all: String = (0..series).map(of_one).collect();
    format!("{of_all} {} ORDER BY {TAKEN_AT}", moved_here())
}

/// The readings of asset ?1 by time, sorted by the database, on disk when it must.
fn sorted() -> String {
    format!(
        "SELECT {COLUMNS} FROM series s CROSS JOIN reading r ON r.series = s.no
         CROSS JOIN batch b ON b.no = r.batch
         WHERE s.asset = ?1 AND {IN_TIME} UNION ALL {} ORDER BY {TAKEN_AT}",
        moved_here()
    )
}

/// The readings that a correction moved to asset ?1.
fn moved_here() -> String {
    format!(
        "SELECT DISTINCT {COLUMNS} FROM correction c JOIN batch cb ON cb.no = c.batch
         CROSS JOIN reading r ON r.series = c.series AND r.taken_at = c.taken_at
           AND r.tester = c.tester AND r.bound = c.bound AND r.ohms = c.ohms
           AND r.duration = c.duration AND r.nth = c.nth
         CROSS JOIN batch b ON b.no = r.batch
         WHERE c.target = ?1 AND c.home <> ?1 AND cb.received_at <= ?3 AND {IN_TIME}"
    )
}

/// Every reading by time, then series. The database orders by time, on disk when it must; readings
/// of one instant are ordered here.
pub(super) fn each(
    db: &Connection,
    lexicon: &Lexicon,
    when: When,
    each: &mut dyn FnMut(&Stored) -> Result<()>,
) -> Result<()> {
    let sql = format!(
        "SELECT {COLUMNS} FROM reading r CROSS JOIN batch b ON b.no = r.batch
         WHERE r.taken_at <= ?1 AND b.received_at <= ?2 ORDER BY r.taken_at"
    );
    let params = params![when.as_of.micros(), when.known_at.micros()];
    let mut by_reference = |stored: Stored| each(&stored);
    let mut all = InOrder::new(&mut by_reference);
    Select { db, lexicon }.each(&sql, params, &mut |found| all.add(found))?;
    all.hand_out()
}

/// Reads every reading back and tells of each that does not.
pub(super) fn each_tolerant(
    db: &Connection,
    lexicon: &Lexicon,
    tell: &mut dyn FnMut(StoreError),
) -> Result<()> {
    let sql = format!("SELECT {COLUMNS} FROM reading r CROSS JOIN batch b ON b.no = r.batch");
    let mut query = db.prepare(&sql)?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        if let Err(e) = lexicon.stored(db, row) {
            tell(e);
        }
    }
    Ok(())
}

/// Takes out readings and their original lines; returns how many were there.
pub(super) fn thin(db: &Connection, ids: &[ReadingId]) -> Result<u64> {
    let mut gone = 0;
    for id in ids {
        let (batch, record) = (id.batch as i64, id.record as i64);
        // The spans of its batch narrow the search.
        gone += db
            .prepare_cached(
                "DELETE FROM reading WHERE (series, taken_at, tester, bound, ohms, duration, nth) IN (
                   SELECT r.series, r.taken_at, r.tester, r.bound, r.ohms, r.duration, r.nth
                   FROM batch b CROSS JOIN series s ON s.no BETWEEN b.series_low AND b.series_high
                   CROSS JOIN reading r ON r.series = s.no
                     AND r.taken_at BETWEEN b.taken_low AND b.taken_high
                   WHERE b.no = ?1 AND r.batch = ?1 AND r.record = ?2
                     AND ((r.flags >> 6) & 65535) = ?3)",
            )?
            .execute(params![batch, record, id.part])?;
        db.prepare_cached(
            "DELETE FROM line WHERE batch = ?1 AND record = ?2 AND NOT EXISTS (
               SELECT 1 FROM batch b CROSS JOIN series s ON s.no BETWEEN b.series_low AND b.series_high
               CROSS JOIN reading r ON r.series = s.no
                 AND r.taken_at BETWEEN b.taken_low AND b.taken_high
               WHERE b.no = ?1 AND r.batch = ?1 AND r.record = ?2)",
        )?
        .execute(params![batch, record])?;
    }
    Ok(gone as u64)
}

/// Readings by their ids; those not there are left out. One pass over what their batches span.
pub(super) fn by_ids(db: &Connection, lexicon: &Lexicon, ids: &[ReadingId]) -> Result<Vec<Found>> {
    let mut batches: FxHashMap<u64, Vec<ReadingId>> = FxHashMap::default();
    for &id in ids {
        batches.entry(id.batch).or_default().push(id);
    }
    let select = Select { db, lexicon };
    let mut all = Vec::new();
    for (batch, mut wanted) in batches {
        let batch = batch as i64;
        let span: Option<[Option<i64>; 4]> = db
            .prepare_cached(
                "SELECT series_low, series_high, taken_low, taken_high FROM batch WHERE no = ?1",
            )?
            .query_row([batch], |r| Ok([r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?]))
            .optional()?;
        let Some([Some(series_low), Some(series_high), Some(taken_low), Some(taken_high)]) = span
        else {
            continue;
        };
        wanted.sort_unstable();
        wanted.dedup();
        let records: Vec<_> = wanted.iter().map(|id| id.record as i64).collect();
        let low = records.iter().min().copied().unwrap_or(0);
        let high = records.iter().max().copied().unwrap_or(0);
        select.each(
            &format!(
                "SELECT {COLUMNS} FROM series s CROSS JOIN reading r ON r.series = s.no
                 CROSS JOIN batch b ON b.no = r.batch
                 WHERE s.no BETWEEN ?1 AND ?2 AND r.taken_at BETWEEN ?3 AND ?4
                   AND r.batch = ?5 AND r.record BETWEEN ?6 AND ?7"
            ),
            params![series_low, series_high, taken_low, taken_high, batch, low, high],
            &mut |found| {
                if wanted.binary_search(&found.stored.id).is_ok() {
                    all.push(found);
                }
                Ok(())
            },
        )?;
    }
    Ok(all)
}

/// What waits in the tray, by time.
pub(super) fn tray(db: &Connection, lexicon: &Lexicon, when: When) -> Result<Vec<StoredTray>> {
    let known_at = "IN (SELECT no FROM batch WHERE received_at <= ?2)";
    let sql = format!(
        "SELECT {COLUMNS} FROM series s CROSS JOIN reading r ON r.series = s.no
         CROSS JOIN batch b ON b.no = r.batch
         WHERE s.asset = 0 AND r.taken_at <= ?1 AND b.received_at <= ?2
           AND NOT EXISTS (SELECT 1 FROM correction c WHERE c.of_batch = r.batch
             AND c.of_place = r.record << 16 | (r.flags >> 6 & 65535)
             AND c.kind = 'move' AND c.batch {known_at})
           AND ifnull((SELECT c.kind FROM correction c WHERE c.of_batch = r.batch
             AND c.of_place = r.record << 16 | (r.flags >> 6 & 65535)
             AND c.kind IN ('void', 'restore') AND c.batch {known_at}
             ORDER BY c.no DESC LIMIT 1), 'restore') = 'restore'"
    );
    let params = params![when.as_of.micros(), when.known_at.micros()];
    let mut all = Select { db, lexicon }.all(&sql, params)?;
    order(&mut all);
    all.sort_by(|a, b| {
        let key = |found: &Found| (found.stored.reading.taken_at, found.written.clone());
        key(a).cmp(&key(b))
    });
    let items = all.into_iter().map(|found| {
        let Stored { id, reading, recorded_at, .. } = found.stored;
        let (written_asset, written_phase) = found.written.unwrap_or_default();
        let reason = lexicon.note(db, found.note)?.reason.clone();
        let item = TrayItem { reading, written_asset, written_phase, reason };
        Ok(StoredTray { id, item, recorded_at })
    });
    items.collect()
}

/// When a tester was used on which asset, moved readings included, by time.
pub(super) fn uses(
    db: &Connection,
    lexicon: &Lexicon,
    tester: &str,
    from: Stamp,
    to: Stamp,
) -> Result<Vec<(AssetId, Stamp)>> {
    let mut assets = db.prepare_cached(
        "SELECT a.id FROM tester t JOIN tester_use u ON u.tester = t.no
         JOIN asset a ON a.no = u.asset
         WHERE t.id = ?1 AND u.first_at <= ?2 AND u.until_at >= ?3",
    )?;
    let mut rows = assets.query(params![tester, to.micros(), from.micros()])?;
    let mut uses = Vec::new();
    let until = When { as_of: to, ..When::ALWAYS };
    while let Some(row) = rows.next()? {
        let asset = Cells { row, table: "tester_use" }.asset(0)?;
        since(db, lexicon, &asset, from, until, &mut |stored| {
            let reading = &stored.reading;
            if reading.tester == tester {
                uses.push((asset.clone(), reading.taken_at));
            }
            Ok(())
        })?;
    }
    uses.sort_unstable_by(|a, b| (a.1, &a.0).cmp(&(b.1, &b.0)));
    uses.dedup();
    Ok(uses)
}
