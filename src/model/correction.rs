//! What people put right, as rows beside the readings: nothing is overwritten.

use super::{AssetId, Phase, ReadingId, Stamp, Text};

/// Who changed something and when it became known: on every row of every register.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When it was recorded.
    pub recorded_at: Stamp,
    /// Who recorded it.
    pub by: Text,
}

/// What is put right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CorrectionKind {
    /// The reading does not count.
    Void,
    /// The reading counts again: takes back a `Void`.
    Restore,
    /// The reading belongs to another asset or phase (also: out of the tray).
    Move {
        /// The asset meant.
        asset: AssetId,
        /// The phase meant.
        phase: Phase,
    },
    /// The reading counts although a proof failed.
    Overrule,
}

/// A correction of one reading; the latest of its kind counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Correction {
    /// Which reading, in the tray or in a series.
    pub reading: ReadingId,
    /// What is put right.
    pub kind: CorrectionKind,
    /// Why; never empty.
    pub reason: Text,
}
