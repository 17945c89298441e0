//! A flag that ends waiting at once.

use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::Duration;

/// Tells threads to end; waiting on it is how they sleep.
#[derive(Clone, Debug, Default)]
pub struct Stop(Arc<(Mutex<bool>, Condvar)>);

impl Stop {
    /// Asks everybody who holds a clone to end.
    pub fn set(&self) {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner) = true;
        self.0.1.notify_all();
    }

    /// Whether it is time to end.
    pub fn is_set(&self) -> bool {
        *self.0.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Sleeps for a time, or until it is time to end; says whether it is.
    pub fn wait(&self, time: Duration) -> bool {
        let flag = self.0.0.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self.0.1.wait_timeout_while(flag, time, |stop| !*stop);
        *waited.unwrap_or_else(PoisonError::into_inner).0
    }
}
