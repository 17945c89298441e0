//! Chunks on their way to the intake: held back while it is busy, dropped and counted beyond a limit.

use std::collections::VecDeque;
use std::sync::mpsc::{SyncSender, TrySendError};

use crate::limits;
use crate::sources::{Chunk, Standing};

/// Nobody takes the bytes any more.
#[derive(Debug)]
pub(super) struct Closed;

/// The way out of a port's thread. It never waits: a tester cannot be made to.
pub(super) struct Outbox<'a> {
    queue: SyncSender<Chunk>,
    standing: &'a Standing,
    held: VecDeque<Chunk>,
    held_bytes: usize,
    /// Bytes dropped since the queue last took everything.
    dropping: u64,
}

impl<'a> Outbox<'a> {
    pub(super) fn new(queue: SyncSender<Chunk>, standing: &'a Standing) -> Self {
        Outbox { queue, standing, held: VecDeque::new(), held_bytes: 0, dropping: 0 }
    }

    /// Takes a chunk; what follows a dropped one is a gap that its offset shows.
    pub(super) fn push(&mut self, chunk: Chunk) {
        let name = &self.standing.name;
        let cost = cost(&chunk);
        if self.held_bytes + cost <= limits::SERIAL_HELD_BYTES {
            self.held_bytes += cost;
            self.held.push_back(chunk);
            return;
        }
        if self.dropping == 0 {
            tracing::error!(
                source = %name,
                "the store does not keep up: bytes are being dropped (is its disk slow or full?)"
            );
        }
        self.dropping += chunk.bytes.len() as u64;
        self.standing.tally.dropped_bytes.add(chunk.bytes.len() as u64);
    }

    /// Hands over what the queue takes; says whether that was all.
    pub(super) fn flush(&mut self) -> Result<bool, Closed> {
        while let Some(chunk) = self.held.pop_front() {
            let cost = cost(&chunk);
            match self.queue.try_send(chunk) {
                Ok(()) => self.held_bytes -= cost,
                Err(TrySendError::Full(chunk)) => {
                    self.held.push_front(chunk);
                    return Ok(false);
                }
                Err(TrySendError::Disconnected(_)) => return Err(Closed),
            }
        }
        if self.dropping > 0 {
            let (name, bytes) = (&self.standing.name, self.dropping);
            tracing::error!(source = %name, bytes, "the store keeps up again; bytes were lost");
            self.dropping = 0;
        }
        Ok(true)
    }
}

/// What a held chunk costs: its bytes and what surrounds them.
fn cost(chunk: &Chunk) -> usize {
    chunk.bytes.len() + size_of::<Chunk>()
}
