//! The store in domain words: what can be written, what can be asked.
//!
//! Everything is a new row: a correction or a changed register entry never overwrites. Every
//! change belongs to a gap-free batch, and readings are cited as batch, record and part.

mod change;
mod delivery;
mod episodes;
mod error;
mod kept;
pub mod memory;
mod outbox;
mod same;
pub mod sqlite;
mod stored;

use crate::model::{
    Access, Account, Alias, Asset, AssetClass, AssetId, Correction, Event, Finding, FindingKind,
    Gear, Phase, Proof, ReadingId, Stamp, Token,
};

pub use change::{Act, Change, FindingAct, SheetKey, SheetStep};
pub use delivery::{Entry, KeptFile, Parcel, Receipt, RecordPlace, RejectItem, Source, TrayItem};
pub use error::{Result, StoreError};
pub use kept::KeptFiles;
pub use outbox::{Fate, Happening, Message, Posted, Telling, Told, Turn};
pub use stored::{
    Batch, DayTemperature, PastChange, Pending, PendingMark, Recorded, Stored, StoredReject,
    StoredTray, When,
};

/// The writing side: one per store, on one thread.
pub trait Writer {
    /// Takes in a delivery: pulls parcels until there are none, commits as it goes, returns when
    /// all is durable. What was committed before an error stays, and the same delivery can be
    /// given again: each record is stored once.
    ///
    /// - A reading equal in series, instant, tester, bound, ohms and duration to a stored one is a
    ///   duplicate; equal in all that and different elsewhere is a reject `conflict`.
    /// - The same record of the same kept file is a duplicate whatever else it says.
    /// - Equal readings *within one delivery* whose times are coarser than a second are separate.
    ///   One delivery is a file, one connection of a `serial` source, or else one call.
    /// - A reject that was stored before is counted and not stored again.
    /// - An unknown asset is registered by `first_met`.
    /// - Whatever changed is marked pending in the same transaction.
    fn receive(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
    ) -> Result<Receipt> {
        self.receive_kept(now, source, first_met, parcels, &mut || Ok(()))
    }

    /// The same for a source whose file is still being put on the disk: `kept` is called before
    /// anything is committed and returns when it is there. When it fails nothing is stored.
    fn receive_kept(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
        kept: &mut dyn FnMut() -> Result<()>,
    ) -> Result<Receipt>;

    /// Records changes of registers and readings in one transaction: all or none. What they touch
    /// is marked pending: a proof also marks its tester, and an answer to a common cause that cause,
    /// each under the id that its findings stand under. A row equal to the one that stands is not written again; returns how
    /// many were new.
    fn record(&mut self, now: Stamp, by: &str, changes: &[Change]) -> Result<u64>;

    /// Marks rejects as settled by a batch; one that is settled stays as it is.
    fn settle_rejects(&mut self, numbers: &[u64], batch: u64) -> Result<()>;

    /// Replaces the derived findings of an asset by these episodes, keeping what people did:
    /// episodes are matched by kind and overlapping time (one that people answered first, then one
    /// of the same phase, then the oldest), one that stands no longer is marked withdrawn. The
    /// `state` of an episode is not looked at: it follows from `until` and from what people did.
    /// The asset need not be registered: findings about a tester or a day stand under ids of their
    /// own. Clears the pending marks seen by the caller (`seen`), not newer ones. Settling the same
    /// again changes nothing.
    fn settle(
        &mut self,
        now: Stamp,
        asset: &AssetId,
        seen: PendingMark,
        episodes: &[Finding],
    ) -> Result<()>;

    /// Puts messages into the outbox. One whose channel has its key already is not put there again;
    /// returns how many were new.
    fn post(&mut self, now: Stamp, messages: &[Message]) -> Result<u64>;

    /// Notes how a waiting message fared. One that is sent or dropped stays as it is.
    fn turn(&mut self, now: Stamp, number: u64, turn: &Turn) -> Result<()>;

    /// Takes out these readings and their original lines, all or none, and returns how many were
    /// there. The one thing that is ever taken out: only for what streams sent and nothing rests
    /// on. Known temperatures stay summed as they were; nothing is marked to be assessed.
    fn thin(&mut self, readings: &[ReadingId]) -> Result<u64>;

    /// Writes a consistent, checked copy of the database to `path`, which must not exist. Kept
    /// files are not in it: they never change and are copied as files.
    fn backup(&mut self, path: &std::path::Path) -> Result<()>;
}

