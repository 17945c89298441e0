//! The register of aliases.

use std::collections::BTreeMap;

use rusqlite::{Connection, ToSql, params};

use super::Recording;
use crate::model::{Alias, AssetId};
use crate::store::sqlite::cells::collect;
use crate::store::sqlite::names;
use crate::store::{Recorded, Result, When, same};

/// Records an alias, or takes it back.
pub(super) fn add(to: &mut Recording<'_>, alias: &Alias, void: bool) -> Result<bool> {
    let key = same::alias_key(alias);
    let same_texts = "l.written = ?1 AND l.phase_written = ?2";
    let texts = params![alias.written.as_str(), alias.phase_written.as_str()];
    let standing = select(to.db, same_texts, texts)?
        .into_iter()
        .map(|row| row.value)
        .find(|standing| same::alias_key(standing) == key);
    let nothing_new = match void {
        true => standing.is_none(),
        false => standing.as_ref() == Some(alias),
    };
    if nothing_new {
        return Ok(false);
    }
    let asset = to.names.asset(to.db, &alias.asset)?;
    to.db
        .prepare_cached(
            "INSERT INTO alias (batch, written, asset, phase_written, phase, from_at, until_at,
               remark, void) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            to.batch,
            alias.written.as_str(),
            asset,
            alias.phase_written.as_str(),
            alias.phase.as_ref().map(|p| p.as_str()),
            alias.from.map(|s| s.micros()),
            alias.until.map(|s| s.micros()),
            alias.remark.as_str(),
            void
        ])?;
    if alias.merged {
        to.db
            .prepare_cached("INSERT INTO merger (alias) VALUES (?1)")?
            .execute([to.db.last_insert_rowid()])?;
    }
    let from = alias.from.map_or(i64::MIN, |s| s.micros());
    to.marking.asset(asset, from)?;
    if let Some(replaced) = standing
        && replaced.asset != alias.asset
    {
        let no = to.names.asset(to.db, &replaced.asset)?;
        to.marking.asset(no, from)?;
    }
    if let Ok(written) = AssetId::new(&alias.written)
        && let Some(no) = names::known_asset(to.db, &written)?
        && to.names.is_registered(to.db, no)?
    {
        to.marking.asset(no, from)?;
    }
    Ok(true)
}

/// The aliases that stand, by what was written.
pub(in crate::store::sqlite) fn all(db: &Connection, when: When) -> Result<Vec<Recorded<Alias>>> {
    select(db, "b.received_at <= ?1", params![when.known_at.micros()])
}

fn select(db: &Connection, which: &str, params: &[&dyn ToSql]) -> Result<Vec<Recorded<Alias>>> {
    let rows = rows(db, which, params)?;
    let mut standing = BTreeMap::new();
    for (void, row) in rows {
        let key = same::alias_key(&row.value);
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
) -> Result<Vec<(bool, Recorded<Alias>)>> {
    let sql = format!(
        "SELECT l.no, l.written, a.id, l.phase_written, l.phase, l.from_at, l.until_at, l.remark,
           l.void, b.received_at, s.name, m.alias IS NOT NULL
         FROM alias l JOIN asset a ON a.no = l.asset JOIN batch b ON b.no = l.batch
           JOIN source s ON s.no = b.source LEFT JOIN merger m ON m.alias = l.no
         WHERE {which} ORDER BY l.no"
    );
    collect(db, "alias", &sql, params, |cells| {
        let value = Alias {
            written: cells.text(1)?,
            asset: cells.asset(2)?,
            phase_written: cells.text(3)?,
            phase: cells.maybe_phase(4)?,
            from: cells.maybe_stamp(5)?,
            until: cells.maybe_stamp(6)?,
            remark: cells.text(7)?,
            merged: cells.get(11)?,
        };
        Ok((cells.get::<bool>(8)?, Recorded { value, mark: cells.mark(9)? }))
    })
}
