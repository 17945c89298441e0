//! Readers of the store, kept open between requests.

use std::sync::{Mutex, PoisonError};

use crate::store::StoreError;
use crate::store::sqlite::{SqliteReader, SqliteStore};

/// Readers kept when nobody uses them.
const KEPT: usize = 8;

/// A pool; a reader is taken out, used and put back.
pub(super) struct Readers {
    store: SqliteStore,
    idle: Mutex<Vec<SqliteReader>>,
}

impl Readers {
    pub(super) fn new(store: SqliteStore) -> Self {
        Readers { store, idle: Mutex::default() }
    }

    /// Asks something of a reader. One that failed is not used again.
    pub(super) fn ask<T, E: From<StoreError>>(
        &self,
        question: impl FnOnce(&SqliteReader) -> Result<T, E>,
    ) -> Result<T, E> {
        let idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner).pop();
        let reader = match idle {
            Some(reader) => reader,
            None => self.store.reader()?,
        };
        let answer = question(&reader)?;
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < KEPT {
            idle.push(reader);
        }
        Ok(answer)
    }
}
