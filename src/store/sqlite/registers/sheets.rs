//! Run sheets: steps are added one after the other and never changed.

use rusqlite::{Connection, params};

use super::Recording;
use crate::store::sqlite::cells::collect;
use crate::store::{Recorded, Result, SheetKey, SheetStep, StoreError};

/// Adds a step, if it follows the last one of its sheet.
pub(super) fn add(to: &mut Recording<'_>, step: &SheetStep) -> Result<bool> {
    let SheetKey { station, opened } = &step.sheet;
    let last: u32 = to
        .db
        .prepare_cached(
            "SELECT ifnull(max(number), 0) FROM sheet_step WHERE station = ?1 AND opened = ?2",
        )?
        .query_row(params![station.as_str(), opened.micros()], |row| row.get(0))?;
    if step.number != last + 1 {
        return Err(StoreError::Stale { station: station.to_string(), last });
    }
    to.db
        .prepare_cached(
            "INSERT INTO sheet_step (batch, station, opened, number, at, act, details)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            to.batch,
            station.as_str(),
            opened.micros(),
            step.number,
            step.at.micros(),
            step.act.as_str(),
            step.details
        ])?;
    Ok(true)
}

/// The latest sheets of a station, or of all.
pub(in crate::store::sqlite) fn latest(
    db: &Connection,
    station: Option<&str>,
    most: usize,
) -> Result<Vec<SheetKey>> {
    let most = i64::try_from(most).unwrap_or(i64::MAX);
    let sql = "SELECT no, station, opened FROM sheet_step
               WHERE number = 1 AND (?1 IS NULL OR station = ?1)
               ORDER BY opened DESC, station LIMIT ?2";
    collect(db, "sheet_step", sql, params![station, most], |cells| {
        Ok(SheetKey { station: cells.text(1)?, opened: cells.stamp(2)? })
    })
}

/// The steps of a sheet in order.
pub(in crate::store::sqlite) fn steps(
    db: &Connection,
    sheet: &SheetKey,
) -> Result<Vec<Recorded<SheetStep>>> {
    let sql = "SELECT p.no, p.number, p.at, p.act, p.details, b.received_at, s.name
               FROM sheet_step p JOIN batch b ON b.no = p.batch JOIN source s ON s.no = b.source
               WHERE p.station = ?1 AND p.opened = ?2 ORDER BY p.number";
    let key = params![sheet.station.as_str(), sheet.opened.micros()];
    collect(db, "sheet_step", sql, key, |cells| {
        let value = SheetStep {
            sheet: sheet.clone(),
            number: cells.get(1)?,
            at: cells.stamp(2)?,
            act: cells.text(3)?,
            details: cells.get(4)?,
        };
        Ok(Recorded { value, mark: cells.mark(5)? })
    })
}

/// Every step of every sheet, as recorded.
pub(in crate::store::sqlite) fn all(db: &Connection) -> Result<Vec<Recorded<SheetStep>>> {
    let sql = "SELECT p.no, p.station, p.opened, p.number, p.at, p.act, p.details, b.received_at,
                 s.name FROM sheet_step p JOIN batch b ON b.no = p.batch JOIN source s ON s.no = b.source
               ORDER BY p.no";
    collect(db, "sheet_step", sql, &[], |cells| {
        let value = SheetStep {
            sheet: SheetKey { station: cells.text(1)?, opened: cells.stamp(2)? },
            number: cells.get(3)?,
            at: cells.stamp(4)?,
            act: cells.text(5)?,
            details: cells.get(6)?,
        };
        Ok(Recorded { value, mark: cells.mark(7)? })
    })
}
