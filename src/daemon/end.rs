//! How the daemon ends: everything in its order, within a bounded time.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use tokio::task::JoinHandle as Task;

use super::DaemonError;
use crate::sources::Stop;
use crate::store::sqlite::WriterThread;

/// Time in which everything that was read is to be stored. systemd waits longer (see the unit).
const TIME: Duration = Duration::from_secs(20);

/// Time in which requests that were begun are to be answered.
const HTTP_TIME: Duration = Duration::from_secs(10);

/// Wait before a part that failed badly is started again.
const AGAIN: Duration = Duration::from_secs(1);

/// A thread and how to end it.
pub(super) struct Thread {
    name: String,
    stop: Stop,
    abandon: Stop,
    handle: JoinHandle<()>,
}

impl Thread {
    /// Starts a thread that ends soon after `stop` is set, and at once after `abandon` is: then
    /// nobody waits for the store any more.
    pub(super) fn start(
        name: &str,
        stop: Stop,
        abandon: Stop,
        work: impl FnOnce() + Send + 'static,
    ) -> std::io::Result<Self> {
        let handle = thread::Builder::new().name(name.to_owned()).spawn(work)?;
        Ok(Thread { name: name.to_owned(), stop, abandon, handle })
    }

    /// Asks it to end.
    pub(super) fn ask(&self) {
        self.stop.set();
    }
}

/// Runs a part again if it panics: a fault in one source ends neither it nor the daemon.
pub(super) fn enduring(name: &str, stop: &Stop, mut work: impl FnMut()) {
    while catch_unwind(AssertUnwindSafe(&mut work)).is_err() {
        tracing::error!("`{name}` failed by a fault of this program and is started again");
        if stop.wait(AGAIN) {
            return;
        }
    }
}

/// Closes the store, once nobody writes any more.
pub(super) fn close(writer: WriterThread) -> Result<(), DaemonError> {
    let until = Instant::now() + Duration::from_secs(2);
    while !writer.has_ended() {
        if Instant::now() > until {
            return Err(DaemonError::NotDrained("the store".to_owned()));
        }
        thread::sleep(Duration::from_millis(5));
    }
    Ok(writer.join()?)
}

/// What is still to end.
pub(super) struct Ending {
    threads: Vec<Thread>,
    until: Instant,
    open: Vec<String>,
    failed: Option<DaemonError>,
}

impl Ending {
    /// The time begins now.
    pub(super) fn new() -> Self {
        let until = Instant::now() + TIME;
        Ending { threads: Vec::new(), until, open: Vec::new(), failed: None }
    }

    /// After a start that failed.
    pub(super) fn failed(error: DaemonError) -> Self {
        Ending { failed: Some(error), ..Ending::new() }
    }

    /// It ends because something went wrong.
    pub(super) fn fail(&mut self, error: DaemonError) {
        self.failed = Some(error);
    }

    /// One more thread; it is asked when those before it have ended.
    pub(super) fn add(&mut self, thread: Thread) {
        self.threads.push(thread);
    }

    /// Waits for the requests that were begun.
    pub(super) async fn http(&mut self, server: Task<std::io::Result<()>>) {
        match tokio::time::timeout(HTTP_TIME, server).await {
            Err(_) => self.open.push("a request".to_owned()),
            Ok(Err(e)) => tracing::error!("HTTP ended badly: {e}"),
            Ok(Ok(Err(e))) => tracing::error!("HTTP ended badly: {e}"),
            Ok(Ok(Ok(()))) => {}
        }
    }

    /// Waits for all, each in its turn.
    pub(super) fn finish(mut self) -> Result<(), DaemonError> {
        for thread in std::mem::take(&mut self.threads) {
            thread.ask();
            if !self.wait(&thread) {
                thread.abandon.set();
                self.until = Instant::now() + Duration::from_secs(1);
                if !self.wait(&thread) {
                    self.open.push(format!("`{}`", thread.name));
                }
            }
        }
        match (self.failed, self.open.is_empty()) {
            (Some(error), _) => Err(error),
            (None, true) => Ok(()),
            (None, false) => Err(DaemonError::NotDrained(self.open.join(", "))),
        }
    }

    fn wait(&self, thread: &Thread) -> bool {
        while !thread.handle.is_finished() {
            if Instant::now() > self.until {
                return false;
            }
            thread::sleep(Duration::from_millis(5));
        }
        true
    }
}
