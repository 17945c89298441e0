//! Every change there is a row of: what the audit is made from.

use rusqlite::Connection;

use super::{
    accounts, aliases, assets, classes, corrections, events, findings, gear, proofs, sheets,
};
use crate::store::{Change, PastChange, Recorded, Result, When};

/// The rows of each register as recorded, one register after the other.
pub(in crate::store::sqlite) fn all(db: &Connection) -> Result<Vec<PastChange>> {
    const EACH: &str = "TRUE";
    let when = When::ALWAYS;
    let mut out = Changes(Vec::new());
    for row in classes::versions(db, when)? {
        out.add(true, row, Change::Class);
    }
    for (by_person, row) in assets::versions(db)? {
        out.add(by_person, row, Change::Asset);
    }
    for (void, row) in events::rows(db, EACH, &[])? {
        out.add(true, row, if void { Change::EventVoid } else { Change::Event });
    }
    for row in gear::versions(db, when)? {
        out.add(true, row, Change::Gear);
    }
    for (void, row) in proofs::rows(db, EACH, &[])? {
        out.add(true, row, if void { Change::ProofVoid } else { Change::Proof });
    }
    for (void, row) in aliases::rows(db, EACH, &[])? {
        out.add(true, row, if void { Change::AliasVoid } else { Change::Alias });
    }
    for row in corrections::all(db, when)? {
        out.add(true, row, Change::Correction);
    }
    for row in findings::acts(db, None, when)? {
        out.add(true, row, Change::FindingAct);
    }
    for row in sheets::all(db)? {
        out.add(true, row, Change::Step);
    }
    for row in accounts::rows(db, EACH, &[])? {
        out.add(true, row, Change::Account);
    }
    for row in accounts::token_rows(db, EACH, &[])? {
        out.add(true, row, Change::Token);
    }
    Ok(out.0)
}

struct Changes(Vec<PastChange>);

impl Changes {
    fn add<T>(&mut self, by_person: bool, row: Recorded<T>, change: fn(T) -> Change) {
        let row = Recorded { value: change(row.value), mark: row.mark };
        self.0.push(PastChange { by_person, row });
    }
}
