//! What the benches of whole commands share: an invented file, a clock, a median.

use std::fs;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

const ASSETS: u64 = 10_000;

/// Readings in the order of time: 30,000 series, 23 % over-range, 0.2 % under-range; invented.
pub(crate) fn write_file(path: &Path, rows: u64) {
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

/// What a command took.
pub(crate) struct Took {
    /// On the clock.
    pub(crate) seconds: f64,
    /// On the processors: what still says something on a busy machine.
    pub(crate) processor: f64,
    /// Peak memory in MB.
    pub(crate) peak: f64,
}

/// Runs a command and reads the system's own accounting of it, to 10 ms; none when it fails.
pub(crate) fn timed(command: &mut Command, out: Stdio) -> Option<Took> {
    let begin = Instant::now();
    let mut child = command.stdout(out).stderr(Stdio::null()).spawn().ok()?;
    let id = child.id();
    let about = |what: &str| fs::read_to_string(format!("/proc/{id}/{what}"));
    let (mut ticks, mut peak) = (0.0f64, 0.0f64);
    let ended = loop {
        if let Ok(text) = about("status") {
            let kb = text.lines().find_map(|l| l.strip_prefix("VmHWM:"));
            let kb = kb.and_then(|l| l.trim().trim_end_matches(" kB").parse().ok());
            peak = peak.max(kb.unwrap_or(0.0));
        }
        if let Ok(text) = about("stat") {
            let after = text.rsplit(')').next().unwrap_or_default().split_whitespace();
            ticks = ticks.max(after.skip(11).take(2).filter_map(|n| n.parse::<f64>().ok()).sum());
        }
        if let Some(ended) = child.try_wait().ok()? {
            break ended;
        }
        std::thread::sleep(std::time::Duration::from_millis(2));
    };
    let seconds = begin.elapsed().as_secs_f64();
    ended.success().then_some(Took { seconds, processor: ticks / 100.0, peak: peak / 1e3 })
}

/// Prints what a command took.
pub(crate) fn say(what: &str, rows: u64, took: &Took) {
    let Took { seconds, processor, peak } = took;
    println!(
        "{what:30} {seconds:6.2} s {:9.0} rows/s, {processor:6.2} s of processor, peak {peak:4.0} MB",
        rows as f64 / seconds
    );
}

pub(crate) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
