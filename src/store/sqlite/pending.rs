//! What has to be assessed again, and the uses of testers by which a proof finds what it touches.

use rusqlite::{Connection, params};

use super::batches::Span;
use super::error::damaged;
use crate::model::{AssetId, Stamp};
use crate::store::{Pending, PendingMark, Result, same};

/// Marks what one transaction touches, all under one mark.
#[derive(Debug)]
pub(super) struct Marking<'a> {
    db: &'a Connection,
    mark: Option<i64>,
}

impl<'a> Marking<'a> {
    pub(super) fn new(db: &'a Connection) -> Self {
        Marking { db, mark: None }
    }

    /// Marks an asset, to be assessed from a measuring time on.
    pub(super) fn asset(&mut self, asset: i64, from: i64) -> Result<()> {
        let mark = self.mark()?;
        self.db
            .prepare_cached(
                "INSERT INTO pending (asset, from_at, mark) VALUES (?1, ?2, ?3)
                 ON CONFLICT DO UPDATE SET from_at = min(from_at, excluded.from_at),
                                           mark = excluded.mark",
            )?
            .execute(params![asset, from, mark])?;
        Ok(())
    }

    /// Marks every asset that a tester was used on at `from` or later.
    pub(super) fn users(&mut self, tester: &str, from: i64) -> Result<()> {
        let mark = self.mark()?;
        self.db
            .prepare_cached(
                "INSERT INTO pending (asset, from_at, mark)
                 SELECT u.asset, ?2, ?3 FROM tester t JOIN tester_use u ON u.tester = t.no
                 WHERE t.id = ?1 AND u.until_at >= ?2
                 ON CONFLICT DO UPDATE SET from_at = min(from_at, excluded.from_at),
                                           mark = excluded.mark",
            )?
            .execute(params![tester, from, mark])?;
        Ok(())
    }

    fn mark(&mut self) -> Result<i64> {
        if let Some(mark) = self.mark {
            return Ok(mark);
        }
        let mark = self
            .db
            .prepare_cached("UPDATE pending SET mark = mark + 1 WHERE asset = 0 RETURNING mark")?
            .query_row([], |row| row.get(0))?;
        self.mark = Some(mark);
        Ok(mark)
    }
}

/// Notes that a tester was used on an asset.
pub(super) fn used(db: &Connection, tester: i64, asset: i64, span: Span) -> Result<()> {
    let until = same::use_until(Stamp::from_micros(span.high)).micros();
    db.prepare_cached(
        "INSERT INTO tester_use (tester, asset, first_at, until_at) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT DO UPDATE SET first_at = min(first_at, excluded.first_at),
                                   until_at = max(until_at, excluded.until_at)
         WHERE excluded.first_at < first_at OR excluded.until_at > until_at",
    )?
    .execute(params![tester, asset, span.low, until])?;
    Ok(())
}

/// Takes away the mark of an asset, unless a newer one was given since `seen`.
pub(super) fn clear(db: &Connection, asset: i64, seen: PendingMark) -> Result<()> {
    db.prepare_cached("DELETE FROM pending WHERE asset = ?1 AND mark <= ?2 AND asset <> 0")?
        .execute(params![asset, seen.0 as i64])?;
    Ok(())
}

/// All marks, by asset.
pub(super) fn all(db: &Connection) -> Result<Vec<Pending>> {
    let mut query = db.prepare_cached(
        "SELECT a.id, p.from_at, p.mark FROM pending p JOIN asset a ON a.no = p.asset
         WHERE p.asset <> 0 ORDER BY a.id",
    )?;
    let mut rows = query.query([])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let id = row.get_ref(0)?.as_str().map_err(|e| damaged("asset", "of pending", e))?;
        all.push(Pending {
            asset: AssetId::new(id).map_err(|e| damaged("asset", id, e))?,
            from: Stamp::from_micros(row.get(1)?),
            mark: PendingMark(row.get::<_, i64>(2)? as u64),
        });
    }
    Ok(all)
}
