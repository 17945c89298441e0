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

/// Seconds and peak memory in kB of a command, by the system's own accounting.
pub(crate) fn timed(command: &mut Command) -> (f64, f64) {
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

pub(crate) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
