//! What can go wrong in a store.

use crate::model::{AssetId, FindingKind, ReadingId, Stamp};

/// What went wrong in a store.
#[derive(Clone, Debug, thiserror::Error)]
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
    /// An answer to a finding that is not there.
    #[error("`{asset}` has no finding `{kind}` at {since} (see `declining --all`)")]
    NoFinding {
        /// The asset named.
        asset: AssetId,
        /// The kind named.
        kind: FindingKind,
        /// The instant named.
        since: Stamp,
    },
    /// A step of a run sheet that does not follow its last one.
    #[error("the run sheet of `{station}` has moved on to step {last} meanwhile (look again)")]
    Stale {
        /// Whose sheet.
        station: String,
        /// The number of its last step.
        last: u32,
    },
    /// A kept file whose bytes are not those it is named by.
    #[error("kept file `{digest}`: {why} (restore it from a backup, or give the file again)")]
    Kept {
        /// Its name.
        digest: String,
        /// What is wrong.
        why: String,
    },
    /// Reading or writing a file beside the database failed.
    #[error("`{path}`: {why}")]
    File {
        /// Which.
        path: String,
        /// What the system says.
        why: String,
    },
    /// Anything else the database says.
    #[error("store: {0}")]
    Other(String),
}

/// The outcome of a store operation.
pub type Result<T> = std::result::Result<T, StoreError>;
