//! A whole import by the real binary beside `sqlite3 .import` of the same file into the same key.
//!
//! `cargo bench --bench import -- [ROWS] [ROUNDS]`; 3 million rows in 3 rounds unless told. It needs
//! the `sqlite3` shell for the comparison (Debian: `sqlite3`) and prints medians and the ratio of
//! each round; nothing is asserted.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

mod common;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use common::{Took, median, say, timed, write_file};

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let rows: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(3_000_000);
    let rounds: usize = args.next().and_then(|a| a.parse().ok()).unwrap_or(3);
    let dir = tempfile::tempdir().expect("a temporary folder");
    let file = dir.path().join("readings.csv");
    write_file(&file, rows);
    let bytes = fs::metadata(&file).expect("the file just written").len();
    println!("{rows} rows, {} MB, {} B a row", bytes / 1_000_000, bytes / rows);
    let (mut ours, mut ratios, mut work) = (Vec::new(), Vec::new(), Vec::new());
    for round in 0..rounds {
        let data = dir.path().join(format!("data-{round}"));
        let mut import = Command::new(env!("CARGO_BIN_EXE_ohmward"));
        let took = timed(import.arg("--data").arg(&data).arg("import").arg(&file), Stdio::null());
        let took = took.expect("an import that succeeds");
        let store = fs::metadata(data.join("ohmward.db")).map_or(0, |m| m.len());
        say("ohmward", rows, &took);
        println!("{:.1} B/row in the store", store as f64 / rows as f64);
        ours.push(took.seconds);
        fs::remove_dir_all(&data).expect("the data folder");
        if let Some(shell) = sqlite(dir.path(), &file) {
            say("sqlite3", rows, &shell);
            ratios.push(shell.seconds / took.seconds);
            work.push(shell.processor / took.processor);
        }
    }
    let seconds = median(&mut ours);
    println!("median   {seconds:7.2} s, {:.0} rows/s", rows as f64 / seconds);
    if !ratios.is_empty() {
        let (ratio, work) = (median(&mut ratios), median(&mut work));
        println!("median ratio {ratio:.2}, of processor time {work:.2}");
    }
}

/// The bare shell, with the key that ours has: series and time.
fn sqlite(dir: &Path, file: &Path) -> Option<Took> {
    let db = dir.join("bare.db");
    let table = "CREATE TABLE r (taken_at TEXT, asset TEXT, phase TEXT, ohms REAL, bound TEXT, \
        volts REAL, temperature REAL, tester TEXT, PRIMARY KEY (asset, phase, taken_at)) \
        WITHOUT ROWID;";
    let script = ["PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL;", table, ".mode csv"];
    let import = format!(".import --skip 1 {} r", file.display());
    let mut shell = Command::new("sqlite3");
    let took = timed(shell.arg(&db).args(script).arg(import), Stdio::null())?;
    for name in ["bare.db", "bare.db-wal", "bare.db-shm"] {
        fs::remove_file(dir.join(name)).ok();
    }
    Some(took)
}
