//! `kill -9` at random moments while everything feeds the daemon: what was acknowledged is there,
//! once, and the findings are those of the readings.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use serde_json::Value;

use crate::bench::{Tester, reply};
use crate::running::{Daemon, Place, drop_file, request, until};

const KILLS: u64 = 20;
const FILE_ROWS: u64 = 20;

/// What the feeders did.
#[derive(Default)]
struct Fed {
    end: AtomicBool,
    /// Where the daemon listens now.
    address: Mutex<Option<SocketAddr>>,
    /// Ohms of readings that were acknowledged over HTTP.
    acknowledged: Mutex<Vec<u64>>,
    /// Files dropped so far.
    files: AtomicU64,
    /// Lines sent so far.
    lines: AtomicU64,
    /// Daemons killed so far.
    kills: AtomicU64,
}

#[test]
fn nothing_acknowledged_is_lost_or_doubled_by_twenty_kills() {
    let place = Place::new();
    let folder = place.path("drop");
    fs::create_dir_all(&folder).unwrap();
    let tester = Tester::plugged(&place, "tester");
    place.config(&format!(
        "{}[[source.folder]]\nname = \"exports\"\npath = \"{}\"\nevery_s = 0.05\nsettle_s = 0.1\n",
        tester.table("bench-1", "BENCH"),
        folder.display()
    ));
    let fed = Arc::new(Fed::default());
    let feeders = [
        thread::spawn({
            let fed = Arc::clone(&fed);
            move || feed_lines(&fed, tester)
        }),
        thread::spawn({
            let (fed, folder) = (Arc::clone(&fed), folder.clone());
            move || feed_files(&fed, &folder)
        }),
        thread::spawn({
            let fed = Arc::clone(&fed);
            move || feed_requests(&fed)
        }),
    ];
    let mut seen = BTreeSet::new();
    // A fixed seed: the moments are random to the daemon, and the same in every run.
    let mut random = 0x9E37_79B9_7F4A_7C15_u64;
    for _ in 0..KILLS {
        let daemon = place.serve();
        *fed.address.lock().unwrap() = Some(daemon.address());
        random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        thread::sleep(Duration::from_millis(20 + (random >> 33) % 500));
        seen.extend(bench_readings(&daemon));
        daemon.kill();
        fed.kills.fetch_add(1, Relaxed);
    }
    let daemon = place.serve();
    *fed.address.lock().unwrap() = Some(daemon.address());
    until("every feeder was heard after the last kill", || {
        let s = |name| daemon.source(name)["accepted"].as_u64().unwrap_or(0) > 0;
        (s("http") && s("exports") && s("bench-1")).then_some(())
    });
    fed.end.store(true, Relaxed);
    for feeder in feeders {
        feeder.join().unwrap();
    }
    until("all files are put away", || (waiting(&folder) == 0).then_some(()));
    assert!(daemon.end().success());
    held_against(&place, &fed, &seen);
    same_findings(&place);
}

/// A station whose values count up, as long as the line takes them.
fn feed_lines(fed: &Fed, mut tester: Tester) {
    let mut rest = String::new();
    let mut kills = 0;
    while !fed.end.load(Relaxed) {
        if fed.kills.load(Relaxed) != kills {
            kills = fed.kills.load(Relaxed);
            tester.outlive_a_kill();
            rest.clear();
        }
        if rest.is_empty() {
            rest = reply(1_000_000 + fed.lines.fetch_add(1, Relaxed));
        }
        let sent = tester.try_send(rest.as_bytes());
        rest.drain(..sent);
        thread::sleep(Duration::from_millis(if sent == 0 { 20 } else { 4 }));
    }
}

fn feed_files(fed: &Fed, folder: &Path) {
    while !fed.end.load(Relaxed) {
        let n = fed.files.load(Relaxed);
        let rows: String = (0..FILE_ROWS).map(|r| row("FILE", n * FILE_ROWS + r)).collect();
        drop_file(
            folder,
            &format!("{n}.csv"),
            &format!("taken_at,asset,phase,resistance_ohm\n{rows}"),
        );
        fed.files.fetch_add(1, Relaxed);
        thread::sleep(Duration::from_millis(15));
    }
}

