//! Records that could not become readings.

use rusqlite::{Connection, OptionalExtension, params};

use super::error::damaged;
use super::names;
use crate::store::{RecordPlace, RejectItem, Result, Source, StoredReject};

/// A reject to be stored.
pub(super) type NewReject<'a> = &'a (RecordPlace, RejectItem);

/// A record and its part in one number.
pub(super) fn place_number(place: RecordPlace) -> i64 {
    (place.record << 16 | u64::from(place.part)) as i64
}

/// Back from [`place_number`].
pub(super) fn place_of(number: i64) -> RecordPlace {
    RecordPlace { record: number as u64 >> 16, part: number as u16 }
}

/// Those that aren't stored yet: the same record of the same file, or the same bytes under the
/// same number of the same stream, is one reject.
pub(super) fn new_ones<'a>(
    db: &Connection,
    source: &Source,
    mut all: Vec<NewReject<'a>>,
) -> Result<Vec<NewReject<'a>>> {
    // In order of place, so a line that was sent twice is found beside itself.
    all.dedup();
    if all.is_empty() {
        return Ok(all);
    }
    let stored: Box<dyn Fn(NewReject<'a>) -> Result<bool>> = match &source.file {
        Some(file) => {
            let find = "SELECT no FROM kept WHERE digest = ?1";
            let kept: Option<i64> = db
                .prepare_cached(find)?
                .query_row([file.digest.as_str()], |row| row.get(0))
                .optional()?;
            let Some(kept) = kept else {
                return Ok(all);
            };
            Box::new(move |(place, _)| {
                let find = "SELECT 1 FROM reject r JOIN batch b ON b.no = r.batch
                            WHERE r.place = ?1 AND b.kept = ?2";
                Ok(db.prepare_cached(find)?.exists(params![place_number(*place), kept])?)
            })
        }
        None => {
            let source = names::source(db, source)?;
            Box::new(move |(place, item)| {
                let find = "SELECT 1 FROM reject r JOIN batch b ON b.no = r.batch
                            WHERE r.place = ?1 AND b.source = ?2 AND b.kept IS NULL
                              AND r.kind = ?3 AND r.bytes = ?4 AND r.reason = ?5";
                let RejectItem { kind, bytes, reason, .. } = item;
                let same =
                    params![place_number(*place), source, kind.as_str(), bytes, reason.as_str()];
                Ok(db.prepare_cached(find)?.exists(same)?)
            })
        }
    };
    let mut failed = Ok(());
    all.retain(|&reject| match stored(reject) {
        Ok(known) => !known,
        Err(e) => {
            failed = Err(e);
            false
        }
    });
    failed.map(|()| all)
}

/// Stores rejects under a batch.
pub(super) fn add(db: &Connection, batch: i64, rejects: &[NewReject<'_>]) -> Result<()> {
    for (place, item) in rejects {
        db.prepare_cached(
            "INSERT INTO reject (batch, place, at_byte, len, bytes, kind, reason)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            batch,
            place_number(*place),
            item.offset as i64,
            item.len as i64,
            item.bytes,
            item.kind.as_str(),
            item.reason.as_str()
        ])?;
    }
    Ok(())
}

/// Marks rejects as settled; one that is settled stays as it is.
pub(super) fn settle(db: &Connection, numbers: &[u64], batch: u64) -> Result<()> {
    for &number in numbers {
        db.prepare_cached(
            "INSERT INTO reject_settled (reject, batch) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
        )?
        .execute(params![number as i64, batch as i64])?;
    }
    Ok(())
}

/// Rejects, newest last.
pub(super) fn all(db: &Connection, settled: bool) -> Result<Vec<StoredReject>> {
    let mut query = db.prepare_cached(
        "SELECT r.no, r.batch, r.place, r.at_byte, r.len, r.bytes, r.kind, r.reason, s.batch
         FROM reject r LEFT JOIN reject_settled s ON s.reject = r.no
         WHERE ?1 OR s.batch IS NULL ORDER BY r.no",
    )?;
    let mut rows = query.query([settled])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let number: i64 = row.get(0)?;
        let text = |i| {
            let text = row.get_ref(i)?.as_str();
            text.map(Into::into).map_err(|e| damaged("reject", number, e))
        };
        all.push(StoredReject {
            number: number as u64,
            batch: row.get::<_, i64>(1)? as u64,
            place: place_of(row.get(2)?),
            item: RejectItem {
                offset: row.get::<_, i64>(3)? as u64,
                len: row.get::<_, i64>(4)? as u64,
                bytes: row.get(5)?,
                kind: text(6)?,
                reason: text(7)?,
            },
            settled_by: row.get::<_, Option<i64>>(8)?.map(|b| b as u64),
        });
    }
    Ok(all)
}
