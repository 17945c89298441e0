//! Why something is not done on a run sheet, in words for the person at the bench.

use crate::model::{AssetId, Invalid, Text};
use crate::store::StoreError;

/// Why an act was refused. Nothing was changed.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// The asset is a source of energy, or somebody says that it is energised.
    #[error(
        "`{asset}` is {what}: an insulation tester is not for it (batteries, packs and whatever is \
         energised have procedures of their own)"
    )]
    Energised {
        /// Which.
        asset: AssetId,
        /// What speaks against it.
        what: String,
    },
    /// The asset is not known.
    #[error("there is no asset `{0}` (register it here, or choose another)")]
    NoAsset(AssetId),
    /// The asset was found to be the same as another.
    #[error("`{asset}` is the same as `{into}`: open the sheet for that one")]
    Merged {
        /// The one named.
        asset: AssetId,
        /// The one that goes on.
        into: AssetId,
    },
    /// There is no such station.
    #[error("there is no station `{0}` (stations are set up in the configuration)")]
    NoStation(Text),
    /// No sheet is open at the station.
    #[error("no run sheet is open at `{0}` (choose an asset to open one)")]
    NoSheet(Text),
    /// A sheet is open already.
    #[error("a run sheet for `{0}` is open here (finish it, or end it with a reason)")]
    Open(AssetId),
    /// The sheet was opened or changed by somebody else meanwhile.
    #[error("the sheet has moved on meanwhile: {0}. Look again before you go on")]
    Stale(String),
    /// It is not the turn of that point.
    #[error("that is not what comes next: {next} is")]
    NotNext {
        /// What comes next, in words.
        next: String,
    },
    /// A point that must not be left out.
    #[error("{0} cannot be left out")]
    Needed(String),
    /// A failed check is not to be passed over.
    #[error("a check of the tester failed: repeat it until it passes, or end the sheet")]
    ProofFailed,
    /// The voltage at the part is too high to go on.
    #[error(
        "{volts} V reported at the part: it is energised or charged. Stop, find out why, and \
         measure again ({least} V or more is not tested)"
    )]
    Voltage {
        /// As reported.
        volts: f64,
        /// From which voltage on it is refused.
        least: f64,
    },
    /// The wait is not over.
    #[error("wait {0} more: discharge takes at least four times the test")]
    TooSoon(String),
    /// A test is under way.
    #[error("the test of {0} is under way: end it first")]
    UnderWay(String),
    /// Nothing to take back.
    #[error("{0} (repeat the test, or void its readings)")]
    NotUndone(&'static str),
    /// Gear that must not be used for this.
    #[error("{0}")]
    Gear(String),
    /// A value is missing that the stream or a person should have given.
    #[error("no value has come from the tester yet: wait for one, or enter what its display shows")]
    NoValue,
    /// A reason is missing.
    #[error("say why: it stands on the sheet")]
    NoReason,
    /// There are no readings to move or void.
    #[error("there are no readings of this test")]
    NoReadings,
    /// The sheet has ended.
    #[error("this sheet has ended (open a new one)")]
    Ended,
    /// A value that cannot be.
    #[error(transparent)]
    Invalid(#[from] Invalid),
    /// The store refused.
    #[error(transparent)]
    Store(#[from] StoreError),
}
