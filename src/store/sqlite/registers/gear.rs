//! The register of gear.

use std::collections::BTreeMap;

use rusqlite::{Connection, ToSql, params};

use super::Recording;
use crate::model::{Gear, GearKind, Range};
use crate::store::sqlite::cells::collect;
use crate::store::{Recorded, Result, When};

/// Records a piece of gear as it is from now on.
pub(super) fn add(to: &mut Recording<'_>, gear: &Gear) -> Result<bool> {
    let known = standing(select(to.db, "g.id = ?1", params![gear.id.as_str()])?);
    if known.iter().any(|row| row.value == *gear) {
        return Ok(false);
    }
    to.db
        .prepare_cached(
            "INSERT INTO gear (batch, id, kind, category, rated_voltage, full_scale, lowest, due,
               remark) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )?
        .execute(params![
            to.batch,
            gear.id.as_str(),
            gear.kind.word(),
            gear.category.as_str(),
            gear.rated_voltage_v,
            gear.full_scale_ohm,
            gear.lowest_ohm,
            gear.due.map(|due| due.micros()),
            gear.remark.as_str()
        ])?;
    let row = to.db.last_insert_rowid();
    if let Some(days) = gear.proof_days {
        to.db
            .prepare_cached("INSERT INTO gear_more (gear, proof_days) VALUES (?1, ?2)")?
            .execute(params![row, days])?;
    }
    for (nth, range) in gear.ranges.iter().enumerate() {
        to.db
            .prepare_cached(
                "INSERT INTO gear_range (gear, nth, volts, ohms) VALUES (?1, ?2, ?3, ?4)",
            )?
            .execute(params![row, nth as i64, range.test_voltage_v, range.full_scale_ohm])?;
    }
    to.marking.users(&gear.id, i64::MIN)?;
    Ok(true)
}

/// All gear as it was known, by id.
pub(in crate::store::sqlite) fn all(db: &Connection, when: When) -> Result<Vec<Recorded<Gear>>> {
    versions(db, when).map(standing)
}

/// Every version of every row as it was known, oldest first.
pub(in crate::store::sqlite) fn versions(
    db: &Connection,
    when: When,
) -> Result<Vec<Recorded<Gear>>> {
    select(db, "b.received_at <= ?1", params![when.known_at.micros()])
}

/// The last row of each id.
fn standing(rows: Vec<Recorded<Gear>>) -> Vec<Recorded<Gear>> {
    let last: BTreeMap<_, _> = rows.into_iter().map(|r| (r.value.id.clone(), r)).collect();
    last.into_values().collect()
}

fn select(db: &Connection, which: &str, params: &[&dyn ToSql]) -> Result<Vec<Recorded<Gear>>> {
    let sql = format!(
        "SELECT g.no, g.id, g.kind, g.category, g.rated_voltage, g.full_scale, g.lowest, g.due,
           g.remark, b.received_at, s.name, m.proof_days
         FROM gear g JOIN batch b ON b.no = g.batch JOIN source s ON s.no = b.source
           LEFT JOIN gear_more m ON m.gear = g.no
         WHERE {which} ORDER BY g.no"
    );
    collect(db, "gear", &sql, params, |cells| {
        let value = Gear {
            id: cells.text(1)?,
            kind: cells.word(2, GearKind::parse)?,
            category: cells.text(3)?,
            rated_voltage_v: cells.get(4)?,
            full_scale_ohm: cells.get(5)?,
            lowest_ohm: cells.get(6)?,
            due: cells.maybe_stamp(7)?,
            remark: cells.text(8)?,
            ranges: ranges(db, cells.get(0)?)?,
            proof_days: cells.get(11)?,
        };
        Ok(Recorded { value, mark: cells.mark(9)? })
    })
}

fn ranges(db: &Connection, row: i64) -> Result<Vec<Range>> {
    let sql = "SELECT gear, volts, ohms FROM gear_range WHERE gear = ?1 ORDER BY nth";
    collect(db, "gear_range", sql, params![row], |cells| {
        Ok(Range { test_voltage_v: cells.get(1)?, full_scale_ohm: cells.get(2)? })
    })
}
