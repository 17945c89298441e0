//! A whole import by the real binary beside `sqlite3 .import` of the same file into the same key.
//!
//! `cargo bench --bench import -- [ROWS] [ROUNDS]`; 3 million rows in 3 rounds unless told. It needs
//! the `sqlite3` shell for the comparison (Debian: `sqlite3`) and prints medians and the ratio of
//! each round; nothing is asserted.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

use std::fs;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

const ASSETS: u64 = 10_000;

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

/// Readings in the order of time: 30,000 series, 23 % over-range, 0.2 % under-range; invented.
fn write_file(path: &Path, rows: u64) {
    let mut out = BufWriter::new(fs::File::create(path).expect("the file"));
    writeln!(out, "taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,temperature_c,tester")
        .expect("a write");
    let mut state = 1u64;
    for i in 0..rows {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let dice = state >> 33;
        let (asset, phase) = (i / 3 % ASSETS, ["U", "V", "W"][(i % 3) as usize]);
        let second = i * 31;
        let (days, rest) = (second / 86_400, second % 86_400);
        let (year, day) = (2023 + days / 336, days % 336);
        let (bound, ohms) = match dice % 1_000 {
            0..=229 => (">", 550_000_000),
            230..=231 => ("<", 10_000),
            _ => ("=", 5_000_000 + dice % 545_000_000),
        };
        writeln!(
            out,
            "{year}-{:02}-{:02}T{:02}:{:02}:{:02}Z,YT-{asset:05}/drive,{phase},{ohms},{bound},500,{}.{},HT-{}",
            1 + day / 28,
            1 + day % 28,
            rest / 3_600,
            rest / 60 % 60,
            rest % 60,
            10 + dice % 20,
            dice % 10,
            asset % 40
        )
        .expect("a write");
    }
    out.flush().expect("a write");
}

/// Seconds and peak memory in kB of a command, by the system's own accounting.
fn timed(command: &mut Command) -> (f64, f64) {
    let begin = Instant::now();
    let child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the binary");
    let status = format!("/proc/{}/status", child.id());
    let mut child = child;
    let mut peak = 0.0f64;
    while child.try_wait().expect("the child").is_none() {
        if let Ok(text) = fs::read_to_string(&status) {
            let kb = text.lines().find_map(|l| l.strip_prefix("VmHWM:"));
            let kb = kb.and_then(|l| l.trim().trim_end_matches(" kB").parse().ok());
            peak = peak.max(kb.unwrap_or(0.0));
        }
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    (begin.elapsed().as_secs_f64(), peak)
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

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
