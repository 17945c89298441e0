//! A bench tester of the invented quay: replies over a pseudo-terminal, as a serial adapter would.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::PathBuf;
use std::thread::JoinHandle;
use std::time::Duration;

use rustix::io::ioctl_fionbio;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use crate::cli::Failure;
use crate::cli::place::{Place, shown};
use crate::sources::Stop;

/// A winding that is as it should be (invented).
pub(super) const GOOD: &str = "bench/stator-1";

/// A winding faulted on purpose, for training (invented).
pub(super) const FAULTED: &str = "bench/stator-2";

/// Seconds of applied voltage at which the tester replies during a test.
const REPLIES: [f64; 12] = [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0];

/// Tests sent at once at the beginning: the second is the retest of the first.
pub(super) const TESTS: usize = 2;

/// Lines of those tests.
pub(super) const LINES: usize = TESTS * REPLIES.len();

/// Pause before the first line: what comes just after a port was opened may be the rest of one.
const SETTLE: Duration = Duration::from_millis(400);

/// Time between later tests.
const REST: Duration = Duration::from_secs(60);

/// A tester and the line it streams on.
pub(super) struct Instrument {
    /// Its station.
    pub(super) name: &'static str,
    /// What lies on its bench.
    pub(super) asset: &'static str,
    /// The name of the line, which stays.
    pub(super) port: PathBuf,
    line: File,
    /// Ohms after so many seconds of applied voltage.
    ohms: fn(f64) -> f64,
}

/// A tester that is streaming; it stops when this is dropped.
pub(super) struct Streaming {
    stop: Stop,
    thread: Option<JoinHandle<()>>,
}

impl Instrument {
    /// Dry and sound: the resistance rises while the insulation polarizes.
    pub(super) fn good(place: &Place) -> Result<Self, Failure> {
        Self::new(place, "bench-1", GOOD, |seconds| 0.9e9 * (seconds / 5.0).powf(0.35))
    }

    /// A path along the surface: low, and it does not rise.
    pub(super) fn faulted(place: &Place) -> Result<Self, Failure> {
        Self::new(place, "bench-2", FAULTED, |seconds| 1.1e6 + seconds * 400.0)
    }

    fn new(
        place: &Place,
        name: &'static str,
        asset: &'static str,
        ohms: fn(f64) -> f64,
    ) -> Result<Self, Failure> {
        let failed = |e: std::io::Error| Failure::Failed(format!("a pseudo-terminal: {e}"));
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let line = openpt(flags).map_err(|e| failed(e.into()))?;
        grantpt(&line).map_err(|e| failed(e.into()))?;
        unlockpt(&line).map_err(|e| failed(e.into()))?;
        ioctl_fionbio(&line, true).map_err(|e| failed(e.into()))?;
        let terminal = ptsname(&line, Vec::new()).map_err(|e| failed(e.into()))?;
        let port = place.dir.join(format!("{name}.port"));
        std::os::unix::fs::symlink(terminal.to_string_lossy().as_ref(), &port)
            .map_err(|e| Failure::Failed(format!("cannot make `{}`: {e}", shown(&port))))?;
        Ok(Instrument { name, asset, port, line: File::from(line), ohms })
    }

    /// Streams test after test.
    pub(super) fn stream(self) -> Streaming {
        let stop = Stop::default();
        let stopped = stop.clone();
        let thread = std::thread::spawn(move || self.run(&stopped));
        Streaming { stop, thread: Some(thread) }
    }

    fn run(mut self, stop: &Stop) {
        if stop.wait(SETTLE) {
            return;
        }
        let mut tests = 0;
        loop {
            let quick = tests < TESTS;
            let pace = Duration::from_millis(if quick { 20 } else { 1_000 });
            for seconds in REPLIES {
                // Ohms, volts and seconds, as the profile `quay-scpi` reads them.
                let reply = format!("{:.4E},{:.1},{seconds}\r\n", (self.ohms)(seconds), 501.5);
                if !self.send(reply.as_bytes(), stop) || stop.wait(pace) {
                    return;
                }
            }
            tests += 1;
            if tests >= TESTS && stop.wait(REST) {
                return;
            }
        }
    }

    /// Sends all of it; false when it is to stop.
    fn send(&mut self, mut bytes: &[u8], stop: &Stop) -> bool {
        while !bytes.is_empty() {
            match self.line.write(bytes) {
                Ok(sent) => bytes = &bytes[sent..],
                Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => {
                    if stop.wait(Duration::from_millis(20)) {
                        return false;
                    }
                }
                Err(_) => return false,
            }
        }
        true
    }
}

impl Drop for Streaming {
    fn drop(&mut self) {
        self.stop.set();
        if let Some(thread) = self.thread.take() {
            // A tester that failed has nothing more to say.
            thread.join().unwrap_or_default();
        }
    }
}
