//! The reading side on a read-only connection.

use std::cell::Cell;
use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, params};

use super::idle::Idle;
use super::lexicon::Lexicon;
use super::registers::findings::Of;
use super::registers::{
    accounts, aliases, assets, changes, classes, corrections, events, findings, gear, proofs,
    sheets,
};
use super::{batches, check, last, open, outbox, pending, readings, rejects, temperatures};
use crate::model::{
    Access, Account, Alias, Asset, AssetClass, AssetId, Correction, Event, Finding, FindingKind,
    Gear, Proof, ReadingId, Stamp, Token,
};
use crate::store::{
    Batch, DayTemperature, FindingAct, KeptFiles, PastChange, Pending, Posted, Reader, Recorded,
    Result, SheetKey, SheetStep, Stored, StoredReject, StoredTray, Telling, When,
};

/// A connection with the names met over it.
#[derive(Debug)]
pub(super) struct Opened {
    db: Connection,
    lexicon: Lexicon,
}

/// A reader with a connection of its own: for one thread, and cheap. The connection goes back to
/// the store when it is dropped, unless something failed.
#[derive(Debug)]
pub struct SqliteReader {
    /// Taken out when it is dropped.
    opened: Option<Opened>,
    kept: KeptFiles,
    idle: Arc<Idle>,
    failed: Cell<bool>,
}

impl Drop for SqliteReader {
    fn drop(&mut self) {
        if let Some(opened) = self.opened.take()
            && !self.failed.get()
            && opened.db.is_autocommit()
        {
            self.idle.put(opened);
        }
    }
}

impl SqliteReader {
    pub(super) fn open(data: &Path, idle: &Arc<Idle>) -> Result<Self> {
        let opened = match idle.take() {
            Some(opened) => opened,
            None => Opened { db: open::read_only(data)?, lexicon: Lexicon::default() },
        };
        Ok(SqliteReader {
            opened: Some(opened),
            kept: KeptFiles::in_data(data),
            idle: Arc::clone(idle),
            failed: Cell::new(false),
        })
    }

    fn opened(&self) -> &Opened {
        match &self.opened {
            Some(opened) => opened,
            None => unreachable!("it is taken out when the reader is dropped"),
        }
    }

    fn lexicon(&self) -> &Lexicon {
        &self.opened().lexicon
    }

    /// Reads every kept file whole and holds it against its digest; the list says what is wrong.
    pub fn check_kept(&self) -> Result<Vec<String>> {
        let files = self.ask(check::kept_files)?;
        let wrong = files.iter().filter_map(|file| self.kept.verify(file).err());
        Ok(wrong.map(|e| e.to_string()).collect())
    }

    /// A number that moves whenever another connection has committed: to look for work only then.
    /// To be held against what this reader said before, no other.
    pub fn change_counter(&self) -> Result<i64> {
        self.ask(|db| {
            Ok(db.prepare_cached("PRAGMA data_version")?.query_row([], |row| row.get(0))?)
        })
    }

    /// Asks one thing.
    fn ask<T>(&self, ask: impl FnOnce(&Connection) -> Result<T>) -> Result<T> {
        let answer = ask(&self.opened().db);
        if answer.is_err() {
            self.failed.set(true);
        }
        answer
    }

    /// One state of the database for all that is asked in `ask`, and for what is asked meanwhile
    /// from within [`Reader::for_each_reading`].
    fn snapshot<T>(&self, ask: impl FnOnce(&Connection) -> Result<T>) -> Result<T> {
        self.ask(|db| {
            if !db.is_autocommit() {
                return ask(db);
            }
            let transaction = db.unchecked_transaction()?;
            let answer = ask(&transaction)?;
            transaction.commit()?;
            Ok(answer)
        })
    }
}

impl Reader for SqliteReader {
    fn origin(&self) -> Result<String> {
        self.ask(|db| Ok(db.query_row("SELECT origin FROM installation", [], |row| row.get(0))?))
    }

    fn assets(&self, when: When) -> Result<Vec<Asset>> {
        self.snapshot(|db| assets::all(db, when))
    }

    fn asset(&self, id: &AssetId, when: When) -> Result<Option<Asset>> {
        self.snapshot(|db| assets::one(db, id, when))
    }

    fn assets_as_registered(&self, when: When) -> Result<Vec<Asset>> {
        self.snapshot(|db| assets::registered(db, when))
    }

    fn asset_as_registered(&self, id: &AssetId, when: When) -> Result<Option<Asset>> {
        self.snapshot(|db| assets::registered_as(db, id, when))
    }

    fn classes(&self, when: When) -> Result<Vec<Recorded<AssetClass>>> {
        self.snapshot(|db| classes::all(db, when))
    }

    fn for_each_of(
        &self,
        asset: &AssetId,
        when: When,
        each: &mut dyn FnMut(Stored) -> Result<()>,
    ) -> Result<()> {
        self.snapshot(|db| readings::of_asset(db, self.lexicon(), asset, when, each))
    }

    fn for_each_reading(
        &self,
        when: When,
        each: &mut dyn FnMut(&Stored) -> Result<()>,
    ) -> Result<()> {
        self.snapshot(|db| readings::each(db, self.lexicon(), when, each))
    }

