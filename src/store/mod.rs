//! The store in domain words: what can be written, what can be asked.
//!
//! Everything is a new row: a correction or a changed register entry never overwrites. Every
//! change belongs to a gap-free batch, and readings are cited as batch, record and part.

use std::sync::Arc;

use crate::model::{
    Alias, Asset, AssetId, Correction, Event, Finding, Gear, Mark, Phase, Proof, Reading,
    ReadingId, Series, Stamp, Text,
};

/// Where a delivery came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// `file`, `serial`, `http`, `hand`.
    pub kind: Text,
    /// File name, station, client or person.
    pub name: Text,
    /// Which profile read it; empty for hand entry.
    pub profile: Text,
    /// The kept file, where there is one.
    pub file: Option<KeptFile>,
}

/// A file whose bytes are kept beside the database, named by their digest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptFile {
    /// BLAKE3 digest of the original bytes, in hex.
    pub digest: Text,
    /// Original length in bytes.
    pub bytes: u64,
}

/// Where in a delivery a record stood: becomes part of its [`ReadingId`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RecordPlace {
    /// The record, counted from 1.
    pub record: u64,
    /// The part of the record, counted from 0.
    pub part: u16,
}

/// A reading whose asset or phase is not known yet.
#[derive(Clone, Debug, PartialEq)]
pub struct TrayItem {
    /// The reading under a placeholder series; only `asset` and `phase` there have no meaning.
    pub reading: Reading,
    /// What was written for the asset; may be empty.
    pub written_asset: Text,
    /// What was written for the phase; may be empty.
    pub written_phase: Text,
    /// Why it is here.
    pub reason: Text,
}

/// A record that could not become a reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RejectItem {
    /// Byte offset in the original stream.
    pub offset: u64,
    /// Length in the original bytes.
    pub len: u64,
    /// The original bytes, cut to [`crate::limits::REJECT_BYTES`].
    pub bytes: Vec<u8>,
    /// A short kind for counting: `time`, `unit`, `number`, `conflict` …
    pub kind: Text,
    /// What was expected and found, in words for a person.
    pub reason: Text,
}

/// One record of a delivery after normalising.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// A reading.
    Reading(Reading),
    /// A reading waiting for its asset or phase.
    Tray(TrayItem),
    /// A record that could not become a reading.
    Reject(RejectItem),
}

/// Some records of a delivery, in file order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parcel {
    /// The records.
    pub entries: Vec<(RecordPlace, Entry)>,
    /// The original line of each record, for streams that are kept as lines (same order as
    /// `entries`, empty for files).
    pub lines: Vec<Vec<u8>>,
}

/// What became of a delivery. Every entry is counted once.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Receipt {
    /// The batch it became; none when nothing new was in it.
    pub batch: Option<u64>,
    /// Readings stored.
    pub accepted: u64,
    /// Readings that were there already.
    pub duplicate: u64,
    /// Readings put in the tray.
    pub tray: u64,
    /// Rejects, conflicts included.
    pub rejected: u64,
    /// The first rejects (with conflicts), for showing: at most 100.
    pub first_rejects: Vec<(RecordPlace, RejectItem)>,
    /// Assets that were met for the first time.
    pub new_assets: Vec<AssetId>,
}

/// A change that a person makes to a register or a reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// An asset as it is from now on.
    Asset(Asset),
    /// Something done to an asset.
    Event(Event),
    /// Takes back an event that was recorded wrongly (same asset, time and kind).
    EventVoid(Event),
    /// A piece of gear as it is from now on.
    Gear(Gear),
    /// A check of a tester.
    Proof(Proof),
    /// Another name.
    Alias(Alias),
    /// Something put right on a reading.
    Correction(Correction),
}

/// A register row with who recorded it and when.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded<T> {
    /// The row.
    pub value: T,
    /// Who and when.
    pub mark: Mark,
}

/// A reading as stored.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Its id.
    pub id: ReadingId,
    /// The reading as it was taken in.
    pub reading: Reading,
    /// When it became known.
    pub recorded_at: Stamp,
}

/// A tray item as stored.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredTray {
    /// The id of its reading.
    pub id: ReadingId,
    /// The item.
    pub item: TrayItem,
    /// When it became known.
    pub recorded_at: Stamp,
}

/// A reject as stored.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredReject {
    /// A number to name it by.
    pub number: u64,
    /// The batch it came in.
    pub batch: u64,
    /// Where in it.
    pub place: RecordPlace,
    /// The reject.
    pub item: RejectItem,
    /// Set when a retry turned it into a reading, or found it stored already.
    pub settled_by: Option<u64>,
}

/// A batch: one delivery or one change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Batch {
    /// Its number, gap-free from 1.
    pub number: u64,
    /// When it was received.
    pub received_at: Stamp,
    /// Where from.
    pub source: Source,
}

/// Which rows count: measured by, and known by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct When {
    /// Nothing measured (or done) after this instant.
    pub as_of: Stamp,
    /// Nothing recorded after this instant.
    pub known_at: Stamp,
}

impl When {
    /// Everything there is.
    pub const ALWAYS: When = When { as_of: Stamp::MAX, known_at: Stamp::MAX };
}

