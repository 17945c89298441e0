//! A serial port on a thread of its own: read, hand over, and open again when it vanished.

mod outbox;
mod port;
mod reader;

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::SyncSender;
use std::time::{Duration, Instant};

use super::{Chunk, Connection, Standing, Stop};
use crate::clock::Clock;

use outbox::{Closed, Outbox};
pub use port::Settings;
use reader::Reader;

/// First and longest wait before a port is opened again.
const BACKOFF: (Duration, Duration) = (Duration::from_millis(500), Duration::from_secs(30));

/// How often a wait looks whether the port is there again.
const LOOK: Duration = Duration::from_millis(500);

/// A serial port being watched.
pub struct Serial {
    /// How it is set.
    pub settings: Settings,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// When to end.
    pub stop: Stop,
    /// Where it says how it stands.
    pub standing: Arc<Standing>,
    /// Where the bytes go. When it is full they are held back, and dropped beyond a limit: a tester
    /// cannot be made to wait.
    pub queue: SyncSender<Chunk>,
}

impl Serial {
    /// Reads until it is stopped, or until nobody takes the bytes any more.
    pub fn run(&self) {
        let mut outbox = Outbox::new(self.queue.clone(), &self.standing);
        // Closed means that the daemon is ending: there is nobody left to tell.
        if self.watch(&mut outbox).is_err() {
            return;
        }
        // What was read before the stop is still handed over; the daemon bounds the time for it.
        while let Ok(false) = outbox.flush() {
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    fn watch(&self, outbox: &mut Outbox<'_>) -> Result<(), Closed> {
        let name = &self.settings.name;
        let mut backoff = BACKOFF.0;
        while !self.stop.is_set() {
            match port::open(&self.settings) {
                Err(why) => self.trouble(why),
                Ok((port, mismatches)) => {
                    for mismatch in mismatches {
                        tracing::warn!(source = %name, "setting not taken: {mismatch}");
                    }
                    let since = Instant::now();
                    let connection = self.connection();
                    self.standing.reading.troubled(None);
                    tracing::info!(source = %name, port = self.settings.port, "port opened");
                    match Reader::new(self, connection).run(port, outbox)? {
                        None => return Ok(()),
                        Some(why) => self.trouble(why),
                    }
                    if since.elapsed() > backoff {
                        backoff = BACKOFF.0;
                    }
                }
            }
            self.wait(backoff, outbox)?;
            backoff = (backoff * 2).min(BACKOFF.1);
        }
        Ok(())
    }

    fn connection(&self) -> Arc<Connection> {
        self.standing.tally.openings.add(1);
        Arc::new(Connection {
            source: self.settings.name.clone(),
            opened: self.clock.now(),
            since: Instant::now(),
            number: self.standing.tally.openings.get(),
        })
    }

    fn trouble(&self, why: String) {
        if self.standing.reading.troubled(Some(why.clone())) {
            tracing::warn!(source = %self.settings.name, "{why}; trying again");
        }
    }

    /// Waits, but no longer than until a missing port is there again.
    fn wait(&self, time: Duration, outbox: &mut Outbox<'_>) -> Result<(), Closed> {
        let path = Path::new(&self.settings.port);
        let missing = !path.exists();
        let until = Instant::now() + time;
        loop {
            self.standing.reading.tick();
            outbox.flush()?;
            let left = until.saturating_duration_since(Instant::now());
            let back = missing && path.exists();
            if left.is_zero() || back || self.stop.wait(left.min(LOOK)) {
                return Ok(());
            }
        }
    }
}
