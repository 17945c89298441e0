//! Lines of one station into the store, group by group; what the store refuses now is tried again.

use std::sync::Arc;
use std::sync::mpsc::Receiver;
use std::time::Duration;

use crate::intake::{Group, StreamIntake, StreamRule};
use crate::sources::{Chunk, Standing, Stop};
use crate::store::{Receipt, StoreError, Writer};
use crate::web::Shared;

/// Longest wait for bytes: how often a silent station gives a sign of life.
const WAIT: Duration = Duration::from_millis(500);

/// Wait before the store is asked again.
const AGAIN: Duration = Duration::from_millis(500);

/// The intake of one station.
pub(super) struct Lines {
    pub(super) shared: Arc<Shared>,
    pub(super) rule: StreamRule,
    pub(super) standing: Arc<Standing>,
    /// When not to ask the store again any more.
    pub(super) abandon: Stop,
}

impl Lines {
    /// Runs until the port's thread has ended and all of its bytes are stored.
    pub(super) fn run(&mut self, chunks: &Receiver<Chunk>) {
        let mut intake = StreamIntake::new(self.rule.clone(), Arc::clone(&self.standing));
        let mut known = None;
        loop {
            self.standing.intake.tick();
            match self.shared.registers.current() {
                Ok(now) if known.as_ref() != Some(&now) => {
                    intake.know(&now.aliases, &now.gear);
                    known = Some(now);
                }
                Ok(_) => {}
                // Without its aliases a line would be placed wrongly: it waits in the queue.
                Err(e) => {
                    self.trouble(&e);
                    if self.abandon.wait(AGAIN) {
                        return;
                    }
                    continue;
                }
            }
            match intake.next(chunks, WAIT) {
                Err(_) => return,
                Ok(None) => {}
                Ok(Some(group)) => self.store(&group),
            }
        }
    }

    /// Stores a group, however long that takes.
    fn store(&self, group: &Group) {
        let mut writer = self.shared.writer.clone();
        loop {
            let mut parcels = std::iter::once(group.parcel.clone());
            let now = self.shared.clock.now();
            match writer.receive(now, &group.source, &|id| self.rule.class.asset(id), &mut parcels)
            {
                Ok(receipt) => return self.stored(group, &receipt),
                Err(e) => self.trouble(&e),
            }
            self.standing.intake.tick();
            if self.abandon.wait(AGAIN) {
                tracing::error!(
                    source = %self.standing.name,
                    records = group.parcel.entries.len(),
                    "the store did not take the last records before the end: they are lost"
                );
                return;
            }
        }
    }

    fn stored(&self, group: &Group, receipt: &Receipt) {
        group.read_at.iter().for_each(|at| self.standing.delays.add(at.elapsed()));
        if let Some(line) = group.parcel.lines.last() {
            self.standing.came(self.shared.clock.now(), String::from_utf8_lossy(line));
        }
        let r = receipt;
        self.standing.tally.count(r.accepted, r.duplicate, r.tray, r.rejected);
        if self.standing.intake.troubled(None) {
            tracing::info!(source = %self.standing.name, "the store takes lines again");
        }
        self.shared.wake.wake();
    }

    fn trouble(&self, error: &StoreError) {
        if self.standing.intake.troubled(Some(error.to_string())) {
            tracing::error!(
                source = %self.standing.name,
                "lines wait for the store: {error}; trying again"
            );
        }
    }
}