/// What went wrong in a store.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The folder or file could not be used.
    #[error("cannot use the store at `{path}`: {why}")]
    Open {
        /// Where.
        path: String,
        /// Why, and what to do.
        why: String,
    },
    /// Somebody else holds the store for too long.
    #[error("the store is in use by another process (wait for it to end, or stop it)")]
    Busy,
    /// The disk is full; nothing of the current step was stored.
    #[error("the disk is full: nothing of this step was stored (free some space and repeat it)")]
    Full,
    /// A row does not read back as what it must be.
    #[error("damaged row in table `{table}`, row {row}: {why} (restore a backup, or run `check`)")]
    Damaged {
        /// The table.
        table: &'static str,
        /// Which row.
        row: String,
        /// What is wrong with it.
        why: String,
    },
    /// A reading named by a person that is not there.
    #[error("there is no reading `{0}` (ids are printed by `history` and `tray list`)")]
    NoReading(ReadingId),
    /// Anything else the database says.
    #[error("store: {0}")]
    Other(String),
}

/// The outcome of a store operation.
pub type Result<T> = std::result::Result<T, StoreError>;

/// The writing side: one per store, on one thread.
pub trait Writer {
    /// Takes in a delivery: pulls parcels until there are none, commits as it goes, returns when
    /// all is durable. What was committed before an error stays, and the same delivery can be
    /// given again: each record is stored once.
    ///
    /// - A reading equal in series, instant, tester, bound, ohms and duration to a stored one is a
    ///   duplicate; equal in all that and different elsewhere is a reject `conflict`.
    /// - Equal readings *within one delivery* whose times are coarser than a second are separate.
    /// - An unknown asset is registered by `first_met`.
    /// - Whatever changed is marked pending in the same transaction.
    fn receive(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
    ) -> Result<Receipt>;

    /// Records changes of registers and readings in one transaction, marking what they touch
    /// pending. A row equal to the one that stands is not written again; returns how many were new.
    fn record(&mut self, now: Stamp, by: &str, changes: &[Change]) -> Result<u64>;

    /// Marks rejects as settled by a batch.
    fn settle_rejects(&mut self, numbers: &[u64], batch: u64) -> Result<()>;

    /// Replaces the derived findings of an asset by these episodes, keeping what people did:
    /// episodes are matched by kind and overlapping time, one that stands no longer is marked
    /// withdrawn. Clears the pending marks seen by the caller (`seen`), not newer ones.
    fn settle(
        &mut self,
        now: Stamp,
        asset: &AssetId,
        seen: PendingMark,
        episodes: &[Finding],
    ) -> Result<()>;

    /// Writes a consistent copy of the database to `path`, which must not exist.
    fn backup(&mut self, path: &std::path::Path) -> Result<()>;
}

/// Proof of which pending marks a caller has seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PendingMark(pub u64);

/// An asset that has to be assessed again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pending {
    /// Which.
    pub asset: AssetId,
    /// From which measuring time on.
    pub from: Stamp,
    /// To clear it with.
    pub mark: PendingMark,
}

/// The reading side: consistent within one call, never blocking the writer.
pub trait Reader {
    /// The UUID of this installation.
    fn origin(&self) -> Result<String>;
    /// All assets by id.
    fn assets(&self, when: When) -> Result<Vec<Asset>>;
    /// One asset; none when it is not known.
    fn asset(&self, id: &AssetId, when: When) -> Result<Option<Asset>>;
    /// The readings of an asset as taken in (before corrections), by time, then series.
    /// Readings moved here by a correction are included.
    fn readings(&self, asset: &AssetId, when: When) -> Result<Vec<Stored>>;
    /// Every reading as taken in, by time, then series; for exports: bounded memory.
    fn for_each_reading(
        &self,
        when: When,
        each: &mut dyn FnMut(&Stored) -> Result<()>,
    ) -> Result<()>;
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
    /// The proofs of a tester (or of all) by time.
    fn proofs(&self, tester: Option<&str>, when: When) -> Result<Vec<Recorded<Proof>>>;
    /// All aliases.
    fn aliases(&self, when: When) -> Result<Vec<Recorded<Alias>>>;
    /// The tray: readings still waiting, by time.
    fn tray(&self, when: When) -> Result<Vec<StoredTray>>;
    /// Rejects, newest last; `settled` includes those that a retry has settled.
    fn rejects(&self, settled: bool) -> Result<Vec<StoredReject>>;
    /// One batch.
    fn batch(&self, number: u64) -> Result<Option<Batch>>;
    /// The times at which a tester was used, with asset: what a failed proof can touch.
    fn uses_of_tester(&self, tester: &str, from: Stamp, to: Stamp)
    -> Result<Vec<(AssetId, Stamp)>>;
    /// The findings of an asset (or of all), newest first.
    fn findings(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Finding>>;
    /// Assets waiting to be assessed.
    fn pending(&self) -> Result<Vec<Pending>>;
    /// Checks the database; the list says what is wrong, empty when nothing is.
    fn check(&self) -> Result<Vec<String>>;
}

/// The series of an asset and phase with all else default; handy for corrections.
pub fn series_of(series: &Series, asset: AssetId, phase: Phase) -> Arc<Series> {
    Arc::new(Series { asset, phase, ..series.clone() })
}
