//! The register of classes.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};

use super::{Recording, assets};
use crate::model::{AssetClass, Insulation, Isolation, Joining, Text};
use crate::store::sqlite::cells::collect;
use crate::store::{Recorded, Result, StoreError, When};

/// Records a class as it is from now on.
pub(super) fn add(to: &mut Recording<'_>, class: &AssetClass) -> Result<bool> {
    if class.name.is_empty() {
        return Err(StoreError::Other("a class without a name cannot be registered".into()));
    }
    let known = all(to.db, When::ALWAYS)?;
    if known.iter().any(|row| row.value == *class) {
        return Ok(false);
    }
    to.db
        .prepare_cached(
            "INSERT INTO class (batch, name, kind, limit_ohm, as_read_ohm, ohm_per_volt,
               working_voltage, insulation, joining, interval_days, discharge_s, remark)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        )?
        .execute(params![
            to.batch,
            class.name.as_str(),
            class.kind.as_str(),
            class.limit_ohm,
            class.as_read_ohm,
            class.isolation.map(|i| i.ohm_per_volt),
            class.isolation.map(|i| i.working_voltage_v),
            class.insulation.word(),
            class.joining.word(),
            class.interval_days,
            class.discharge_s,
            class.remark.as_str()
        ])?;
    for asset in assets::registered(to.db, When::ALWAYS)? {
        if asset.class == class.name {
            let no = to.names.asset(to.db, &asset.id)?;
            to.marking.asset(no, i64::MIN)?;
        }
    }
    Ok(true)
}

/// All classes as they were known, by name.
pub(in crate::store::sqlite) fn all(
    db: &Connection,
    when: When,
) -> Result<Vec<Recorded<AssetClass>>> {
    let rows = versions(db, when)?;
    let last: BTreeMap<Text, _> = rows.into_iter().map(|r| (r.value.name.clone(), r)).collect();
    Ok(last.into_values().collect())
}

/// Every version of every class as it was known, oldest first.
pub(in crate::store::sqlite) fn versions(
    db: &Connection,
    when: When,
) -> Result<Vec<Recorded<AssetClass>>> {
    let sql = "SELECT c.no, c.name, c.kind, c.limit_ohm, c.as_read_ohm, c.ohm_per_volt,
           c.working_voltage, c.insulation, c.joining, c.interval_days, c.discharge_s, c.remark,
           b.received_at, s.name
         FROM class c JOIN batch b ON b.no = c.batch JOIN source s ON s.no = b.source
         WHERE b.received_at <= ?1 ORDER BY c.no";
    collect(db, "class", sql, params![when.known_at.micros()], |cells| {
        let isolation = match (cells.get(5)?, cells.get(6)?) {
            (Some(ohm_per_volt), Some(working_voltage_v)) => {
                Some(Isolation { ohm_per_volt, working_voltage_v })
            }
            _ => None,
        };
        let value = AssetClass {
            name: cells.text(1)?,
            kind: cells.text(2)?,
            limit_ohm: cells.get(3)?,
            as_read_ohm: cells.get(4)?,
            isolation,
            insulation: cells.word(7, Insulation::parse)?,
            joining: cells.word(8, Joining::parse)?,
            interval_days: cells.get(9)?,
            discharge_s: cells.get(10)?,
            remark: cells.text(11)?,
        };
        Ok(Recorded { value, mark: cells.mark(12)? })
    })
}