    fn last_taken(&self, when: When) -> Result<Vec<(AssetId, Stamp)>> {
        self.snapshot(|db| last::of_all(db, when))
    }

    fn find(&self, id: ReadingId) -> Result<Option<Stored>> {
        let found = self.snapshot(|db| readings::by_ids(db, self.lexicon(), &[id]))?.pop();
        Ok(found.map(|f| f.stored))
    }

    fn corrections(&self, asset: &AssetId, when: When) -> Result<Vec<Recorded<Correction>>> {
        self.snapshot(|db| corrections::of_asset(db, asset, when))
    }

    fn all_corrections(&self, when: When) -> Result<Vec<Recorded<Correction>>> {
        self.snapshot(|db| corrections::all(db, when))
    }

    fn events(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Recorded<Event>>> {
        self.snapshot(|db| events::all(db, asset, when))
    }

    fn gear(&self, when: When) -> Result<Vec<Recorded<Gear>>> {
        self.snapshot(|db| gear::all(db, when))
    }

    fn gear_versions(&self, when: When) -> Result<Vec<Recorded<Gear>>> {
        self.snapshot(|db| gear::versions(db, when))
    }

    fn proofs(&self, tester: Option<&str>, when: When) -> Result<Vec<Recorded<Proof>>> {
        self.snapshot(|db| proofs::all(db, tester, when))
    }

    fn aliases(&self, when: When) -> Result<Vec<Recorded<Alias>>> {
        self.snapshot(|db| aliases::all(db, when))
    }

    fn tray(&self, when: When) -> Result<Vec<StoredTray>> {
        self.snapshot(|db| readings::tray(db, self.lexicon(), when))
    }

    fn rejects(&self, settled: bool) -> Result<Vec<StoredReject>> {
        self.snapshot(|db| rejects::all(db, settled))
    }

    fn line(&self, batch: u64, record: u64) -> Result<Option<Vec<u8>>> {
        self.ask(|db| {
            Ok(db
                .prepare_cached("SELECT bytes FROM line WHERE batch = ?1 AND record = ?2")?
                .query_row(params![batch as i64, record as i64], |row| row.get(0))
                .optional()?)
        })
    }

    fn day_temperatures(&self) -> Result<Vec<DayTemperature>> {
        self.snapshot(temperatures::all)
    }

    fn batches_of_file(&self, digest: &str) -> Result<Vec<u64>> {
        self.snapshot(|db| batches::of_file(db, digest))
    }

    fn batch(&self, number: u64) -> Result<Option<Batch>> {
        self.snapshot(|db| batches::find(db, number as i64))
    }

    fn uses_of_tester(
        &self,
        tester: &str,
        from: Stamp,
        to: Stamp,
    ) -> Result<Vec<(AssetId, Stamp)>> {
        self.snapshot(|db| readings::uses(db, self.lexicon(), tester, from, to))
    }

    fn acts(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Recorded<FindingAct>>> {
        self.snapshot(|db| findings::acts(db, asset, when))
    }

    fn findings(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Finding>> {
        self.snapshot(|db| findings::all(db, asset.map_or(Of::All, Of::Asset), when))
    }

    fn findings_of(&self, kind: FindingKind, when: When) -> Result<Vec<Finding>> {
        self.snapshot(|db| findings::all(db, Of::Kind(kind), when))
    }

    fn sheets(&self, station: Option<&str>, most: usize) -> Result<Vec<SheetKey>> {
        self.snapshot(|db| sheets::latest(db, station, most))
    }

    fn steps(&self, sheet: &SheetKey) -> Result<Vec<Recorded<SheetStep>>> {
        self.snapshot(|db| sheets::steps(db, sheet))
    }

    fn accounts(&self, when: When) -> Result<Vec<Recorded<Account>>> {
        self.snapshot(|db| accounts::all(db, when))
    }

    fn tokens(&self, when: When) -> Result<Vec<Recorded<Token>>> {
        self.snapshot(|db| accounts::tokens(db, when))
    }

    fn accesses(&self, since: Stamp, when: When) -> Result<Vec<Recorded<Access>>> {
        self.snapshot(|db| accounts::accesses(db, since, when))
    }

    fn numbered_findings(&self, when: When) -> Result<Vec<(u64, Finding)>> {
        self.snapshot(|db| findings::numbered(db, when))
    }

    fn outbox(&self, waiting: bool) -> Result<Vec<Posted>> {
        self.snapshot(|db| outbox::all(db, waiting))
    }

    fn tellings(&self, channel: &str) -> Result<Vec<Telling>> {
        self.snapshot(|db| outbox::tellings(db, channel))
    }

    fn posted_at(&self, channel: &str, key: &str) -> Result<Option<Stamp>> {
        self.snapshot(|db| outbox::posted_at(db, channel, key))
    }

    fn changes(&self) -> Result<Vec<PastChange>> {
        self.snapshot(changes::all)
    }

    fn entered_by_hand(&self) -> Result<Vec<Recorded<u64>>> {
        self.snapshot(batches::by_hand)
    }

    fn pending(&self) -> Result<Vec<Pending>> {
        self.snapshot(pending::all)
    }

    fn check(&self) -> Result<Vec<String>> {
        self.snapshot(|db| check::all(db, &self.kept))
    }
}
