//! An export of all readings by the real binary beside the `sqlite3` shell writing the same columns of
//! the same rows out of the same store, `.mode csv`.
//!
//! `cargo bench --bench export -- [ROWS] [ROUNDS]`; 3 million rows in 5 rounds unless told. It needs
//! the `sqlite3` shell (Debian: `sqlite3`) and prints medians of the rounds and of their ratios;
//! nothing is asserted. The shell is timed twice: with the cells as they are stored and in the
//! store's own order, which is less than we do, and with our cells in our order.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

mod common;

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use common::{median, timed, write_file};

const TABLES: &str = "FROM reading r JOIN series s ON s.no = r.series JOIN asset a ON a.no = s.asset \
    JOIN tester t ON t.no = r.tester JOIN note n ON n.no = r.note";

const AS_STORED: &str = "SELECT r.taken_at, a.id, s.phase, s.against, s.setup, r.ohms, r.bound, \
    s.volts, r.delivered, r.duration, r.temperature, r.flags, r.humidity, t.id, n.operator, \
    n.station, n.remark";

/// Instants to the second and numbers in thousandths are all that the invented file has.
const AS_WRITTEN: &str = "SELECT strftime('%Y-%m-%dT%H:%M:%SZ', r.taken_at / 1000000, 'unixepoch'), \
    a.id, s.phase, s.against, s.setup, r.ohms, substr('=><', r.bound + 1, 1), nullif(s.volts, -1), \
    r.delivered / 1000.0, nullif(r.duration, -1), r.temperature / 1000.0, \
    CASE r.flags >> 4 & 3 WHEN 1 THEN 'winding' WHEN 2 THEN 'ambient' END, r.humidity / 1000.0, \
    t.id, n.operator, n.station, n.remark";

fn main() {
    let mut args = std::env::args().skip(1).filter(|a| !a.starts_with("--"));
    let rows: u64 = args.next().and_then(|a| a.parse().ok()).unwrap_or(3_000_000);
    let rounds: usize = args.next().and_then(|a| a.parse().ok()).unwrap_or(5);
    let dir = tempfile::tempdir().expect("a temporary folder");
    let (file, data) = (dir.path().join("readings.csv"), dir.path().join("data"));
    write_file(&file, rows);
    timed(ohmward(&data).arg("import").arg(&file));
    let [csv, parquet] = ["out.csv", "out.parquet"].map(|name| dir.path().join(name));
    let export = |to: &Path| timed(ohmward(&data).args(["export", "-o"]).arg(to));
    let size = |file: &Path| fs::metadata(file).map_or(0, |m| m.len()) as f64 / rows as f64;
    let (mut ours, mut typed, mut stored, mut written) = (vec![], vec![], vec![], vec![]);
    for _ in 0..rounds {
        let (seconds, peak) = export(&csv);
        say("ohmward, CSV", rows, seconds, &format!("peak {:.0} MB", peak / 1e3));
        ours.push(seconds);
        let (seconds, peak) = export(&parquet);
        let detail = format!("peak {:.0} MB, {:.1} B/row", peak / 1e3, size(&parquet));
        say("ohmward, Parquet", rows, seconds, &detail);
        typed.push(seconds / ours[ours.len() - 1]);
        for (what, select, order, ratios) in [
            ("sqlite3, as stored", AS_STORED, "", &mut stored),
            ("sqlite3, our cells and order", AS_WRITTEN, "ORDER BY r.taken_at", &mut written),
        ] {
            let Some(seconds) = sqlite(&data, &format!("{select} {TABLES} {order}")) else {
                continue;
            };
            let ratio = seconds / ours[ours.len() - 1];
            say(what, rows, seconds, &format!("ratio {ratio:.2}"));
            ratios.push(ratio);
        }
    }
    println!();
    say("median, CSV", rows, median(&mut ours), "");
    println!("Parquet takes {:.2} of the time of CSV", median(&mut typed));
    if !stored.is_empty() {
        let (stored, written) = (median(&mut stored), median(&mut written));
        println!("median ratio {stored:.2} as stored, {written:.2} with our cells and order");
    }
}

fn ohmward(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ohmward"));
    command.arg("--data").arg(data);
    command
}

fn say(what: &str, rows: u64, seconds: f64, detail: &str) {
    println!("{what:30} {seconds:6.2} s {:10.0} rows/s  {detail}", rows as f64 / seconds);
}

/// Seconds of the bare shell; its output goes to a file as ours does.
fn sqlite(data: &Path, select: &str) -> Option<f64> {
    let out = data.with_file_name("shell.csv");
    let begin = Instant::now();
    let mut child = Command::new("sqlite3")
        .arg("-readonly")
        .arg(data.join("ohmward.db"))
        .stdin(Stdio::piped())
        .stdout(fs::File::create(out).ok()?)
        .spawn()
        .ok()?;
    let script = format!(".mode csv\n.headers on\n{select};\n");
    child.stdin.take()?.write_all(script.as_bytes()).ok()?;
    child.wait().ok()?.success().then(|| begin.elapsed().as_secs_f64())
}
