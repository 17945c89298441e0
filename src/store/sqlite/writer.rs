//! The writer on the caller's thread.

use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread;

use rusqlite::{Connection, TransactionBehavior};

use super::delivery::{Delivery, Outcome, forget_claims};
use super::handle::{self, WriterHandle, WriterThread};
use super::names::Names;
use super::receive::store_run;
use super::registers::{self, findings};
use super::run::{Packer, RUN_BYTES, Run};
use super::{backup, open, rejects};
use crate::model::{Asset, AssetId, Finding, Stamp};
use crate::store::{Change, Parcel, PendingMark, Receipt, Result, Source, StoreError, Writer};

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

/// Packs parcels until a run is full; false when there are no more.
pub(super) fn fill(
    packer: &mut Packer,
    parcels: &mut dyn Iterator<Item = Parcel>,
    most: usize,
) -> Result<bool> {
    while packer.bytes() < most {
        match parcels.next() {
            Some(parcel) => packer.push(parcel)?,
            None => return Ok(false),
        }
    }
    Ok(true)
}

/// A writer that works on the caller's thread. Other processes may write beside it.
#[derive(Debug)]
pub struct SqliteWriter {
    pub(super) core: Core,
    pub(super) data: PathBuf,
    pub(super) run_bytes: usize,
}

impl SqliteWriter {
    pub(super) fn open(data: &Path) -> Result<Self> {
        let core = Core::open(data)?;
        Ok(SqliteWriter { core, data: data.to_owned(), run_bytes: RUN_BYTES })
    }

    /// Moves to a thread of its own, for many callers with group commit. The thread ends when the
    /// last handle is dropped.
    pub fn on_a_thread(self) -> Result<(WriterHandle, WriterThread)> {
        handle::start(self)
    }

    /// Commits large deliveries in runs of about this many bytes; for tests of what happens
    /// between two of them.
    pub fn with_run_bytes(mut self, bytes: usize) -> Self {
        self.run_bytes = bytes;
        self
    }
}

impl Writer for SqliteWriter {
    fn receive(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
    ) -> Result<Receipt> {
        let run_bytes = self.run_bytes;
        let mut packer = Packer::default();
        let core = &mut self.core;
        let mut delivery = Delivery::new(now, source);
        let mut more = fill(&mut packer, parcels, run_bytes)?;
        let run = packer.take(first_met);
        if !more {
            if !run.is_empty() {
                core.run(&mut delivery, &run)?;
            }
            return core.end(delivery);
        }
        // A large delivery: the next run is packed here while the last one is written there.
        thread::scope(|scope| {
            let (runs, incoming) = mpsc::sync_channel::<Run>(0);
            let (spares, spare) = mpsc::channel::<Run>();
            let write = move || -> Result<Receipt> {
                for run in incoming {
                    core.run(&mut delivery, &run)?;
                    // Nobody may be left to use the buffers again.
                    drop(spares.send(run));
                }
                core.end(delivery)
            };
            let writing = thread::Builder::new()
                .name("store-runs".to_owned())
                .spawn_scoped(scope, write)
                .map_err(|e| StoreError::Other(format!("cannot start a thread: {e}")))?;
            let mut packed = Ok(());
            let mut next = run;
            while runs.send(next).is_ok() && more {
                // The writer took that run, so it is done with the one before.
                if let Ok(done) = spare.try_recv() {
                    packer.reuse(done);
                }
                let filled = fill(&mut packer, parcels, run_bytes);
                more = matches!(filled, Ok(true));
                packed = filled.map(drop);
                if packed.is_err() {
                    break;
                }
                next = packer.take(first_met);
                if next.is_empty() {
                    break;
                }
            }
            drop(runs);
            let receipt = writing.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic));
            packed.and(receipt)
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

    fn backup(&mut self, path: &Path) -> Result<()> {
        backup::copy(&self.data, path)
    }
}
