//! Aliases and testers as they are now, for sources that never end.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::model::{Alias, Gear};
use crate::store::sqlite::{SqliteReader, SqliteStore};
use crate::store::{Reader, Result, When};

/// What the intake has to know to place a reading.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Registers {
    /// Other names.
    pub aliases: Vec<Alias>,
    /// Testers, for bare over-range marks.
    pub gear: Vec<Gear>,
}

impl Registers {
    /// Reads them.
    pub fn read(reader: &dyn Reader) -> Result<Self> {
        Ok(Registers {
            aliases: reader.aliases(When::ALWAYS)?.into_iter().map(|r| r.value).collect(),
            gear: reader.gear(When::ALWAYS)?.into_iter().map(|r| r.value).collect(),
        })
    }
}

/// Keeps the registers up to date for all sources of a store, without reading them for every line.
#[derive(Debug)]
pub struct RegisterWatch {
    store: SqliteStore,
    last: Mutex<Last>,
}

/// The registers as they were last read.
#[derive(Debug)]
struct Last {
    /// Opened when it is needed, and again after a failure.
    reader: Option<SqliteReader>,
    seen: Option<i64>,
    read_at: Instant,
    cost: Duration,
    current: Arc<Registers>,
}

/// Time between two readings of the registers, in multiples of what one takes: every commit moves
/// the change counter, whatever it changed.
const SPARED: u32 = 20;

impl RegisterWatch {
    /// Nothing is read before it is asked for.
    pub fn new(store: SqliteStore) -> Self {
        let last = Last {
            reader: None,
            seen: None,
            read_at: Instant::now(),
            cost: Duration::ZERO,
            current: Arc::default(),
        };
        RegisterWatch { store, last: Mutex::new(last) }
    }

    /// The registers, at most some milliseconds old.
    pub fn current(&self) -> Result<Arc<Registers>> {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        let reader = match last.reader.take() {
            Some(reader) => reader,
            None => self.store.reader()?,
        };
        last.renew(&reader)?;
        last.reader = Some(reader);
        Ok(Arc::clone(&last.current))
    }
}

impl Last {
    fn renew(&mut self, reader: &SqliteReader) -> Result<()> {
        let counter = reader.change_counter()?;
        let spared = self.seen.is_some() && self.read_at.elapsed() < self.cost * SPARED;
        if self.seen != Some(counter) && !spared {
            let began = Instant::now();
            let now = Registers::read(reader)?;
            if now != *self.current {
                self.current = Arc::new(now);
            }
            (self.seen, self.read_at, self.cost) = (Some(counter), began, began.elapsed());
        }
        Ok(())
    }
}
