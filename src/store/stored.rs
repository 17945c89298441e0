//! What can be asked for: stored rows with who recorded them and when.

use super::{Change, RecordPlace, RejectItem, Source, TrayItem};
use crate::model::{AssetId, Mark, Reading, ReadingId, Stamp, Text};

/// A register row with who recorded it and when.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded<T> {
    /// The row.
    pub value: T,
    /// Who and when.
    pub mark: Mark,
}

/// A change as it was recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct PastChange {
    /// Whether a person made it: an asset that an import met for the first time is a row as well.
    pub by_person: bool,
    /// What, who and when.
    pub row: Recorded<Change>,
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
    /// Whether it was taken in without asset or phase: then the two in its series have no meaning
    /// ([`unplaced`](super::unplaced)) and a `Move` says where it belongs.
    pub in_tray: bool,
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
    /// When it was received (at its first commit).
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

/// Known temperatures of one station and UTC day, summed: what a reading without one may be given.
#[derive(Clone, Debug, PartialEq)]
pub struct DayTemperature {
    /// The station; empty where none was stated.
    pub station: Text,
    /// The UTC day, counted from the epoch.
    pub day: i64,
    /// How many.
    pub n: i64,
    /// Their sum in °C.
    pub sum: f64,
    /// The sum of their squares.
    pub squares: f64,
}
