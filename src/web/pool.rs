//! Readers of the store, kept open between requests.

use std::sync::{Arc, Mutex, PoisonError};

use axum::http::StatusCode;

use super::Service;
use super::refusal::Refusal;
use crate::store::Result;
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
    pub(super) fn ask<T>(&self, question: impl FnOnce(&SqliteReader) -> Result<T>) -> Result<T> {
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

impl Service {
    /// Asks the store on a thread that may wait.
    pub(super) async fn ask<T: Send + 'static>(
        self: &Arc<Self>,
        question: impl FnOnce(&SqliteReader) -> Result<T> + Send + 'static,
    ) -> std::result::Result<T, Refusal> {
        let service = Arc::clone(self);
        match tokio::task::spawn_blocking(move || service.readers.ask(question)).await {
            Ok(answer) => Ok(answer?),
            Err(_) => Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, "the question failed")),
        }
    }
}
