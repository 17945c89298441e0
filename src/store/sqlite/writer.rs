//! The writer on the caller's thread.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, SyncSender, TryRecvError};
use std::thread;

use rusqlite::{Connection, TransactionBehavior};

use super::delivery::{Delivery, Outcome, forget_claims};
use super::feed::{RunWriter, feed};
use super::handle::{self, WriterHandle, WriterThread};
use super::names::Names;
use super::packer::{PART_BYTES, Packer};
use super::receive::store_run;
use super::registers::{self, findings};
use super::run::{Part, Run};
use super::{backup, open, outbox, rejects};
use crate::model::{Asset, AssetId, Finding, ReadingId, Stamp};
use crate::store::{
    Change, Message, Parcel, PendingMark, Receipt, Result, Source, StoreError, Turn, Writer,
};

/// The one connection that writes, with the names it has met.
#[derive(Debug)]
pub(super) struct Core {
    pub(super) db: Connection,
    pub(super) names: Names,
}

impl Core {
    pub(super) fn open(data: &Path) -> Result<Self> {
        Ok(Core { db: open::writable(data)?, names: Names::default() })
    }

    /// One transaction: all of `work` or nothing.
    pub(super) fn transaction<T>(
        &mut self,
        work: impl FnOnce(&Connection, &mut Names) -> Result<T>,
    ) -> Result<T> {
        let done = (|| {
            let transaction = self.db.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let done = work(&transaction, &mut self.names)?;
            transaction.commit()?;
            Ok(done)
        })();
        if done.is_err() {
            self.names.forget();
        }
        done
    }

    fn run(&mut self, delivery: &mut Delivery, run: &Run) -> Result<()> {
        let outcome: Outcome = self.transaction(|db, names| store_run(db, names, delivery, run))?;
        delivery.add(outcome);
        Ok(())
    }

    fn end(&mut self, delivery: Delivery) -> Result<Receipt> {
        if let Some(number) = delivery.claims() {
            forget_claims(&self.db, number)?;
        }
        Ok(delivery.into_receipt())
    }
}

/// The way to a thread that writes the runs of one delivery.
struct ToThread {
    runs: SyncSender<Run>,
    written: Receiver<Part>,
    busy: bool,
    spare: Option<Part>,
}

/// The thread has ended; why, it says itself.
fn ended() -> StoreError {
    StoreError::Other("the thread that stores has ended".to_owned())
}

impl RunWriter for ToThread {
    fn is_idle(&mut self) -> Result<bool> {
        if self.busy {
            match self.written.try_recv() {
                Ok(part) => self.spare = Some(part),
                Err(TryRecvError::Empty) => return Ok(false),
                Err(TryRecvError::Disconnected) => return Err(ended()),
            }
            self.busy = false;
        }
        Ok(true)
    }

    fn hand_over(&mut self, run: Run) -> Result<()> {
        if self.busy {
            self.spare = Some(self.written.recv().map_err(|_| ended())?);
        }
        self.busy = true;
        self.runs.send(run).map_err(|_| ended())
    }

    fn spare(&mut self) -> Option<Part> {
        self.spare.take()
    }
}

/// A writer that works on the caller's thread. Other processes may write beside it.
#[derive(Debug)]
pub struct SqliteWriter {
    pub(super) core: Core,
    pub(super) data: PathBuf,
    pub(super) part_bytes: usize,
}

impl SqliteWriter {
    pub(super) fn open(data: &Path) -> Result<Self> {
        let core = Core::open(data)?;
        Ok(SqliteWriter { core, data: data.to_owned(), part_bytes: PART_BYTES })
    }

    /// Moves to a thread of its own, for many callers with group commit. The thread ends when the
    /// last handle is dropped.
    pub fn on_a_thread(self) -> Result<(WriterHandle, WriterThread)> {
        handle::start(self)
    }

    /// Writes or spools a delivery whenever about this many bytes are packed; for tests of what
    /// happens between two transactions of one delivery.
    pub fn with_part_bytes(mut self, bytes: usize) -> Self {
        self.part_bytes = bytes;
        self
    }
}

impl Writer for SqliteWriter {
    fn receive_kept(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
        kept: &mut dyn FnMut() -> Result<()>,
    ) -> Result<Receipt> {
        let mut packer = Packer::new(&self.data, self.part_bytes);
        let core = &mut self.core;
        let mut delivery = Delivery::new(now, source);
        let more = packer.fill(parcels)?;
        kept()?;
        if !more {
            let run = packer.take(first_met);
            if !run.is_empty() {
                core.run(&mut delivery, &run)?;
            }
            return core.end(delivery);
        }
        // A large delivery: the next run is packed here while the last one is written there.
        thread::scope(|scope| {
            let (runs, incoming) = mpsc::sync_channel::<Run>(1);
            let (done, written) = mpsc::channel();
            let write = move || -> Result<Receipt> {
                for run in incoming {
                    core.run(&mut delivery, &run)?;
                    // Nobody may be left to use the buffers again.
                    drop(done.send(run.part));
                }
                core.end(delivery)
            };
            let writing = thread::Builder::new()
                .name("store-runs".to_owned())
                .spawn_scoped(scope, write)
                .map_err(|e| StoreError::Other(format!("cannot start a thread: {e}")))?;
            let mut to = ToThread { runs, written, busy: false, spare: None };
            let fed = feed(packer, more, first_met, parcels, &mut to);
            drop(to);
            let receipt = writing.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            receipt.and_then(|receipt| fed.map(|()| receipt))
        })
    }

    fn record(&mut self, now: Stamp, by: &str, changes: &[Change]) -> Result<u64> {
        self.core.transaction(|db, names| registers::record(db, names, now, by, changes))
    }

    fn settle_rejects(&mut self, numbers: &[u64], batch: u64) -> Result<()> {
        self.core.transaction(|db, _| rejects::settle(db, numbers, batch))
    }

    fn settle(
        &mut self,
        now: Stamp,
        asset: &AssetId,
        seen: PendingMark,
        episodes: &[Finding],
    ) -> Result<()> {
        self.core.transaction(|db, names| findings::settle(db, names, now, asset, seen, episodes))
    }

    fn post(&mut self, now: Stamp, messages: &[Message]) -> Result<u64> {
        self.core.transaction(|db, _| outbox::post(db, now, messages))
    }

    fn turn(&mut self, now: Stamp, number: u64, turn: &Turn) -> Result<()> {
        self.core.transaction(|db, _| outbox::turn(db, now, number, turn))
    }

    fn thin(&mut self, readings: &[ReadingId]) -> Result<u64> {
        self.core.transaction(|db, _| super::readings::thin(db, readings))
    }

    fn backup(&mut self, path: &Path) -> Result<()> {
        backup::copy(&self.data, path)
    }
}
