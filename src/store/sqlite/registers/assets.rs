//! The register of assets.

use rusqlite::{Connection, params};

use super::{Recording, classes};
use crate::model::{
    Asset, AssetClass, AssetId, Insulation, Joining, Limit, LimitMeaning, Training, as_meant,
};
use crate::store::sqlite::batches;
use crate::store::sqlite::cells::{Cells, collect};
use crate::store::sqlite::names::Names;
use crate::store::{Recorded, Result, When};

const COLUMNS: &str = "SELECT v.no, a.id, v.kind, v.rated_voltage, v.limit_ohm, v.insulation,
    v.joining, v.site, v.remark, m.class, m.interval_days, m.discharge_s, m.training,
    b.received_at, s.name, s.kind
    FROM asset_version v JOIN asset a ON a.no = v.asset JOIN batch b ON b.no = v.batch
      JOIN source s ON s.no = b.source LEFT JOIN asset_more m ON m.version = v.no";

/// Registers an asset that was met for the first time; false when it is registered already.
pub(in crate::store::sqlite) fn first_met(
    db: &Connection,
    names: &mut Names,
    batch: i64,
    no: i64,
    asset: &Asset,
) -> Result<bool> {
    if names.is_registered(db, no)? {
        return Ok(false);
    }
    insert(db, batch, no, asset)?;
    Ok(true)
}

/// Records an asset as it is from now on.
pub(super) fn add(to: &mut Recording<'_>, asset: &Asset) -> Result<bool> {
    if registered_as(to.db, &asset.id, When::ALWAYS)?.as_ref() == Some(asset) {
        return Ok(false);
    }
    let no = to.names.asset(to.db, &asset.id)?;
    insert(to.db, to.batch, no, asset)?;
    to.marking.asset(no, i64::MIN)?;
    Ok(true)
}

fn insert(db: &Connection, batch: i64, no: i64, asset: &Asset) -> Result<()> {
    db.prepare_cached(
        "INSERT INTO asset_version (batch, asset, kind, rated_voltage, limit_ohm, insulation,
           joining, site, remark) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )?
    .execute(params![
        batch,
        no,
        asset.kind.as_str(),
        asset.rated_voltage_v,
        asset.limit_ohm,
        asset.insulation.word(),
        asset.joining.word(),
        asset.site.as_str(),
        asset.remark.as_str()
    ])?;
    let version = db.last_insert_rowid();
    let Asset { class, interval_days, discharge_s, training, .. } = asset;
    let says_more = !class.is_empty() || interval_days.is_some() || discharge_s.is_some();
    if says_more || training.is_some() {
        db.prepare_cached(
            "INSERT INTO asset_more (version, class, interval_days, discharge_s, training)
             VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![
            version,
            class.as_str(),
            interval_days,
            discharge_s,
            training.as_ref().map(Training::to_string)
        ])?;
    }
    for (nth, limit) in asset.more_limits.iter().enumerate() {
        let (per_volt, working) = match limit.meaning {
            LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
                (Some(ohm_per_volt), Some(working_voltage_v))
            }
            LimitMeaning::At40 | LimitMeaning::AsRead => (None, None),
        };
        db.prepare_cached(
            "INSERT INTO asset_limit (version, nth, ohms, meaning, ohm_per_volt, working_voltage)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            version,
            nth as i64,
            limit.ohms,
            limit.meaning.word(),
            per_volt,
            working
        ])?;
    }
    Ok(())
}

/// All assets as they were meant, by id.
pub(in crate::store::sqlite) fn all(db: &Connection, when: When) -> Result<Vec<Asset>> {
    let classes = classes::all(db, when)?;
    let assets = registered(db, when)?;
    Ok(assets.into_iter().map(|asset| meant(asset, &classes)).collect())
}

