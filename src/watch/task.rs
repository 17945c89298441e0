//! The daemon's side of the watch: assesses whatever changed, soon after it changed, for as long as
//! it is not stopped.

use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, RwLock};
use std::time::{Duration, Instant};

use super::{Backlog, Onlooker, Seen, calendar, drain, thin};
use crate::clock::Clock;
use crate::dossier::{DossierError, Settings};
use crate::sources::{Health, Stop};
use crate::store::Writer;
use crate::store::sqlite::{SqliteReader, SqliteStore};

/// How often the store is asked whether another process changed it.
const LOOK: Duration = Duration::from_millis(250);

/// Shortest pause between two rounds; beyond it the watch rests as long as it worked, so that the
/// intake always has half of the machine.
const REST: Duration = Duration::from_millis(10);

/// Wait after a failure.
const AGAIN: Duration = Duration::from_secs(1);

/// Tells another part that there is something to do; never waits, cheap to clone.
#[derive(Clone, Debug)]
pub struct Wake(SyncSender<()>);

impl Wake {
    /// There is something to do.
    pub fn wake(&self) {
        match self.0.try_send(()) {
            // A full queue means that it is to come round anyhow.
            Ok(()) | Err(TrySendError::Full(()) | TrySendError::Disconnected(())) => {}
        }
    }
}

/// A wake and what it wakes.
pub fn wake() -> (Wake, Receiver<()>) {
    let (sender, receiver) = sync_channel(1);
    (Wake(sender), receiver)
}

/// The loop of the daemon's watch.
pub struct Task<W> {
    /// The store it reads.
    pub store: SqliteStore,
    /// Where findings are written.
    pub writer: W,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// How assets are assessed; may change while it runs.
    pub settings: Arc<RwLock<Settings>>,
    /// When to end.
    pub stop: Stop,
    /// Where it says how it stands.
    pub health: Arc<Health>,
    /// Assets assessed since the start.
    pub assessed: Arc<AtomicU64>,
    /// Where it says how far it is behind.
    pub backlog: Arc<Backlog>,
    /// Who is told what was seen.
    pub onlooker: Arc<dyn Onlooker + Send>,
    /// Told when findings may have changed.
    pub settled: Wake,
}

impl<W: Writer> Task<W> {
    /// Runs until it is stopped. A mark that is not drained then waits in the store.
    pub fn run(&mut self, woken: &Receiver<()>) {
        let mut reader = None;
        let mut seen = None;
        let mut day = None;
        while !self.stop.is_set() {
            self.health.tick();
            let began = Instant::now();
            let rest = match self.round(&mut reader, &mut seen, &mut day) {
                Ok(()) => {
                    if self.health.troubled(None) {
                        tracing::info!("assets are assessed again");
                    }
                    began.elapsed().max(REST)
                }
                Err(e) => {
                    (reader, seen) = (None, None);
                    if self.health.troubled(Some(e.to_string())) {
                        tracing::error!("assets cannot be assessed: {e}; trying again");
                    }
                    AGAIN
                }
            };
            if self.stop.wait(rest) {
                return;
            }
            if let Err(RecvTimeoutError::Disconnected) = woken.recv_timeout(LOOK) {
                self.stop.wait(LOOK);
            }
        }
    }

    /// Drains what is pending, if anything was committed since the last round, and once a day
    /// looks for what was not tested in time, and thins out where it was asked to.
    fn round(
        &mut self,
        reader: &mut Option<SqliteReader>,
        seen: &mut Option<i64>,
        day: &mut Option<i64>,
    ) -> Result<(), DossierError> {
        let reader = match reader {
            Some(reader) => reader,
            none => none.insert(self.store.reader()?),
        };
        let counter = reader.change_counter()?;
        let now = self.clock.now();
        let is_new_day = *day != Some(now.utc_day());
        if *seen == Some(counter) && !is_new_day {
            return Ok(());
        }
        let settings = match self.settings.read() {
            Ok(settings) => settings.clone(),
            Err(poisoned) => poisoned.into_inner().clone(),
        };
        let store = self.store.clone();
        let beside = Beside {
            health: Arc::clone(&self.health),
            backlog: Arc::clone(&self.backlog),
            onlooker: Arc::clone(&self.onlooker),
        };
        let done = drain(&|| store.reader(), &mut self.writer, now, &settings, &beside)?;
        self.assessed.fetch_add(done as u64, Relaxed);
        let mut late = 0;
        if is_new_day {
            late = calendar(&|| store.reader(), &mut self.writer, now, &settings, &beside)?;
            let told = |_, _| self.health.tick();
            thin(&store.reader()?, Some(&mut self.writer), now, &settings, &told)?;
            *day = Some(now.utc_day());
        }
        if done + late > 0 {
            self.settled.wake();
        }
        // Taken before the drain: what was committed meanwhile moves the counter once more.
        *seen = Some(counter);
        Ok(())
    }
}

/// Looks on for the daemon: a long round shows that it moves, and how much is left.
struct Beside {
    health: Arc<Health>,
    backlog: Arc<Backlog>,
    onlooker: Arc<dyn Onlooker + Send>,
}

impl Onlooker for Beside {
    fn progress(&self, done: usize, of: usize) {
        self.health.tick();
        self.backlog.is(of - done);
    }

    fn settled(&self, seen: &Seen) {
        self.onlooker.settled(seen);
    }
}
