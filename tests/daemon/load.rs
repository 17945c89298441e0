//! Many stations at once, and people who ask meanwhile: every line is stored, once.

use std::fs;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::thread;
use std::time::{Duration, Instant};

use crate::bench::{Tester, reply};
use crate::running::{Daemon, Place, request};
use crate::serial::open;

const LINES_A_SECOND: u64 = 20;

/// What is asked meanwhile, in turn.
const QUESTIONS: [&str; 5] = [
    "GET /v1/declining",
    "GET /v1/assets",
    "GET /v1/readings?asset=YT-0&limit=100",
    "GET /v1/sources",
    "GET /metrics",
];

/// Feeds so many stations for so many seconds, with questions beside, and waits until every line is
/// stored. Returns how much the memory grew over the second half, in MiB, by the slope of a
/// straight line.
fn stations(count: u64, seconds: u64) -> f64 {
    let place = Place::new();
    let name = |n: u64| format!("bench-{n}");
    let mut testers: Vec<Tester> =
        (0..count).map(|n| Tester::plugged(&place, &format!("tester-{n}"))).collect();
    let tables = testers.iter().zip(0..).map(|(t, n)| t.table(&name(n), &format!("YT-{n}")));
    place.config(&tables.collect::<String>());
    let daemon = place.serve();
    for (tester, n) in testers.iter_mut().zip(0..) {
        open(&daemon, &name(n), tester, 1);
    }
    let end = Arc::new(AtomicBool::new(false));
    let asking = thread::spawn({
        let (end, address) = (Arc::clone(&end), daemon.address());
        move || {
            let mut took = Vec::new();
            for question in QUESTIONS.iter().cycle().take_while(|_| !end.load(Relaxed)) {
                let began = Instant::now();
                // Until its first line is stored an asset is not known.
                let (status, _, answer) = request(address, question, b"").unwrap();
                assert!(matches!(status, 200 | 404), "{question}: {answer}");
                took.push(began.elapsed().as_secs_f64() * 1e3);
                thread::sleep(Duration::from_millis(50));
            }
            took
        }
    });
    let began = Instant::now();
    let lines = seconds * LINES_A_SECOND;
    let cpu = daemon.cpu_seconds();
    let mut memory = Vec::new();
    for line in 0..lines {
        for (tester, n) in testers.iter_mut().zip(0..) {
            tester.send(reply(1_000_000 + line * count + n));
        }
        if line % LINES_A_SECOND == 0 {
            memory.push((began.elapsed().as_secs_f64(), resident_mib(daemon.pid())));
        }
        let next = Duration::from_millis((line + 1) * 1_000 / LINES_A_SECOND);
        thread::sleep(next.saturating_sub(began.elapsed()));
    }
    let fed = began.elapsed();
    for n in 0..count {
        daemon.until_count(&name(n), "accepted", lines);
        let source = daemon.source(&name(n));
        assert_eq!(source["accepted"], lines, "{source}");
        assert_eq!((&source["gaps"], &source["rejected"]), (&0.into(), &0.into()), "{source}");
    }
    end.store(true, Relaxed);
    let mut took = asking.join().unwrap();
    took.sort_by(f64::total_cmp);
    let quantile = |share: f64| took[((took.len() - 1) as f64 * share) as usize];
    for (second, mib) in memory.iter().step_by((memory.len() / 12).max(1)) {
        println!("after {second:.0} s: {mib:.0} MiB");
    }
    let half = &memory[memory.len() / 2..];
    let grown = slope(half) * seconds as f64 / 2.0;
    println!(
        "{count} stations, {} lines in {fed:.1?}: from line to commit p50 {:.1} ms, p99 {:.1} ms; \
         {} questions beside, p50 {:.1} ms, p99 {:.1} ms; {:.1} % of a core; memory {:.0} MiB at the \
         end, {grown:+.1} MiB over the second half; load of the machine {}",
        count * lines,
        delay(&daemon, 0.5),
        delay(&daemon, 0.99),
        took.len(),
        quantile(0.5),
        quantile(0.99),
        (daemon.cpu_seconds() - cpu) / fed.as_secs_f64() * 100.0,
        memory.last().map_or(0.0, |(_, mib)| *mib),
        fs::read_to_string("/proc/loadavg").unwrap().trim(),
    );
    assert!(daemon.end().success());
    let mut ohms: Vec<String> =
        place.export().iter().map(|row| row.split(',').nth(5).unwrap().to_owned()).collect();
    ohms.sort_unstable();
    ohms.dedup();
    assert_eq!(ohms.len() as u64, count * lines);
    grown
}

/// Memory of a process in use, in MiB (proc(5)).
fn resident_mib(pid: u32) -> f64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1_024.0
}

/// The slope of the line through points by least squares, a unit a second.
fn slope(points: &[(f64, f64)]) -> f64 {
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let over: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    let under: f64 = points.iter().map(|p| (p.0 - x).powi(2)).sum();
    if under > 0.0 { over / under } else { 0.0 }
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
    stations(16, 5);
}

#[test]
fn sixty_four_stations_for_some_seconds() {
    stations(64, 4);
}

/// The full minute, for the figures: `cargo test --release --test daemon -- --ignored --nocapture`.
#[test]
#[ignore = "takes a minute"]
fn sixteen_stations_for_a_minute() {
    stations(16, 60);
}

/// Two minutes with a fleet's worth of stations: `cargo test --release --test daemon -- --ignored
/// --nocapture sixty_four`.
#[test]
#[ignore = "takes two minutes"]
fn sixty_four_stations_for_two_minutes() {
    let grown = stations(64, 120);
    assert!(grown < 4.0, "the memory grew by {grown} MiB over the second minute");
}
