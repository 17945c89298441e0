//! The real binary serving in a folder of its own, and how it is asked.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::Value;

/// Longest wait for anything: far more than it takes on a busy machine.
pub(crate) const DEADLINE: Duration = Duration::from_secs(60);

/// Waits for a condition; fails with its name when the deadline passes.
pub(crate) fn until<T>(what: &str, mut condition: impl FnMut() -> Option<T>) -> T {
    let end = Instant::now() + DEADLINE;
    loop {
        if let Some(value) = condition() {
            return value;
        }
        assert!(Instant::now() < end, "waited in vain until {what}");
        thread::sleep(Duration::from_millis(10));
    }
}

/// A folder of its own for a test.
pub(crate) struct Place {
    dir: tempfile::TempDir,
}

impl Place {
    pub(crate) fn new() -> Self {
        Place { dir: tempfile::tempdir().unwrap() }
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub(crate) fn config(&self, text: &str) {
        fs::create_dir_all(self.path("data")).unwrap();
        fs::write(self.path("data/config.toml"), text).unwrap();
    }

    /// A command of the real binary on the test's data folder.
    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ohmward"));
        command.arg("--data").arg(self.path("data")).args(args);
        command.env("OHMWARD_BY", "the tests").env_remove("RUST_LOG");
        command
    }

    /// Runs a command to its end; answers its code and standard output.
    pub(crate) fn run(&self, args: &[&str]) -> (i32, String) {
        let out = self.command(args).output().unwrap();
        (out.status.code().unwrap(), String::from_utf8(out.stdout).unwrap())
    }

    /// The canonical export, without its header.
    pub(crate) fn export(&self) -> Vec<String> {
        let (code, out) = self.run(&["export", "-o", "-"]);
        assert_eq!(code, 0);
        out.lines().skip(1).map(str::to_owned).collect()
    }

    pub(crate) fn serve(&self) -> Daemon {
        self.serve_with(|_| ())
    }

    /// Starts the daemon and waits until it listens.
    pub(crate) fn serve_with(&self, set: impl FnOnce(&mut Command)) -> Daemon {
        let mut command = self.command(&["serve", "--listen", "127.0.0.1:0"]);
        set(&mut command);
        Daemon::start(command)
    }
}

/// The daemon running; killed when it is dropped.
pub(crate) struct Daemon {
    child: Child,
    address: SocketAddr,
    log: Arc<Mutex<Vec<String>>>,
}

