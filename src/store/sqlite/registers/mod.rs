//! What people write down: registers, corrections, answers to findings. All rows are new rows.

pub(super) mod accounts;
pub(super) mod aliases;
pub(super) mod assets;
pub(super) mod changes;
pub(super) mod classes;
pub(super) mod corrections;
pub(super) mod events;
pub(super) mod findings;
pub(super) mod gear;
pub(super) mod proofs;
pub(super) mod sheets;

use rusqlite::Connection;
use rustc_hash::FxHashMap;

use super::batches;
use super::names::Names;
use super::pending::Marking;
use crate::model::{ReadingId, Stamp};
use crate::store::{Change, Result};

/// What it takes to record a change.
pub(super) struct Recording<'a> {
    pub(super) db: &'a Connection,
    pub(super) names: &'a mut Names,
    pub(super) marking: Marking<'a>,
    /// The batch of these changes.
    pub(super) batch: i64,
    /// Where the readings are that the changes name.
    located: FxHashMap<ReadingId, corrections::Located>,
}

/// Records changes in the transaction of the caller; returns how many were new. With none new, no
/// batch is left behind.
pub(super) fn record(
    db: &Connection,
    names: &mut Names,
    now: Stamp,
    by: &str,
    changes: &[Change],
) -> Result<u64> {
    db.execute_batch("SAVEPOINT recording")?;
    let mut new = 0;
    let mut all = || -> Result<()> {
        let batch = batches::add_change(db, now, by)?;
        let marking = Marking::new(db);
        let located = FxHashMap::default();
        let mut recording = Recording { db, names, marking, batch, located };
        corrections::locate_all(&mut recording, changes)?;
        for change in changes {
            new += u64::from(one(&mut recording, change)?);
        }
        Ok(())
    };
    let outcome = all();
    if new == 0 || outcome.is_err() {
        db.execute_batch("ROLLBACK TO recording")?;
        names.forget();
    }
    db.execute_batch("RELEASE recording")?;
    outcome.map(|()| new)
}

fn one(to: &mut Recording<'_>, change: &Change) -> Result<bool> {
    match change {
        Change::Class(class) => classes::add(to, class),
        Change::Asset(asset) => assets::add(to, asset),
        Change::Event(event) => events::add(to, event, false),
        Change::EventVoid(event) => events::add(to, event, true),
        Change::Gear(gear) => gear::add(to, gear),
        Change::Proof(proof) => proofs::add(to, proof, false),
        Change::ProofVoid(proof) => proofs::add(to, proof, true),
        Change::Alias(alias) => aliases::add(to, alias, false),
        Change::AliasVoid(alias) => aliases::add(to, alias, true),
        Change::Correction(correction) => corrections::add(to, correction),
        Change::FindingAct(act) => findings::act(to, act),
        Change::Step(step) => sheets::add(to, step),
        Change::Account(account) => accounts::add(to, account),
        Change::Token(token) => accounts::add_token(to, token),
        Change::Access(access) => accounts::add_access(to, access),
    }
}
