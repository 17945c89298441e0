//! The writer on a thread of its own: many callers, one connection, group commit.
//!
//! Callers pack their deliveries themselves and hand over runs; the thread commits what waits in
//! one transaction, each job in a savepoint, and answers after the commit. A large delivery is
//! many jobs, so others get their turn between its runs.

use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, SyncSender, TryRecvError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use rusqlite::Connection;

use super::delivery::{Delivery, Outcome, forget_claims};
use super::feed::{RunWriter, feed};
use super::names::Names;
use super::packer::Packer;
use super::receive::store_run;
use super::registers::{self, findings};
use super::run::{Part, Run};
use super::writer::{Core, SqliteWriter};
use super::{backup, outbox, readings, rejects};
use crate::model::{Asset, AssetId, Finding, ReadingId, Stamp};
use crate::store::{
    Change, Message, Parcel, PendingMark, Receipt, Result, Source, StoreError, Turn, Writer,
};

/// Jobs that wait to be taken; when full, callers wait: sources are slowed, nothing is lost.
const QUEUE: usize = 256;

/// Jobs of one transaction: more would make the first of them wait.
const GROUP: usize = 128;

/// Rows from which a run has a transaction of its own.
const LARGE: usize = 10_000;

/// How long nothing has to come for a moment to be idle.
const IDLE: Duration = Duration::from_millis(200);

/// What is to be done; whole until the answer, so that it can be tried again.
enum Work {
    Run(Box<Delivery>, Box<Run>),
    Forget(i64),
    Record { now: Stamp, by: String, changes: Vec<Change> },
    SettleRejects { numbers: Vec<u64>, batch: u64 },
    Settle { now: Stamp, asset: AssetId, seen: PendingMark, episodes: Vec<Finding> },
    Thin(Vec<ReadingId>),
    Post { now: Stamp, messages: Vec<Message> },
    Turn { now: Stamp, number: u64, turn: Turn },
}

/// What came of it.
enum Done {
    Run(Outcome),
    New(u64),
    Nothing,
}

impl Work {
    fn is_large(&self) -> bool {
        matches!(self, Work::Run(_, run) if run.part.rows.len() >= LARGE || run.spool.is_some())
    }

    fn run(&self, db: &Connection, names: &mut Names) -> Result<Done> {
        match self {
            Work::Run(delivery, run) => store_run(db, names, delivery, run).map(Done::Run),
            Work::Forget(delivery) => forget_claims(db, *delivery).map(|()| Done::Nothing),
            Work::Record { now, by, changes } => {
                registers::record(db, names, *now, by, changes).map(Done::New)
            }
            Work::SettleRejects { numbers, batch } => {
                rejects::settle(db, numbers, *batch).map(|()| Done::Nothing)
            }
            Work::Settle { now, asset, seen, episodes } => {
                findings::settle(db, names, *now, asset, *seen, episodes).map(|()| Done::Nothing)
            }
            Work::Thin(ids) => readings::thin(db, ids).map(Done::New),
            Work::Post { now, messages } => outbox::post(db, *now, messages).map(Done::New),
            Work::Turn { now, number, turn } => {
                outbox::turn(db, *now, *number, turn).map(|()| Done::Nothing)
            }
        }
    }
}

/// Work with the way back to who waits for it.
struct Job {
    work: Work,
    answer: SyncSender<(Work, Result<Done>)>,
}

impl Job {
    /// The caller may have gone away; what was done stays done.
    fn answer(self, done: Result<Done>) {
        drop(self.answer.send((self.work, done)));
    }
}

impl Core {
    /// Commits jobs together; one that fails is taken back alone.
    fn group(&mut self, jobs: Vec<Job>) {
        match self.together(&jobs) {
            Ok(done) => jobs.into_iter().zip(done).for_each(|(job, done)| job.answer(done)),
            // Somebody else holds the store: each for itself would only wait once more for each.
            Err(StoreError::Busy) => {
                jobs.into_iter().for_each(|job| job.answer(Err(StoreError::Busy)));
            }
            // The whole transaction was lost, as with a full disk: each job for itself.
            Err(_) if jobs.len() > 1 => {
                for job in jobs {
                    let done = self.transaction(|db, names| job.work.run(db, names));
                    job.answer(done);
                }
            }
            Err(error) => jobs.into_iter().for_each(|job| job.answer(Err(error.clone()))),
        }
    }

