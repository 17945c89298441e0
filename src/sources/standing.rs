//! How a source stands: what it has counted and lost, what it waits for, when it last moved.

use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::model::{Stamp, Text};

/// A number that only grows.
#[derive(Debug, Default)]
pub struct Count(AtomicU64);

impl Count {
    /// Adds to it.
    pub fn add(&self, n: u64) {
        self.0.fetch_add(n, Relaxed);
    }

    /// What it stands at.
    pub fn get(&self) -> u64 {
        self.0.load(Relaxed)
    }
}

/// What a source has taken in and lost since the daemon started.
#[derive(Debug, Default)]
pub struct Tally {
    /// Bytes read.
    pub bytes: Count,
    /// Records cut from them.
    pub records: Count,
    /// Files taken in.
    pub files: Count,
    /// Files refused as a whole.
    pub refused: Count,
    /// Readings stored.
    pub accepted: Count,
    /// Readings that were there already.
    pub duplicate: Count,
    /// Readings put in the tray.
    pub tray: Count,
    /// Records that could not be read.
    pub rejected: Count,
    /// How often a connection was opened.
    pub openings: Count,
    /// Places where bytes are missing within a connection.
    pub gaps: Count,
    /// Bytes that had to be dropped because the store did not keep up.
    pub dropped_bytes: Count,
    /// Bytes that were noise.
    pub noise_bytes: Count,
    /// Lines whose beginning or end is missing; never read as a value.
    pub torn_lines: Count,
}

impl Tally {
    /// Counts in what became of a delivery.
    pub fn count(&self, accepted: u64, duplicate: u64, tray: u64, rejected: u64) {
        self.accepted.add(accepted);
        self.duplicate.add(duplicate);
        self.tray.add(tray);
        self.rejected.add(rejected);
    }
}

/// How long records took from their arrival to the commit that holds them.
#[derive(Debug, Default)]
pub struct Delays {
    classes: [Count; Delays::UPTO_MS.len() + 1],
    micros: Count,
}

impl Delays {
    /// Upper ends of the classes in milliseconds; a last one has none.
    pub const UPTO_MS: [f64; 26] = [
        0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0, 70.0, 100.0, 150.0,
        200.0, 300.0, 500.0, 700.0, 1e3, 2e3, 5e3, 1e4, 3e4, 6e4,
    ];

    /// Counts one in.
    pub fn add(&self, delay: Duration) {
        let ms = delay.as_secs_f64() * 1e3;
        self.classes[Delays::UPTO_MS.partition_point(|upto| *upto < ms)].add(1);
        self.micros.add(delay.as_micros() as u64);
    }

    /// How many fell into each class.
    pub fn counts(&self) -> impl Iterator<Item = u64> + '_ {
        self.classes.iter().map(Count::get)
    }

    /// All of them together, in seconds.
    pub fn seconds(&self) -> f64 {
        self.micros.get() as f64 / 1e6
    }
}

/// Whether a loop still comes round, and what keeps it from its work.
#[derive(Debug)]
pub struct Health {
    start: Instant,
    /// Milliseconds from the start to its last sign of life, by a clock that is never set.
    last: AtomicU64,
    trouble: Mutex<Option<String>>,
}

impl Default for Health {
    fn default() -> Self {
        Health { start: Instant::now(), last: AtomicU64::new(0), trouble: Mutex::new(None) }
    }
}

impl Health {
    /// It comes round.
    pub fn tick(&self) {
        self.last.store(self.start.elapsed().as_millis() as u64, Relaxed);
    }

    /// How long ago it last came round.
    pub fn age(&self) -> Duration {
        self.start.elapsed().saturating_sub(Duration::from_millis(self.last.load(Relaxed)))
    }

    /// What keeps it from its work, with what to do; none while all is well.
    pub fn trouble(&self) -> Option<String> {
        self.trouble.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Notes what keeps it from its work. Says whether that is news, so that it is logged once.
    pub fn troubled(&self, why: Option<String>) -> bool {
        let mut trouble = self.trouble.lock().unwrap_or_else(PoisonError::into_inner);
        let news = *trouble != why;
        *trouble = why;
        news
    }
}

/// The last thing that came from a source and was stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Latest {
    /// When it was stored.
    pub at: Stamp,
    /// A line, the name of a file, or who sent a request.
    pub what: String,
}

/// One source, as anybody may look at it.
#[derive(Debug)]
pub struct Standing {
    /// `serial`, `folder` or `http`.
    pub kind: &'static str,
    /// Its name in the configuration.
    pub name: Text,
    /// What it counted.
    pub tally: Tally,
    /// How long its records take; streams only.
    pub delays: Delays,
    /// The side that reads bytes.
    pub reading: Health,
    /// The side that brings them into the store.
    pub intake: Health,
    latest: Mutex<Option<Latest>>,
}

impl Standing {
    /// A source that has not moved yet.
    pub fn new(kind: &'static str, name: Text) -> Self {
        let (reading, intake) = (Health::default(), Health::default());
        let (tally, delays) = (Tally::default(), Delays::default());
        Standing { kind, name, tally, delays, reading, intake, latest: Mutex::default() }
    }

    /// Notes what came last.
    pub fn came(&self, at: Stamp, what: impl Into<String>) {
        let latest = Latest { at, what: what.into() };
        *self.latest.lock().unwrap_or_else(PoisonError::into_inner) = Some(latest);
    }

    /// What came last; none since the start.
    pub fn latest(&self) -> Option<Latest> {
        self.latest.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}
