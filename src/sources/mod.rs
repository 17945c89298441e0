//! Where bytes come from: serial ports, folders, HTTP. A source hands over bytes with their place,
//! knows nothing of what they mean, and never ends the daemon.

pub mod folder;
mod noise;
pub mod serial;
mod standing;
mod stop;

use std::sync::Arc;
use std::time::{Duration, Instant};

use crate::model::{Stamp, Text};

pub use standing::{Count, Delays, Health, Latest, Standing, Tally};
pub use stop::Stop;

/// One uninterrupted connection of a stream: its bytes and lines count from its opening.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Connection {
    /// The source it belongs to.
    pub source: Text,
    /// When it was opened.
    pub opened: Stamp,
    /// The same instant by a clock that is never set.
    pub since: Instant,
    /// Counted from 1 since the daemon started.
    pub number: u64,
}

impl Connection {
    /// A name that no other connection has: the source and when it was opened.
    pub fn name(&self) -> String {
        format!("{} {}.{}", self.source, self.opened, self.number)
    }
}

/// Some bytes of a connection, as they arrived.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chunk {
    /// The connection; a chunk of another one ends it.
    pub connection: Arc<Connection>,
    /// Place of the first byte in the connection. Where it is not the end of the chunk before,
    /// bytes are missing between the two.
    pub offset: u64,
    /// The bytes.
    pub bytes: Vec<u8>,
    /// When they arrived, by the clock on the wall.
    pub arrived: Stamp,
    /// The same instant by a clock that is never set.
    pub read_at: Instant,
}

impl Chunk {
    /// Time since the connection was opened.
    pub fn after(&self) -> Duration {
        self.read_at.saturating_duration_since(self.connection.since)
    }
}