    fn together(&mut self, jobs: &[Job]) -> Result<Vec<Result<Done>>> {
        if let [job] = jobs {
            return Ok(vec![self.transaction(|db, names| job.work.run(db, names))]);
        }
        self.transaction(|db, names| {
            let mut all = Vec::with_capacity(jobs.len());
            for job in jobs {
                db.execute_batch("SAVEPOINT job")?;
                let done = job.work.run(db, names);
                if let Err(error) = &done {
                    if db.is_autocommit() {
                        return Err(error.clone());
                    }
                    db.execute_batch("ROLLBACK TO job")?;
                    names.forget();
                }
                db.execute_batch("RELEASE job")?;
                all.push(done);
            }
            Ok(all)
        })
    }

    /// Serves jobs until every handle is gone.
    fn serve(&mut self, jobs: &Receiver<Job>) {
        let mut unmoved = false;
        let mut held_back = None;
        loop {
            let wait = if unmoved { IDLE } else { Duration::MAX };
            let first = match held_back.take() {
                Some(job) => Ok(job),
                None => jobs.recv_timeout(wait),
            };
            let mut group = match first {
                Ok(first) => vec![first],
                Err(RecvTimeoutError::Timeout) => {
                    self.move_log();
                    unmoved = false;
                    continue;
                }
                Err(RecvTimeoutError::Disconnected) => break,
            };
            while group.len() < GROUP && !group.iter().any(|job| job.work.is_large()) {
                match jobs.try_recv() {
                    Ok(job) if job.work.is_large() => {
                        held_back = Some(job);
                        break;
                    }
                    Ok(job) => group.push(job),
                    Err(_) => break,
                }
            }
            self.group(group);
            unmoved = true;
        }
        self.move_log();
    }

    /// Moves the write-ahead log into the table, so that no commit has to. Failing is no loss: the
    /// next time will do.
    fn move_log(&self) {
        if let Err(error) = self.db.pragma_query(None, "wal_checkpoint", |_| Ok(())) {
            tracing::debug!(%error, "the write-ahead log stays for now");
        }
    }
}

pub(super) fn start(writer: SqliteWriter) -> Result<(WriterHandle, WriterThread)> {
    let SqliteWriter { mut core, data, part_bytes } = writer;
    let (jobs, incoming) = mpsc::sync_channel(QUEUE);
    let thread = thread::Builder::new()
        .name("store-writer".to_owned())
        .spawn(move || core.serve(&incoming))
        .map_err(|e| StoreError::Other(format!("cannot start the writer's thread: {e}")))?;
    Ok((WriterHandle { jobs, data, part_bytes }, WriterThread { thread }))
}

/// The thread behind all handles of a writer.
#[derive(Debug)]
pub struct WriterThread {
    thread: JoinHandle<()>,
}

impl WriterThread {
    /// Whether it has ended, which before all handles are dropped it never should.
    pub fn has_ended(&self) -> bool {
        self.thread.is_finished()
    }

    /// Waits until every handle is dropped and all is written.
    pub fn join(self) -> Result<()> {
        self.thread.join().map_err(|_| gone())
    }
}

/// A way to the writer's thread. Clones share it; each call returns when its work is durable.
#[derive(Clone, Debug)]
pub struct WriterHandle {
    jobs: SyncSender<Job>,
    data: PathBuf,
    part_bytes: usize,
}

fn gone() -> StoreError {
    StoreError::Other("the writer's thread has ended (restart the program)".to_owned())
}

/// An answer on its way.
struct Expected(Receiver<(Work, Result<Done>)>);

impl Expected {
    fn wait(&self) -> Result<(Work, Done)> {
        let (work, done) = self.0.recv().map_err(|_| gone())?;
        Ok((work, done?))
    }
}

/// One delivery on its way through the writer's thread, run by run.
struct Runs<'a> {
    handle: &'a WriterHandle,
    /// Here, or with the run that is being written.
    delivery: Option<Box<Delivery>>,
    expected: Option<Expected>,
    spare: Option<Part>,
}