/// The reading side: consistent within one call, never blocking the writer.
pub trait Reader {
    /// The UUID of this installation.
    fn origin(&self) -> Result<String>;
    /// All assets by id, as they are meant: with what their classes say where they are silent.
    fn assets(&self, when: When) -> Result<Vec<Asset>>;
    /// One asset as it is meant; none when it is not known.
    fn asset(&self, id: &AssetId, when: When) -> Result<Option<Asset>>;
    /// All assets by id in their own words: for exports.
    fn assets_as_registered(&self, when: When) -> Result<Vec<Asset>>;
    /// One asset in its own words: for whoever changes it.
    fn asset_as_registered(&self, id: &AssetId, when: When) -> Result<Option<Asset>>;
    /// All classes by name.
    fn classes(&self, when: When) -> Result<Vec<Recorded<AssetClass>>>;
    /// The readings of an asset as taken in (before corrections), by time, then series: in bounded
    /// memory. Readings moved here by a correction are included.
    fn for_each_of(
        &self,
        asset: &AssetId,
        when: When,
        each: &mut dyn FnMut(Stored) -> Result<()>,
    ) -> Result<()>;
    /// All of them at once.
    fn readings(&self, asset: &AssetId, when: When) -> Result<Vec<Stored>> {
        let mut all = Vec::new();
        self.for_each_of(asset, when, &mut |stored| {
            all.push(stored);
            Ok(())
        })?;
        Ok(all)
    }
    /// Every reading as taken in, the tray included, by time, then series; for exports: bounded
    /// memory.
    fn for_each_reading(
        &self,
        when: When,
        each: &mut dyn FnMut(&Stored) -> Result<()>,
    ) -> Result<()>;
    /// For each asset with readings the instant of its last one, by id; those moved here count,
    /// those moved away or void do not.
    fn last_taken(&self, when: When) -> Result<Vec<(AssetId, Stamp)>>;
    /// One reading, in a series or in the tray.
    fn find(&self, id: ReadingId) -> Result<Option<Stored>>;
    /// The corrections of an asset's readings (also those that moved away or here), oldest first.
    fn corrections(&self, asset: &AssetId, when: When) -> Result<Vec<Recorded<Correction>>>;
    /// All corrections, oldest first.
    fn all_corrections(&self, when: When) -> Result<Vec<Recorded<Correction>>>;
    /// The events of an asset (or of all) by time.
    fn events(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Recorded<Event>>>;
    /// All gear by id.
    fn gear(&self, when: When) -> Result<Vec<Recorded<Gear>>>;
    /// Every version of every row of gear, oldest first: what was known of it and when.
    fn gear_versions(&self, when: When) -> Result<Vec<Recorded<Gear>>>;
    /// The proofs of a tester (or of all) by time.
    fn proofs(&self, tester: Option<&str>, when: When) -> Result<Vec<Recorded<Proof>>>;
    /// All aliases.
    fn aliases(&self, when: When) -> Result<Vec<Recorded<Alias>>>;
    /// The tray: readings still waiting (neither moved nor void), by time.
    fn tray(&self, when: When) -> Result<Vec<StoredTray>>;
    /// Rejects, newest last; `settled` includes those that a retry has settled.
    fn rejects(&self, settled: bool) -> Result<Vec<StoredReject>>;
    /// The original line of a reading or reject that came in a stream; none for files.
    fn line(&self, batch: u64, record: u64) -> Result<Option<Vec<u8>>>;
    /// Known temperatures by station and UTC day, of readings as taken in (voids and moves don't
    /// change the weather).
    fn day_temperatures(&self) -> Result<Vec<DayTemperature>>;
    /// The batches that took in this kept file: several where an import was repeated.
    fn batches_of_file(&self, digest: &str) -> Result<Vec<u64>>;
    /// One batch.
    fn batch(&self, number: u64) -> Result<Option<Batch>>;
    /// The times at which a tester was used, with asset, by time: what a failed proof can touch.
    /// `from` and `to` belong to the span.
    fn uses_of_tester(&self, tester: &str, from: Stamp, to: Stamp)
    -> Result<Vec<(AssetId, Stamp)>>;
    /// What people did about findings, oldest first; `since` is that of the finding as it stands.
    fn acts(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Recorded<FindingAct>>>;
    /// The findings of an asset (or of all), newest first.
    fn findings(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Finding>>;
    /// All findings of a kind, newest first.
    fn findings_of(&self, kind: FindingKind, when: When) -> Result<Vec<Finding>>;
    /// The run sheets of a station (or of all), the latest first, at most so many.
    fn sheets(&self, station: Option<&str>, most: usize) -> Result<Vec<SheetKey>>;
    /// The steps of a run sheet in order; none where it does not exist.
    fn steps(&self, sheet: &SheetKey) -> Result<Vec<Recorded<SheetStep>>>;
    /// All accounts by name, revoked ones among them.
    fn accounts(&self, when: When) -> Result<Vec<Recorded<Account>>>;
    /// All tokens by name, revoked ones among them.
    fn tokens(&self, when: When) -> Result<Vec<Recorded<Token>>>;
    /// Who came and who was not let in from `since` on, oldest first.
    fn accesses(&self, since: Stamp, when: When) -> Result<Vec<Recorded<Access>>>;
    /// All findings by the number each keeps, however often it is assessed.
    fn numbered_findings(&self, when: When) -> Result<Vec<(u64, Finding)>>;
    /// The messages in the outbox, oldest first; `waiting`: only those that are to be sent.
    fn outbox(&self, waiting: bool) -> Result<Vec<Posted>>;
    /// What a channel was told of findings, or is to be told, oldest message first.
    fn tellings(&self, channel: &str) -> Result<Vec<Telling>>;
    /// When a message to this channel was put into the outbox under this key; none: never.
    fn posted_at(&self, channel: &str, key: &str) -> Result<Option<Stamp>>;
    /// Every change as it was recorded but [`Change::Access`], one register after the other, in
    /// each the oldest first.
    fn changes(&self) -> Result<Vec<PastChange>>;
    /// The batches of readings that people entered by hand, oldest first.
    fn entered_by_hand(&self) -> Result<Vec<Recorded<u64>>>;
    /// Assets waiting to be assessed.
    fn pending(&self) -> Result<Vec<Pending>>;
    /// Checks the database; the list says what is wrong, empty when nothing is.
    fn check(&self) -> Result<Vec<String>>;
}

/// What stands for the asset and phase of a reading in the tray: a lone question mark.
pub fn unplaced() -> (AssetId, Phase) {
    const MARK: &str = "?";
    match (AssetId::new(MARK), Phase::new(MARK)) {
        (Ok(asset), Ok(phase)) => (asset, phase),
        _ => unreachable!("`?` is a name on one line"),
    }
}
