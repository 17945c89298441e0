//! The daemon of the demo: its configuration, and waiting until it has taken everything in.

use std::fs;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::{Arc, mpsc};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::instrument::{self, Instrument};
use crate::cli::Failure;
use crate::cli::place::{Place, shown};
use crate::clock::WallClock;
use crate::daemon::{DaemonError, LISTEN, Serve};
use crate::model::AssetId;
use crate::sources::Stop;
use crate::store::{Reader, When};

/// Longest wait until everything is in: it takes two or three seconds.
const PATIENCE: Duration = Duration::from_secs(120);

/// Writes the configuration that the demo's daemon is started with; it may be looked at.
pub(super) fn write_config(
    place: &Place,
    exports: &Path,
    instruments: &[Instrument],
) -> Result<PathBuf, Failure> {
    let mut text = format!(
        "# The demo's own configuration (invented stations).\n\n[[source.folder]]\n\
         name = \"exports\"\npath = {:?}\nevery_s = 0.1\nsettle_s = 0.2\n",
        absolute(exports)?
    );
    for instrument in instruments {
        text.push_str(&format!(
            "\n[[source.serial]]\nname = \"{}\"\nport = {:?}\nprofile = \"quay-scpi\"\n\
             tester = \"BT-2\"\nasset = \"{}\"\nphase = \"U\"\n",
            instrument.name,
            absolute(&instrument.port)?,
            instrument.asset
        ));
    }
    let path = place.dir.join("config.toml");
    fs::write(&path, text)
        .map_err(|e| Failure::Failed(format!("cannot write `{}`: {e}", shown(&path))))?;
    Ok(path)
}

fn absolute(path: &Path) -> Result<PathBuf, Failure> {
    Ok(std::path::absolute(path)?)
}

/// The daemon on a thread of this process.
pub(super) struct Serving {
    /// Where it listens.
    pub(super) address: SocketAddr,
    /// Whether it is to end after printing.
    pub(super) once: bool,
    stop: Stop,
    thread: JoinHandle<Result<(), DaemonError>>,
}

impl Serving {
    /// Starts it and waits until it is ready.
    pub(super) fn start(place: &Place, config: PathBuf, once: bool) -> Result<Self, Failure> {
        // Any free port where the usual one is taken: another daemon may be running.
        let usual = !once && TcpListener::bind(LISTEN).is_ok();
        let listen = if usual { LISTEN } else { SocketAddr::new(LISTEN.ip(), 0) };
        let stop = Stop::default();
        let serve = Serve {
            data: place.dir.clone(),
            config: Some(config),
            listen: Some(listen),
            watch: Vec::new(),
            clock: Arc::new(WallClock),
            stop: stop.clone(),
        };
        let (tell, told) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            // Nobody listens any more when the demo has failed.
            serve.run(&mut |address| tell.send(address).unwrap_or_default())
        });
        match told.recv() {
            Ok(address) => Ok(Serving { address, once, stop, thread }),
            Err(_) => {
                ended(thread)?;
                Err(Failure::Failed("the demo's daemon ended by itself".into()))
            }
        }
    }

    /// Waits until all files are put away, all first lines stored, and everything assessed.
    pub(super) fn until_taken_in(&self, place: &Place, exports: &Path) -> Result<(), Failure> {
        let reader = place.reader()?;
        let benches = [AssetId::new(instrument::GOOD)?, AssetId::new(instrument::FAULTED)?];
        let until = Instant::now() + PATIENCE;
        loop {
            let files = fs::read_dir(exports)?
                .filter_map(|entry| entry.ok()?.file_type().ok())
                .filter(|kind| kind.is_file())
                .count();
            let mut lines = 0;
            for bench in &benches {
                lines += reader.readings(bench, When::ALWAYS)?.len();
            }
            let all = lines >= benches.len() * instrument::LINES;
            if files == 0 && all && reader.pending()?.is_empty() {
                return Ok(());
            }
            if Instant::now() > until || self.thread.is_finished() {
                return Err(Failure::Failed(format!(
                    "the demo's daemon did not take everything in: {files} files and {lines} lines \
                     so far (see `http://{}/healthz`)",
                    self.address
                )));
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Ends it.
    pub(super) fn end(self) -> Result<(), Failure> {
        self.stop.set();
        ended(self.thread)
    }

    /// Waits until somebody ends it.
    pub(super) fn until_ended(self) -> Result<(), Failure> {
        ended(self.thread)
    }
}

fn ended(thread: JoinHandle<Result<(), DaemonError>>) -> Result<(), Failure> {
    match thread.join() {
        Ok(done) => Ok(done?),
        Err(panic) => std::panic::resume_unwind(panic),
    }
}
