//! What the database says, as errors of the store.

use rusqlite::{Error, ErrorCode};

use crate::store::StoreError;

impl From<Error> for StoreError {
    fn from(error: Error) -> Self {
        let Error::SqliteFailure(failure, _) = &error else {
            return StoreError::Other(error.to_string());
        };
        match failure.code {
            ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked => StoreError::Busy,
            ErrorCode::DiskFull => StoreError::Full,
            ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase => StoreError::Damaged {
                table: "(all)",
                row: "unknown".to_owned(),
                why: error.to_string(),
            },
            _ => StoreError::Other(error.to_string()),
        }
    }
}

/// A row that does not read back as what it must be.
pub(super) fn damaged(
    table: &'static str,
    row: impl std::fmt::Display,
    why: impl std::fmt::Display,
) -> StoreError {
    StoreError::Damaged { table, row: row.to_string(), why: why.to_string() }
}
