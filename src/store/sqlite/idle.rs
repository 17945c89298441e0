//! Connections for reading, kept open while nobody uses them: opening one reads the schema and
//! prepares every question anew.

use std::sync::{Mutex, PoisonError};

use super::reader::Opened;

/// Connections kept when nobody uses them.
const KEPT: usize = 8;

/// The idle connections of one store.
#[derive(Debug, Default)]
pub(super) struct Idle(Mutex<Vec<Opened>>);

impl Idle {
    /// Takes one out, if there is any.
    pub(super) fn take(&self) -> Option<Opened> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).pop()
    }

    /// Puts one back, or closes it where there are enough.
    pub(super) fn put(&self, opened: Opened) {
        let mut idle = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < KEPT {
            idle.push(opened);
        }
    }
}
