//! What comes in: a delivery in parcels of records, and the receipt for it.

use crate::model::{AssetId, Reading, Text};

/// Where a delivery came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// `file`, `serial`, `http`, `hand`. A `serial` source is one connection: its record numbers
    /// count on over all its deliveries.
    pub kind: Text,
    /// File name, connection, client or person.
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

/// Where in a delivery a record stood: becomes part of its
/// [`ReadingId`](crate::model::ReadingId).
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
    /// Byte offset in the original stream; 0 for a conflict, which the record number places.
    pub offset: u64,
    /// Length in the original bytes; 0 for a conflict in a file.
    pub len: u64,
    /// The original bytes, cut to [`crate::limits::REJECT_BYTES`]; none for a conflict in a file.
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
    /// A line that is no reading of any asset, such as a proof of the tester at a bench: the line
    /// is kept, and nothing else. Given again it is kept again.
    Aside,
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
    /// Lines that were kept and are no readings.
    pub aside: u64,
    /// The first rejects (with conflicts), for showing: at most 100.
    pub first_rejects: Vec<(RecordPlace, RejectItem)>,
    /// Assets that were met for the first time.
    pub new_assets: Vec<AssetId>,
}

impl RecordPlace {
    /// The highest record number a store takes: the record shares 64 bits with its part.
    pub const LAST_RECORD: u64 = (1 << 47) - 1;
}

impl Receipt {
    /// How many rejects a receipt shows.
    pub const FIRST_REJECTS: usize = 100;
}
