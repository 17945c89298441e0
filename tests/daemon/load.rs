//! Sixteen stations at once: every line is stored, once.

use std::thread;
use std::time::{Duration, Instant};

use crate::bench::{Tester, reply};
use crate::running::{Daemon, Place};
use crate::serial::open;

const STATIONS: u64 = 16;
const LINES_A_SECOND: u64 = 20;

/// Feeds all stations for so many seconds and waits until every line is stored.
fn sixteen_stations(seconds: u64) {
    let place = Place::new();
    let name = |n: u64| format!("bench-{n}");
    let mut testers: Vec<Tester> =
        (0..STATIONS).map(|n| Tester::plugged(&place, &format!("tester-{n}"))).collect();
    let tables = testers.iter().zip(0..).map(|(t, n)| t.table(&name(n), &format!("YT-{n}")));
    place.config(&tables.collect::<String>());
    let daemon = place.serve();
    for (tester, n) in testers.iter_mut().zip(0..) {
        open(&daemon, &name(n), tester, 1);
    }
    let began = Instant::now();
    let lines = seconds * LINES_A_SECOND;
    let cpu = daemon.cpu_seconds();
    for line in 0..lines {
        for (tester, n) in testers.iter_mut().zip(0..) {
            tester.send(reply(1_000_000 + line * STATIONS + n));
        }
        let next = Duration::from_millis((line + 1) * 1_000 / LINES_A_SECOND);
        thread::sleep(next.saturating_sub(began.elapsed()));
    }
    let fed = began.elapsed();
    for n in 0..STATIONS {
        daemon.until_count(&name(n), "accepted", lines);
        let source = daemon.source(&name(n));
        assert_eq!(source["accepted"], lines, "{source}");
        assert_eq!((&source["gaps"], &source["rejected"]), (&0.into(), &0.into()), "{source}");
    }
    println!(
        "{STATIONS} stations, {} lines in {fed:.1?}: from line to commit p50 {:.1} ms, p99 {:.1} ms; \
         {:.1} % of a core",
        STATIONS * lines,
        delay(&daemon, 0.5),
        delay(&daemon, 0.99),
        (daemon.cpu_seconds() - cpu) / fed.as_secs_f64() * 100.0
    );
    assert!(daemon.end().success());
    let mut ohms: Vec<String> =
        place.export().iter().map(|row| row.split(',').nth(5).unwrap().to_owned()).collect();
    ohms.sort_unstable();
    ohms.dedup();
    assert_eq!(ohms.len() as u64, STATIONS * lines);
}

/// A quantile of the delays that the daemon measured, in milliseconds: the upper end of its class.
fn delay(daemon: &Daemon, share: f64) -> f64 {
    let (_, _, metrics) = daemon.request("GET /metrics", b"").unwrap();
    let mut classes: Vec<(f64, f64)> = Vec::new();
    for line in metrics.lines().filter(|l| l.starts_with("ohmward_commit_delay_seconds_bucket")) {
        let (labels, count) = line.rsplit_once("} ").unwrap();
        let upto = labels.rsplit_once("le=\"").unwrap().1.trim_end_matches('"');
        let upto = if upto == "+Inf" { f64::INFINITY } else { upto.parse().unwrap() };
        let count: f64 = count.parse().unwrap();
        match classes.iter_mut().find(|(end, _)| *end == upto) {
            Some((_, sum)) => *sum += count,
            None => classes.push((upto, count)),
        }
    }
    let all = classes.last().unwrap().1;
    classes.iter().find(|(_, count)| *count >= share * all).unwrap().0 * 1e3
}

#[test]
fn sixteen_stations_for_some_seconds() {
    sixteen_stations(5);
}

/// The full minute, for the figures: `cargo test --release --test daemon -- --ignored --nocapture`.
#[test]
#[ignore = "takes a minute"]
fn sixteen_stations_for_a_minute() {
    sixteen_stations(60);
}
