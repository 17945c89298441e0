//! How far the watch is behind: how many assets wait to be assessed, and since when.

use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// What waits for the watch, as it last knew.
#[derive(Debug, Default)]
pub struct Backlog(Mutex<Option<(usize, Instant)>>);

impl Backlog {
    /// So many wait now.
    pub fn is(&self, waiting: usize) {
        let mut backlog = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        *backlog = match (waiting, *backlog) {
            (0, _) => None,
            (n, Some((_, since))) => Some((n, since)),
            (n, None) => Some((n, Instant::now())),
        };
    }

    /// How many wait, and for how long there has been somebody waiting without a pause.
    pub fn waiting(&self) -> (usize, Duration) {
        let backlog = *self.0.lock().unwrap_or_else(PoisonError::into_inner);
        backlog.map_or((0, Duration::ZERO), |(n, since)| (n, since.elapsed()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_wait_counts_from_the_first_and_ends_with_the_last() {
        let backlog = Backlog::default();
        assert_eq!(backlog.waiting(), (0, Duration::ZERO));
        backlog.is(3);
        let first = backlog.waiting().1;
        backlog.is(2);
        assert!(backlog.waiting().0 == 2 && backlog.waiting().1 >= first);
        backlog.is(0);
        assert_eq!(backlog.waiting(), (0, Duration::ZERO));
    }
}
