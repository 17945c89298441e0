//! The register of proofs. Proofs never replace each other.

use rusqlite::{Connection, ToSql, params};

use super::Recording;
use crate::model::{AssetId, Proof, ProofKind, ProofMoment};
use crate::store::sqlite::cells::collect;
use crate::store::{Recorded, Result, When};

/// Records a proof, or takes it back.
pub(super) fn add(to: &mut Recording<'_>, proof: &Proof, void: bool) -> Result<bool> {
    let standing = at(to.db, &proof.tester, proof.at.micros())?;
    if standing.iter().any(|row| row.value == *proof) != void {
        return Ok(false);
    }
    to.db
        .prepare_cached(
            "INSERT INTO proof (batch, tester, at, kind, value, unit, passed, moment, remark, void)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            to.batch,
            proof.tester.as_str(),
            proof.at.micros(),
            proof.kind.word(),
            proof.value,
            proof.unit.as_str(),
            proof.passed,
            proof.moment.word(),
            proof.remark.as_str(),
            void
        ])?;
    let from = touched_from(to.db, proof)?;
    to.marking.users(&proof.tester, from)?;
    if let Ok(subject) = AssetId::of_tester(&proof.tester) {
        let subject = to.names.asset(to.db, &subject)?;
        to.marking.asset(subject, from)?;
    }
    Ok(true)
}

/// From which instant on a proof can touch readings: from the last one of its kind before it that
/// passed, or from the beginning. A longest span may be set elsewhere; the store does not know it.
fn touched_from(db: &Connection, proof: &Proof) -> Result<i64> {
    let mut earlier = db.prepare_cached(
        "SELECT DISTINCT at FROM proof WHERE tester = ?1 AND at < ?2 AND kind = ?3 AND passed = 1
           AND void = 0 ORDER BY at DESC",
    )?;
    let mut earlier =
        earlier.query(params![proof.tester.as_str(), proof.at.micros(), proof.kind.word()])?;
    while let Some(row) = earlier.next()? {
        let instant = row.get(0)?;
        let standing = at(db, &proof.tester, instant)?;
        if standing.iter().any(|row| row.value.passed && row.value.kind == proof.kind) {
            return Ok(instant);
        }
    }
    Ok(i64::MIN)
}

fn at(db: &Connection, tester: &str, at: i64) -> Result<Vec<Recorded<Proof>>> {
    select(db, "p.tester = ?1 AND p.at = ?2", params![tester, at])
}

/// The proofs that stand, by time, then tester, then as recorded.
pub(in crate::store::sqlite) fn all(
    db: &Connection,
    tester: Option<&str>,
    when: When,
) -> Result<Vec<Recorded<Proof>>> {
    let (as_of, known_at) = (when.as_of.micros(), when.known_at.micros());
    let within = "p.at <= ?1 AND b.received_at <= ?2";
    match tester {
        None => select(db, within, params![as_of, known_at]),
        Some(tester) => {
            let of = format!("{within} AND p.tester = ?3");
            select(db, &of, params![as_of, known_at, tester])
        }
    }
}

fn select(db: &Connection, which: &str, params: &[&dyn ToSql]) -> Result<Vec<Recorded<Proof>>> {
    let rows = rows(db, which, params)?;
    let mut standing: Vec<Recorded<Proof>> = Vec::new();
    for (void, row) in rows {
        match void {
            true => standing.retain(|s| s.value != row.value),
            false => standing.push(row),
        }
    }
    Ok(standing)
}

/// Every row, as recorded, with whether it takes one back.
pub(in crate::store::sqlite) fn rows(
    db: &Connection,
    which: &str,
    params: &[&dyn ToSql],
) -> Result<Vec<(bool, Recorded<Proof>)>> {
    let sql = format!(
        "SELECT p.no, p.at, p.tester, p.kind, p.value, p.unit, p.passed, p.moment, p.remark,
           p.void, b.received_at, s.name
         FROM proof p JOIN batch b ON b.no = p.batch JOIN source s ON s.no = b.source
         WHERE {which} ORDER BY p.at, p.tester, p.no"
    );
    collect(db, "proof", &sql, params, |cells| {
        let value = Proof {
            at: cells.stamp(1)?,
            tester: cells.text(2)?,
            kind: cells.word(3, ProofKind::parse)?,
            value: cells.get(4)?,
            unit: cells.text(5)?,
            passed: cells.get(6)?,
            moment: cells.word(7, ProofMoment::parse)?,
            remark: cells.text(8)?,
        };
        Ok((cells.get::<bool>(9)?, Recorded { value, mark: cells.mark(10)? }))
    })
}