impl Runs<'_> {
    fn written(&mut self, (work, done): (Work, Done)) -> Result<()> {
        let (Work::Run(mut delivery, run), Done::Run(outcome)) = (work, done) else {
            return Err(gone());
        };
        delivery.add(outcome);
        self.delivery = Some(delivery);
        self.spare = Some(run.part);
        Ok(())
    }

    fn wait(&mut self) -> Result<()> {
        match self.expected.take() {
            Some(expected) => self.written(expected.wait()?),
            None => Ok(()),
        }
    }
}

impl RunWriter for Runs<'_> {
    fn is_idle(&mut self) -> Result<bool> {
        match self.expected.as_ref().map(|expected| expected.0.try_recv()) {
            None => Ok(true),
            Some(Err(TryRecvError::Empty)) => Ok(false),
            Some(Err(TryRecvError::Disconnected)) => Err(gone()),
            Some(Ok((work, done))) => {
                self.expected = None;
                self.written((work, done?)).map(|()| true)
            }
        }
    }

    fn hand_over(&mut self, run: Run) -> Result<()> {
        self.wait()?;
        let delivery = self.delivery.take().ok_or_else(gone)?;
        self.expected = Some(self.handle.hand_over(Work::Run(delivery, Box::new(run)))?);
        Ok(())
    }

    fn spare(&mut self) -> Option<Part> {
        self.spare.take()
    }
}

impl WriterHandle {
    /// The same writer for deliveries that come slowly or side by side: it takes runs of this size,
    /// so that a part is stored soon and little is in memory.
    pub fn with_part_bytes(self, bytes: usize) -> Self {
        WriterHandle { part_bytes: bytes, ..self }
    }

    fn hand_over(&self, work: Work) -> Result<Expected> {
        let (answer, expected) = mpsc::sync_channel(1);
        self.jobs.send(Job { work, answer }).map_err(|_| gone())?;
        Ok(Expected(expected))
    }
}

impl Writer for WriterHandle {
    fn receive_kept(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
        kept: &mut dyn FnMut() -> Result<()>,
    ) -> Result<Receipt> {
        let mut packer = Packer::new(&self.data, self.part_bytes);
        let more = packer.fill(parcels)?;
        kept()?;
        let delivery = Some(Box::new(Delivery::new(now, source)));
        let mut runs = Runs { handle: self, delivery, expected: None, spare: None };
        feed(packer, more, first_met, parcels, &mut runs)?;
        runs.wait()?;
        let delivery = runs.delivery.take().ok_or_else(gone)?;
        if let Some(claims) = delivery.claims() {
            self.hand_over(Work::Forget(claims))?.wait()?;
        }
        Ok(delivery.into_receipt())
    }

    fn record(&mut self, now: Stamp, by: &str, changes: &[Change]) -> Result<u64> {
        let (by, changes) = (by.to_owned(), changes.to_vec());
        match self.hand_over(Work::Record { now, by, changes })?.wait()? {
            (_, Done::New(new)) => Ok(new),
            _ => Err(gone()),
        }
    }

    fn settle_rejects(&mut self, numbers: &[u64], batch: u64) -> Result<()> {
        let work = Work::SettleRejects { numbers: numbers.to_vec(), batch };
        self.hand_over(work)?.wait().map(drop)
    }

    fn settle(
        &mut self,
        now: Stamp,
        asset: &AssetId,
        seen: PendingMark,
        episodes: &[Finding],
    ) -> Result<()> {
        let (asset, episodes) = (asset.clone(), episodes.to_vec());
        self.hand_over(Work::Settle { now, asset, seen, episodes })?.wait().map(drop)
    }

    fn post(&mut self, now: Stamp, messages: &[Message]) -> Result<u64> {
        let messages = messages.to_vec();
        match self.hand_over(Work::Post { now, messages })?.wait()? {
            (_, Done::New(new)) => Ok(new),
            _ => Err(gone()),
        }
    }

    fn turn(&mut self, now: Stamp, number: u64, turn: &Turn) -> Result<()> {
        let turn = turn.clone();
        self.hand_over(Work::Turn { now, number, turn })?.wait().map(drop)
    }

    fn thin(&mut self, ids: &[ReadingId]) -> Result<u64> {
        match self.hand_over(Work::Thin(ids.to_vec()))?.wait()? {
            (_, Done::New(count)) => Ok(count),
            _ => Err(gone()),
        }
    }

    fn backup(&mut self, path: &Path) -> Result<()> {
        backup::copy(&self.data, path)
    }
}
