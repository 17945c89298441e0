//! Reads one connection of a port, from its opening until the port vanishes.

use std::io::Read;
use std::sync::Arc;
use std::time::Instant;

use super::Serial;
use super::outbox::{Closed, Outbox};
use crate::sources::noise::{Listener, Sound};
use crate::sources::{Chunk, Connection};

/// Bytes asked for at once: what a Linux terminal holds.
const READ: usize = 4096;

/// One connection.
pub(super) struct Reader<'a> {
    serial: &'a Serial,
    connection: Arc<Connection>,
    /// Bytes read so far, dropped ones included.
    offset: u64,
    listener: Listener,
    noisy: bool,
}

impl<'a> Reader<'a> {
    pub(super) fn new(serial: &'a Serial, connection: Arc<Connection>) -> Self {
        Reader { serial, connection, offset: 0, listener: Listener::default(), noisy: false }
    }

    /// Reads until the port vanishes, and says why it thinks so; none when it was stopped.
    pub(super) fn run(
        &mut self,
        mut port: impl Read,
        outbox: &mut Outbox<'_>,
    ) -> Result<Option<String>, Closed> {
        use std::io::ErrorKind::{Interrupted, TimedOut};
        let mut buffer = [0; READ];
        // The handle is closed on return: kept open, it would make the adapter come back under a
        // new name.
        let why = loop {
            self.serial.standing.reading.tick();
            if self.serial.stop.is_set() {
                return Ok(None);
            }
            match port.read(&mut buffer) {
                // A terminal that hung up reads as empty for ever.
                Ok(0) => break "it hung up".to_owned(),
                Ok(n) => self.take(&buffer[..n], outbox),
                Err(e) if matches!(e.kind(), TimedOut | Interrupted) => {}
                Err(e) => break e.to_string(),
            }
            outbox.flush()?;
        };
        let port = &self.serial.settings.port;
        Ok(Some(format!("`{port}` vanished: {why} (is the adapter plugged in?)")))
    }

    fn take(&mut self, bytes: &[u8], outbox: &mut Outbox<'_>) {
        let tally = &self.serial.standing.tally;
        tally.bytes.add(bytes.len() as u64);
        self.listen(bytes);
        if self.noisy {
            tally.noise_bytes.add(bytes.len() as u64);
        } else {
            outbox.push(Chunk {
                connection: Arc::clone(&self.connection),
                offset: self.offset,
                bytes: bytes.to_vec(),
                arrived: self.serial.clock.now(),
                read_at: Instant::now(),
            });
        }
        self.offset += bytes.len() as u64;
    }

    /// Says once when the line turns to noise, and once when it is text again.
    fn listen(&mut self, bytes: &[u8]) {
        let Some(sound) = self.listener.hear(bytes) else { return };
        let name = &self.serial.settings.name;
        match self.trouble(sound) {
            None if self.noisy && self.listener.heard_lines() => {
                self.noisy = false;
                self.serial.standing.reading.troubled(None);
                tracing::info!(source = %name, "the line is text again");
            }
            None => {}
            Some(why) => {
                if !self.noisy {
                    tracing::warn!(source = %name, "{why}");
                    self.serial.standing.reading.troubled(Some(why));
                }
                self.noisy = true;
                // What follows is judged by itself, so that the end of the noise is heard soon.
                self.listener.forget();
            }
        }
    }

    /// What is wrong with a line that sounds so, and what to do.
    fn trouble(&self, sound: Sound) -> Option<String> {
        let set = &self.serial.settings;
        match sound {
            Sound::Text => None,
            Sound::Noise { share } => Some(format!(
                "`{}` gives noise: {share} % of the bytes are no text (set `baud`, now {}, and the \
                 framing as the tester's manual says; check cable and ground)",
                set.port, set.baud
            )),
            Sound::Parity { even } => {
                let parity = if even { "even" } else { "odd" };
                Some(format!(
                    "`{}` gives 7 bits with {parity} parity, read as 8 bits (set `data_bits = 7` \
                     and `parity = \"{parity}\"`)",
                    set.port
                ))
            }
        }
    }
}
