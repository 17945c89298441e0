//! Names and their numbers: assets, series, testers, notes, sources, kept files.
//!
//! Such a row is never changed nor taken away once committed, so a number that was seen stays
//! right, whoever else writes. Only a rolled back transaction can make one wrong: then
//! [`Names::forget`] everything.

use std::hash::Hash;

use rusqlite::{Connection, OptionalExtension, ToSql, params};
use rustc_hash::{FxHashMap, FxHashSet};

use super::row::{Home, Note};
use crate::model::{AssetId, Text};
use crate::store::{KeptFile, Result, Source};

/// Entries a cache holds before it starts anew: some 30,000 series are a large fleet, and a file
/// with a different remark in every row must not fill the memory.
const CACHED: usize = 1 << 16;

/// The number of an asset that stands for "not known": the tray.
pub(super) const NOBODY: i64 = 0;

/// A series with the asset it belongs to.
#[derive(Clone, Copy, Debug)]
pub(super) struct SeriesNo {
    pub(super) series: i64,
    pub(super) asset: i64,
}

/// The numbers seen so far.
#[derive(Debug, Default)]
pub(super) struct Names {
    homes: FxHashMap<Home, SeriesNo>,
    testers: FxHashMap<Text, i64>,
    notes: FxHashMap<Note, i64>,
    assets: FxHashMap<AssetId, i64>,
    /// Assets that are known to have a register row.
    registered: FxHashSet<i64>,
}

impl Names {
    /// Drops everything: after a rollback.
    pub(super) fn forget(&mut self) {
        *self = Names::default();
    }

    /// The number of an asset's name.
    pub(super) fn asset(&mut self, db: &Connection, id: &AssetId) -> Result<i64> {
        cached(&mut self.assets, id, || {
            number(
                db,
                "SELECT no FROM asset WHERE id = ?1",
                "INSERT INTO asset (id) VALUES (?1)",
                params![id.as_str()],
            )
        })
    }

    /// Whether an asset has a row in the register, and not a name only.
    pub(super) fn is_registered(&mut self, db: &Connection, no: i64) -> Result<bool> {
        if self.registered.contains(&no) {
            return Ok(true);
        }
        let find = "SELECT 1 FROM asset_version WHERE asset = ?1";
        let registered = db.prepare_cached(find)?.exists([no])?;
        if registered {
            self.registered.insert(no);
        }
        Ok(registered)
    }

    /// The number of a series.
    pub(super) fn home(&mut self, db: &Connection, home: &Home) -> Result<SeriesNo> {
        if let Some(&known) = self.homes.get(home) {
            return Ok(known);
        }
        let series = &home.series;
        let (asset, written, phase) = match &home.written {
            Some((asset, phase)) => (NOBODY, asset.as_str(), phase.as_str()),
            None => (self.asset(db, &series.asset)?, "", series.phase.as_str()),
        };
        let volts = series.test_voltage.map_or(-1.0, |v| v.get());
        let no = number(
            db,
            "SELECT no FROM series WHERE asset = ?1 AND written = ?2 AND phase = ?3
               AND against = ?4 AND setup = ?5 AND volts = ?6",
            "INSERT INTO series (asset, written, phase, against, setup, volts)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![asset, written, phase, series.against.as_str(), series.setup.as_str(), volts],
        )?;
        let known = SeriesNo { series: no, asset };
        keep(&mut self.homes, home, known);
        Ok(known)
    }

    /// The number of a tester's id; 0 when it was not stated.
    pub(super) fn tester(&mut self, db: &Connection, id: &Text) -> Result<i64> {
        cached(&mut self.testers, id, || {
            number(
                db,
                "SELECT no FROM tester WHERE id = ?1",
                "INSERT INTO tester (id) VALUES (?1)",
                params![id.as_str()],
            )
        })
    }

    /// The number of a note; 0 when nothing was stated.
    pub(super) fn note(&mut self, db: &Connection, note: &Note) -> Result<i64> {
        cached(&mut self.notes, note, || {
            let Note { operator, station, remark, reason } = note;
            number(
                db,
                "SELECT no FROM note
                 WHERE operator = ?1 AND station = ?2 AND remark = ?3 AND reason = ?4",
                "INSERT INTO note (operator, station, remark, reason) VALUES (?1, ?2, ?3, ?4)",
                params![operator.as_str(), station.as_str(), remark.as_str(), reason.as_str()],
            )
        })
    }
}

/// The number of a source.
pub(super) fn source(db: &Connection, source: &Source) -> Result<i64> {
    let Source { kind, name, profile, .. } = source;
    number(
        db,
        "SELECT no FROM source WHERE kind = ?1 AND name = ?2 AND profile = ?3",
        "INSERT INTO source (kind, name, profile) VALUES (?1, ?2, ?3)",
        params![kind.as_str(), name.as_str(), profile.as_str()],
    )
}

/// The number of a kept file.
pub(super) fn kept(db: &Connection, file: &KeptFile) -> Result<i64> {
    let find = "SELECT no FROM kept WHERE digest = ?1";
    if let Some(no) = look_up(db, find, params![file.digest.as_str()])? {
        return Ok(no);
    }
    db.prepare_cached("INSERT INTO kept (digest, bytes) VALUES (?1, ?2)")?
        .execute(params![file.digest.as_str(), file.bytes as i64])?;
    Ok(db.last_insert_rowid())
}

/// The number of an asset's name; none when nobody named it yet.
pub(super) fn known_asset(db: &Connection, id: &AssetId) -> Result<Option<i64>> {
    look_up(db, "SELECT no FROM asset WHERE id = ?1", params![id.as_str()])
}

fn look_up(db: &Connection, find: &str, key: &[&dyn ToSql]) -> Result<Option<i64>> {
    Ok(db.prepare_cached(find)?.query_row(key, |row| row.get(0)).optional()?)
}

fn number(db: &Connection, find: &str, add: &str, key: &[&dyn ToSql]) -> Result<i64> {
    if let Some(no) = look_up(db, find, key)? {
        return Ok(no);
    }
    db.prepare_cached(add)?.execute(key)?;
    Ok(db.last_insert_rowid())
}

fn keep<K: Clone + Eq + Hash, V>(cache: &mut FxHashMap<K, V>, key: &K, value: V) {
    if cache.len() >= CACHED {
        cache.clear();
    }
    cache.insert(key.clone(), value);
}

fn cached<K: Clone + Eq + Hash>(
    cache: &mut FxHashMap<K, i64>,
    key: &K,
    find: impl FnOnce() -> Result<i64>,
) -> Result<i64> {
    if let Some(&no) = cache.get(key) {
        return Ok(no);
    }
    let no = find()?;
    keep(cache, key, no);
    Ok(no)
}