impl Daemon {
    pub(crate) fn start(mut command: Command) -> Self {
        let mut child = command.stderr(Stdio::piped()).spawn().unwrap();
        let log = Arc::new(Mutex::new(Vec::new()));
        let (lines, stderr) = (Arc::clone(&log), child.stderr.take().unwrap());
        thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                lines.lock().unwrap().push(line);
            }
        });
        let address = until("the daemon listens", || {
            let ended = child.try_wait().unwrap();
            assert!(ended.is_none(), "the daemon ended: {:?}", log.lock().unwrap());
            let log = log.lock().unwrap();
            let line = log.iter().find_map(|line| line.split_once("listening on http"))?;
            Some(line.1.trim_start_matches('s').trim_start_matches("://").trim().parse().unwrap())
        });
        Daemon { child, address, log }
    }

    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What it has logged so far.
    pub(crate) fn log(&self) -> String {
        self.log.lock().unwrap().join("\n")
    }

    pub(crate) fn signal(&self, name: &str) {
        let pid = self.pid().to_string();
        assert!(Command::new("kill").args(["-s", name, &pid]).status().unwrap().success());
    }

    /// `kill -9`.
    pub(crate) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// SIGTERM, and how it ended.
    pub(crate) fn end(mut self) -> ExitStatus {
        self.signal("TERM");
        until("the daemon has ended", || self.child.try_wait().unwrap())
    }

    /// A request; the answer's status, headers and body. An error where the daemon is gone.
    pub(crate) fn request(
        &self,
        head: &str,
        body: &[u8],
    ) -> std::io::Result<(u16, String, String)> {
        request(self.address, head, body)
    }

    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    pub(crate) fn get(&self, path: &str) -> Value {
        let (status, _, body) = self.request(&format!("GET {path}"), b"").unwrap();
        assert_eq!(status, 200, "{path}: {body}");
        serde_json::from_str(&body).unwrap()
    }

    /// Sends a body of readings; status and answer.
    pub(crate) fn post(&self, media: &str, body: &str) -> (u16, Value) {
        let head = format!("POST /v1/readings\r\nContent-Type: {media}");
        let (status, _, body) = self.request(&head, body.as_bytes()).unwrap();
        (status, serde_json::from_str(&body).unwrap())
    }

    /// One source as `/healthz` tells it.
    pub(crate) fn source(&self, name: &str) -> Value {
        let health = self.request("GET /healthz", b"").unwrap().2;
        let health: Value = serde_json::from_str(&health).unwrap();
        let mut sources = health["sources"].as_array().unwrap().iter();
        sources.find(|s| s["name"] == name).cloned().unwrap_or(Value::Null)
    }

    /// Waits until a counter of a source has reached a number.
    pub(crate) fn until_count(&self, source: &str, counter: &str, least: u64) {
        until(&format!("`{source}` has {least} {counter}; {}", self.source(source)), || {
            (self.source(source)[counter].as_u64()? >= least).then_some(())
        });
    }

    /// Waits until a source tells a trouble with these words in it.
    pub(crate) fn until_trouble(&self, source: &str, words: &str) {
        until(&format!("`{source}` says `{words}`; {}", self.source(source)), || {
            self.source(source)["trouble"].to_string().contains(words).then_some(())
        });
    }

    /// Seconds of processor time it has used.
    pub(crate) fn cpu_seconds(&self) -> f64 {
        let stat = fs::read_to_string(format!("/proc/{}/stat", self.pid())).unwrap();
        // Behind the name in brackets; user and system time are fields 14 and 15 (proc(5)).
        let fields: Vec<&str> = stat.rsplit_once(") ").unwrap().1.split(' ').collect();
        let ticks: f64 = fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap();
        ticks / 100.0
    }
}

impl Drop for Daemon {
    #[expect(clippy::print_stdout, reason = "what a failed test shows")]
    fn drop(&mut self) {
        // It may have ended by itself.
        self.child.kill().ok();
        self.child.wait().ok();
        if thread::panicking() {
            println!("the daemon's log:\n{}", self.log());
        }
    }
}

/// One request on a connection of its own.
pub(crate) fn request(
    address: SocketAddr,
    head: &str,
    body: &[u8],
) -> std::io::Result<(u16, String, String)> {
    let mut stream = TcpStream::connect(address)?;
    stream.set_read_timeout(Some(DEADLINE))?;
    let (line, headers) = head.split_once("\r\n").unwrap_or((head, ""));
    let rest = if headers.is_empty() { String::new() } else { format!("{headers}\r\n") };
    write!(
        stream,
        "{line} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Length: {}\r\n{rest}\r\n",
        body.len()
    )?;
    // A server that refuses early may close before it has read all.
    let sent = stream.write_all(body);
    let mut answer = String::new();
    let read = stream.read_to_string(&mut answer);
    let Some((head, body)) = answer.split_once("\r\n\r\n") else {
        sent?;
        read?;
        return Err(std::io::ErrorKind::UnexpectedEof.into());
    };
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    Ok((status, head.to_owned(), body.to_owned()))
}

/// Writes a file as a careful program does: under another name, then renamed.
pub(crate) fn drop_file(folder: &Path, name: &str, text: &str) {
    let half = folder.join(format!(".{name}"));
    fs::write(&half, text).unwrap();
    fs::rename(half, folder.join(name)).unwrap();
}
