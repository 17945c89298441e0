//! A whole import by the real binary beside `sqlite3 .import` of the same file into the same key.
//!
//! `cargo bench --bench import -- [ROWS] [ROUNDS]`; 3 million rows in 3 rounds unless told. It needs
//! the `sqlite3` shell for the comparison (Debian: `sqlite3`) and prints medians and the ratio of
//! each round; nothing is asserted.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

mod common;

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use common::{median, timed, write_file};

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let rows: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(3_000_000);
    let rounds: usize = args.next().and_then(|a| a.parse().ok()).unwrap_or(3);
    let dir = tempfile::tempdir().expect("a temporary folder");
    let file = dir.path().join("readings.csv");
    write_file(&file, rows);
    let bytes = fs::metadata(&file).expect("the file just written").len();
    println!("{rows} rows, {} MB, {} B a row", bytes / 1_000_000, bytes / rows);
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for round in 0..rounds {
        let data = dir.path().join(format!("data-{round}"));
        let (seconds, peak) = timed(
            Command::new(env!("CARGO_BIN_EXE_ohmward"))
                .arg("--data")
                .arg(&data)
                .arg("import")
                .arg(&file),
        );
        let store = fs::metadata(data.join("ohmward.db")).map(|m| m.len()).unwrap_or(0);
        println!(
            "ohmward  {seconds:7.2} s  {:9.0} rows/s  peak {:4.0} MB  {:5.1} B/row in the store",
            rows as f64 / seconds,
            peak / 1e3,
            store as f64 / rows as f64
        );
        ours.push(seconds);
        fs::remove_dir_all(&data).expect("the data folder");
        if let Some(seconds) = sqlite(dir.path(), &file) {
            println!("sqlite3  {seconds:7.2} s  {:9.0} rows/s", rows as f64 / seconds);
            println!("ratio    {:7.2}", seconds / ours[round]);
            theirs.push(seconds);
        }
    }
    println!("median   {:7.2} s, {:.0} rows/s", median(&mut ours), rows as f64 / median(&mut ours));
    if !theirs.is_empty() {
        println!("median ratio {:.2}", median(&mut theirs) / median(&mut ours));
    }
}

/// The bare shell, with the key that ours has: series and time.
fn sqlite(dir: &Path, file: &Path) -> Option<f64> {
    let db = dir.join("bare.db");
    let script = format!(
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;\n\
         CREATE TABLE r (taken_at TEXT, asset TEXT, phase TEXT, ohms REAL, bound TEXT, volts REAL, \
         temperature REAL, tester TEXT, PRIMARY KEY (asset, phase, taken_at)) WITHOUT ROWID;\n\
         .mode csv\n.import --skip 1 {} r\n",
        file.display()
    );
    let begin = Instant::now();
    let mut child = Command::new("sqlite3")
        .arg(&db)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    child.stdin.take()?.write_all(script.as_bytes()).ok()?;
    child.wait().ok()?;
    let seconds = begin.elapsed().as_secs_f64();
    for name in ["bare.db", "bare.db-wal", "bare.db-shm"] {
        fs::remove_file(dir.join(name)).ok();
    }
    Some(seconds)
}