/// One asset as it was meant.
pub(in crate::store::sqlite) fn one(
    db: &Connection,
    id: &AssetId,
    when: When,
) -> Result<Option<Asset>> {
    match registered_as(db, id, when)? {
        Some(asset) if !asset.class.is_empty() => Ok(Some(meant(asset, &classes::all(db, when)?))),
        other => Ok(other),
    }
}

fn meant(asset: Asset, classes: &[Recorded<AssetClass>]) -> Asset {
    as_meant(asset, |name| classes.iter().map(|row| &row.value).find(|class| class.name == name))
}

/// All assets in their own words, by id.
pub(in crate::store::sqlite) fn registered(db: &Connection, when: When) -> Result<Vec<Asset>> {
    let sql = format!("{COLUMNS} WHERE b.received_at <= ?1 ORDER BY a.id, v.no");
    let mut versions = collect(db, "asset_version", &sql, params![when.known_at.micros()], read)?;
    versions.reverse();
    versions.dedup_by(|older, newer| older.1.id == newer.1.id);
    versions.reverse();
    versions.into_iter().map(|v| with_limits(db, v)).collect()
}

/// Every version of every asset in its own words, as recorded, with whether a person recorded it.
pub(in crate::store::sqlite) fn versions(db: &Connection) -> Result<Vec<(bool, Recorded<Asset>)>> {
    let sql = format!("{COLUMNS} ORDER BY v.no");
    let versions = collect(db, "asset_version", &sql, &[], |cells| {
        let by_person = cells.text(15)? == batches::HAND;
        Ok((by_person, cells.mark(13)?, read(cells)?))
    })?;
    let whole = versions.into_iter().map(|(by_person, mark, version)| {
        Ok((by_person, Recorded { value: with_limits(db, version)?, mark }))
    });
    whole.collect()
}

/// One asset in its own words.
pub(in crate::store::sqlite) fn registered_as(
    db: &Connection,
    id: &AssetId,
    when: When,
) -> Result<Option<Asset>> {
    let sql =
        format!("{COLUMNS} WHERE a.id = ?1 AND b.received_at <= ?2 ORDER BY v.no DESC LIMIT 1");
    let params = params![id.as_str(), when.known_at.micros()];
    let found = collect(db, "asset_version", &sql, params, read)?.pop();
    found.map(|v| with_limits(db, v)).transpose()
}

fn read(cells: Cells<'_, '_>) -> Result<(i64, Asset)> {
    let asset = Asset {
        id: cells.asset(1)?,
        kind: cells.text(2)?,
        rated_voltage_v: cells.get(3)?,
        limit_ohm: cells.get(4)?,
        insulation: cells.word(5, Insulation::parse)?,
        joining: cells.word(6, Joining::parse)?,
        site: cells.text(7)?,
        remark: cells.text(8)?,
        more_limits: Vec::new(),
        class: cells.get::<Option<String>>(9)?.unwrap_or_default().into(),
        interval_days: cells.get(10)?,
        discharge_s: cells.get(11)?,
        training: cells
            .get::<Option<String>>(12)?
            .map(|known| Training::parse(&known).map_err(|e| cells.damaged(e)))
            .transpose()?,
    };
    Ok((cells.get(0)?, asset))
}

fn with_limits(db: &Connection, (version, mut asset): (i64, Asset)) -> Result<Asset> {
    asset.more_limits = collect(
        db,
        "asset_limit",
        "SELECT version, ohms, meaning, ohm_per_volt, working_voltage FROM asset_limit
         WHERE version = ?1 ORDER BY nth",
        params![version],
        |cells| {
            let meaning = match cells.text(2)?.as_str() {
                "at 40 °C" => LimitMeaning::At40,
                "as read" => LimitMeaning::AsRead,
                "isolation" => LimitMeaning::Isolation {
                    ohm_per_volt: cells.get(3)?,
                    working_voltage_v: cells.get(4)?,
                },
                other => return Err(cells.damaged(format!("unknown meaning `{other}`"))),
            };
            Ok(Limit { ohms: cells.get(1)?, meaning })
        },
    )?;
    Ok(asset)
}
