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
use std::path::Path;
use std::process::{Command, Stdio};

use common::{Took, median, say, timed, write_file};

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
    timed(ohmward(&data).arg("import").arg(&file), Stdio::null()).expect("an import");
    let [csv, parquet] = ["out.csv", "out.parquet"].map(|name| dir.path().join(name));
    let export = |to: &Path| {
        let took = timed(ohmward(&data).args(["export", "-o"]).arg(to), Stdio::null());
        took.expect("an export that succeeds")
    };
    let (mut ours, mut typed) = (Vec::new(), Vec::new());
    let shells = [
        ("sqlite3, as stored", format!("{AS_STORED} {TABLES};")),
        ("sqlite3, our cells and order", format!("{AS_WRITTEN} {TABLES} ORDER BY r.taken_at;")),
    ];
    let mut ratios = [[Vec::new(), Vec::new()], [Vec::new(), Vec::new()]];
    for _ in 0..rounds {
        let took = export(&csv);
        say("ohmward, CSV", rows, &took);
        ours.push(took.seconds);
        let parquet_took = export(&parquet);
        say("ohmward, Parquet", rows, &parquet_took);
        typed.push(parquet_took.processor / took.processor);
        for ((what, select), ratios) in shells.iter().zip(&mut ratios) {
            let Some(shell) = sqlite(&data, select) else { continue };
            say(what, rows, &shell);
            ratios[0].push(shell.seconds / took.seconds);
            ratios[1].push(shell.processor / took.processor);
        }
    }
    let seconds = median(&mut ours);
    println!("\nmedian of CSV {seconds:.2} s, {:.0} rows/s", rows as f64 / seconds);
    let bytes = fs::metadata(&parquet).map_or(0, |m| m.len()) as f64 / rows as f64;
    println!("Parquet: {:.2} of its processor time, {bytes:.1} B/row", median(&mut typed));
    for ((what, _), mut ratios) in shells.iter().zip(ratios).filter(|(_, r)| !r[0].is_empty()) {
        let [seconds, work] = ratios.each_mut().map(|r| median(r));
        println!("{what}: median ratio {seconds:.2}, of processor time {work:.2}");
    }
}

fn ohmward(data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ohmward"));
    command.arg("--data").arg(data);
    command
}

/// The bare shell; its output goes to a file as ours does.
fn sqlite(data: &Path, select: &str) -> Option<Took> {
    let out = fs::File::create(data.with_file_name("shell.csv")).ok()?;
    let mut shell = Command::new("sqlite3");
    shell.arg("-readonly").arg(data.join("ohmward.db"));
    timed(shell.args([".mode csv", ".headers on", select]), out.into())
}
