//! The register of events.

use std::collections::BTreeMap;

use rusqlite::{Connection, ToSql, params};

use super::Recording;
use crate::model::{AssetId, Event, EventKind};
use crate::store::sqlite::cells::collect;
use crate::store::{Recorded, Result, When};

/// Records an event, or takes it back.
pub(super) fn add(to: &mut Recording<'_>, event: &Event, void: bool) -> Result<bool> {
    let (id, at) = (event.asset.as_str(), event.at.micros());
    let standing = select(to.db, "a.id = ?1 AND e.at = ?2", params![id, at])?
        .into_iter()
        .map(|r| r.value)
        .find(|e| e.kind == event.kind);
    let nothing_new = match void {
        true => standing.is_none(),
        false => standing.as_ref() == Some(event),
    };
    if nothing_new {
        return Ok(false);
    }
    let asset = to.names.asset(to.db, &event.asset)?;
    to.db
        .prepare_cached(
            "INSERT INTO event (batch, asset, at, kind, remark, void)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            to.batch,
            asset,
            event.at.micros(),
            event.kind.word(),
            event.remark.as_str(),
            void
        ])?;
    to.marking.asset(asset, event.at.micros())?;
    Ok(true)
}

/// The events that stand, by time, then asset and kind.
pub(in crate::store::sqlite) fn all(
    db: &Connection,
    asset: Option<&AssetId>,
    when: When,
) -> Result<Vec<Recorded<Event>>> {
    let (as_of, known_at) = (when.as_of.micros(), when.known_at.micros());
    let within = "e.at <= ?1 AND b.received_at <= ?2";
    match asset {
        None => select(db, within, params![as_of, known_at]),
        Some(id) => {
            let of = format!("{within} AND a.id = ?3");
            select(db, &of, params![as_of, known_at, id.as_str()])
        }
    }
}

fn select(db: &Connection, which: &str, params: &[&dyn ToSql]) -> Result<Vec<Recorded<Event>>> {
    let rows = rows(db, which, params)?;
    let mut standing = BTreeMap::new();
    for (void, row) in rows {
        let key = (row.value.at, row.value.asset.clone(), row.value.kind.word().to_owned());
        match void {
            true => standing.remove(&key),
            false => standing.insert(key, row),
        };
    }
    Ok(standing.into_values().collect())
}

/// Every row, as recorded, with whether it takes one back.
pub(in crate::store::sqlite) fn rows(
    db: &Connection,
    which: &str,
    params: &[&dyn ToSql],
) -> Result<Vec<(bool, Recorded<Event>)>> {
    let sql = format!(
        "SELECT e.no, e.at, a.id, e.kind, e.remark, e.void, b.received_at, s.name
         FROM event e JOIN asset a ON a.no = e.asset JOIN batch b ON b.no = e.batch
           JOIN source s ON s.no = b.source
         WHERE {which} ORDER BY e.no"
    );
    collect(db, "event", &sql, params, |cells| {
        let value = Event {
            at: cells.stamp(1)?,
            asset: cells.asset(2)?,
            kind: cells.word(3, EventKind::parse)?,
            remark: cells.text(4)?,
        };
        Ok((cells.get::<bool>(5)?, Recorded { value, mark: cells.mark(6)? }))
    })
}