/// One row whose value and instant say its number.
fn row(asset: &str, n: u64) -> String {
    let (day, second) = (1 + n / 86_400, n % 86_400);
    let (hour, minute, second) = (second / 3_600, second / 60 % 60, second % 60);
    let at = format!("2026-01-{day:02}T{hour:02}:{minute:02}:{second:02}Z");
    format!("{at},{asset},U,{}\n", 1_000_000 + n)
}

/// Sends each group again until it is acknowledged.
fn feed_requests(fed: &Fed) {
    const GROUP: u64 = 5;
    let mut first = 0;
    while !fed.end.load(Relaxed) {
        let rows: String = (first..first + GROUP).map(|n| row("HTTP", n)).collect();
        let body = format!("taken_at,asset,phase,resistance_ohm\n{rows}");
        let address = *fed.address.lock().unwrap();
        let head = "POST /v1/readings\r\nContent-Type: text/csv";
        match address.map(|address| request(address, head, body.as_bytes())) {
            Some(Ok((200, _, answer))) => {
                let answer: Value = serde_json::from_str(&answer).unwrap();
                let count = |name: &str| answer[name].as_u64().unwrap();
                assert_eq!(count("accepted") + count("duplicate"), GROUP, "{answer}");
                let ohms = (first..first + GROUP).map(|n| 1_000_000 + n);
                fed.acknowledged.lock().unwrap().extend(ohms);
                first += GROUP;
            }
            Some(Ok((status, _, answer))) => assert_eq!(status, 503, "{answer}"),
            _ => thread::sleep(Duration::from_millis(5)),
        }
    }
}

/// What the bench's lines have become so far, by value.
fn bench_readings(daemon: &Daemon) -> Vec<u64> {
    let (_, _, body) = daemon.request("GET /v1/readings?asset=BENCH", b"").unwrap();
    let readings: Value = serde_json::from_str(&body).unwrap();
    let readings = readings.as_array().cloned().unwrap_or_default();
    readings.iter().map(|r| r["resistance_ohm"].as_f64().unwrap() as u64).collect()
}

fn waiting(folder: &PathBuf) -> usize {
    let entries = fs::read_dir(folder).unwrap();
    entries.filter(|e| e.as_ref().unwrap().path().extension().is_some()).count()
}

fn held_against(place: &Place, fed: &Fed, seen: &BTreeSet<u64>) {
    let mut stored: BTreeMap<(String, u64), u64> = BTreeMap::new();
    for row in place.export() {
        let cells: Vec<&str> = row.split(',').collect();
        *stored.entry((cells[1].to_owned(), cells[5].parse().unwrap())).or_default() += 1;
    }
    let doubled: Vec<_> = stored.iter().filter(|(_, n)| **n > 1).collect();
    assert!(doubled.is_empty(), "stored more than once: {doubled:?}");
    let lost = |asset: &str, ohms: &mut dyn Iterator<Item = u64>| {
        let lost: Vec<u64> = ohms.filter(|o| !stored.contains_key(&(asset.into(), *o))).collect();
        assert!(lost.is_empty(), "{asset}: acknowledged and lost: {lost:?}");
    };
    let acknowledged = fed.acknowledged.lock().unwrap();
    lost("HTTP", &mut acknowledged.iter().copied());
    let rows = fed.files.load(Relaxed) * FILE_ROWS;
    lost("FILE", &mut (0..rows).map(|n| 1_000_000 + n));
    lost("BENCH", &mut seen.iter().copied());
    let bench = stored.keys().filter(|(asset, _)| asset == "BENCH").count();
    println!(
        "{} readings over HTTP, {rows} in {} files, {bench} of {} lines",
        acknowledged.len(),
        fed.files.load(Relaxed),
        fed.lines.load(Relaxed)
    );
}

/// The findings are those of a store that was given the same readings in peace.
fn same_findings(place: &Place) {
    let file = place.path("all.csv");
    let (code, _) = place.run(&["export", "-o", file.to_str().unwrap()]);
    assert_eq!(code, 0);
    let peace = Place::new();
    let (code, _) = peace.run(&["import", file.to_str().unwrap()]);
    assert_eq!(code, 0);
    let found = |place: &Place| -> Value {
        let (_, out) = place.run(&["--format", "json", "declining", "--all"]);
        serde_json::from_str(&out).unwrap()
    };
    assert_eq!(found(place), found(&peace));
}
