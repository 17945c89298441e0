//! Aliases and testers as they are now, for sources that never end.

use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::model::{Alias, Gear};
use crate::store::sqlite::SqliteReader;
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

/// Keeps registers up to date without reading them for every line.
pub struct RegisterWatch {
    reader: SqliteReader,
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
    pub fn new(reader: SqliteReader) -> Self {
        let (cost, current) = (Duration::ZERO, Arc::default());
        RegisterWatch { reader, seen: None, read_at: Instant::now(), cost, current }
    }

    /// The registers, at most some milliseconds old.
    pub fn current(&mut self) -> Result<Arc<Registers>> {
        let counter = self.reader.change_counter()?;
        let spared = self.seen.is_some() && self.read_at.elapsed() < self.cost * SPARED;
        if self.seen != Some(counter) && !spared {
            let began = Instant::now();
            let now = Registers::read(&self.reader)?;
            if now != *self.current {
                self.current = Arc::new(now);
            }
            (self.seen, self.read_at, self.cost) = (Some(counter), began, began.elapsed());
        }
        Ok(Arc::clone(&self.current))
    }
}
