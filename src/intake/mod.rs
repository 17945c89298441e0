//! Bytes to the store: frame, parse, normalise, one commit, acknowledge. The only writer of
//! readings from sources.

mod body;
mod file;
mod flow;
mod mend;
mod parcels;
mod registers;
mod retry;
mod stream;

mod sheet;

pub use body::{BodyImport, BodyTaken, LinesKind};
pub use file::{FileImport, Imported, Preview};
pub use mend::{Mended, mend};
pub use registers::{RegisterWatch, Registers};
pub use retry::{Again, Retried, readable, retry};
pub use stream::{Group, StreamIntake, StreamRule, TestRule};

pub use sheet::{SheetText, is_sheet, sheet_text};

use crate::model::Invalid;
use crate::store::StoreError;

/// Why a delivery could not be taken in as a whole. Single records never end it: they become
/// rejects.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// The file could not be read.
    #[error("cannot read `{path}`: {why}")]
    Read {
        /// Which file.
        path: String,
        /// What the system says.
        why: std::io::Error,
    },
    /// No profile fits, or several do.
    #[error("{0}")]
    Unrecognised(String),
    /// The profile cannot read this stream at all.
    #[error("`{path}` by profile `{profile}`: {why}")]
    Profile {
        /// Which file.
        path: String,
        /// Which profile.
        profile: String,
        /// What is wrong.
        why: String,
    },
    /// The bytes ended before the delivery did. What came before may be stored.
    #[error("{0}")]
    Cut(String),
    /// A value given for the whole delivery cannot be.
    #[error(transparent)]
    Invalid(#[from] Invalid),
    /// The store refused.
    #[error(transparent)]
    Store(#[from] StoreError),
}
