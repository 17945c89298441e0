//! Stations on real pseudo-terminals.

use std::time::{Duration, Instant};

use crate::bench::{Tester, reply};
use crate::running::{Daemon, Place, until};

/// Waits until the daemon has opened the port for the `n`-th time. What comes within the first
/// tenth of a second may be the rest of a line, so a line end goes first.
pub(crate) fn open(daemon: &Daemon, name: &str, tester: &mut Tester, n: u64) {
    daemon.until_count(name, "openings", n);
    tester.send("\r\n");
}

/// A daemon with one station of bare values.
fn station() -> (Place, Tester, Daemon) {
    let place = Place::new();
    let mut tester = Tester::plugged(&place, "tester");
    place.config(&tester.table("bench-1", "YT-014/drive"));
    let daemon = place.serve();
    open(&daemon, "bench-1", &mut tester, 1);
    (place, tester, daemon)
}

fn ohms(daemon: &Daemon) -> Vec<f64> {
    let (_, _, body) = daemon.request("GET /v1/readings?asset=YT-014%2Fdrive", b"").unwrap();
    let readings: serde_json::Value = serde_json::from_str(&body).unwrap();
    // Before the first line the asset is not known.
    let readings = readings.as_array().cloned().unwrap_or_default();
    readings.iter().map(|r| r["resistance_ohm"].as_f64().unwrap()).collect()
}

#[test]
fn bare_values_become_readings_of_a_test() {
    let (_place, mut tester, daemon) = station();
    for value in 1..=3 {
        tester.send(reply(value * 1_000_000));
        daemon.until_count("bench-1", "accepted", value);
    }
    let readings = daemon.get("/v1/readings?asset=YT-014%2Fdrive");
    let readings = readings.as_array().unwrap();
    let mut before = 0.0;
    for (n, r) in readings.iter().enumerate() {
        assert_eq!(r["resistance_ohm"], (n as f64 + 1.0) * 1e6);
        assert_eq!((&r["phase"], &r["station"]), (&"U".into(), &"bench-1".into()));
        assert_eq!(r["test_voltage_v"], 500.0);
        let seconds = r["duration_s"].as_f64().unwrap();
        assert!(seconds >= before && (n > 0 || seconds == 0.0), "{readings:?}");
        before = seconds;
    }
    assert!(daemon.end().success());
}

#[test]
fn lines_in_pieces_are_put_together_and_torn_ones_are_never_values() {
    let (place, mut tester, daemon) = station();
    for piece in ["1000", "001,5", "00", "\r", "\n2000002,500\r\n15000"] {
        tester.send(piece);
    }
    daemon.until_count("bench-1", "accepted", 2);
    daemon.until_count("bench-1", "bytes", 2 + 13 + 13 + 5);
    // The last line will never be whole; the next connection shows that.
    tester.unplug();
    daemon.until_trouble("bench-1", "is not there");
    tester.plug();
    open(&daemon, "bench-1", &mut tester, 2);
    daemon.until_count("bench-1", "torn_lines", 1);
    assert_eq!(ohms(&daemon), [1_000_001.0, 2_000_002.0]);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 2);
}

#[test]
fn a_port_may_vanish_and_return() {
    let (place, mut tester, daemon) = station();
    for round in 1..=3 {
        for line in 1..=5 {
            tester.send(reply(round * 1_000_000 + line));
        }
        daemon.until_count("bench-1", "accepted", round * 5);
        tester.unplug();
        daemon.until_trouble("bench-1", "is not there (plug the adapter in");
        tester.plug();
        open(&daemon, "bench-1", &mut tester, round + 1);
        assert_eq!(daemon.source("bench-1")["state"], "ok");
    }
    let log = daemon.log();
    assert_eq!(log.matches("vanished").count(), 3, "{log}");
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 15);
}

#[test]
fn a_flood_is_stored_or_counted_as_lost() {
    const LINES: u64 = 20_000;
    let (place, mut tester, daemon) = station();
    let flood: String = (1..=LINES).map(|n| reply(1_000_000 + n)).collect();
    tester.send(&flood);
    until("every line is accounted for", || {
        let s = daemon.source("bench-1");
        let count = |name: &str| s[name].as_u64().unwrap();
        assert_eq!(count("rejected"), 0);
        // With nothing dropped, every line is a reading.
        let done = match count("dropped_bytes") {
            0 => count("accepted") == LINES,
            dropped => count("gaps") > 0 && count("bytes") - dropped > 0,
        };
        (done && count("bytes") == flood.len() as u64 + 2).then_some(())
    });
    let s = daemon.source("bench-1");
    assert!(daemon.end().success());
    let export = place.export();
    assert!(export.len() as u64 >= s["accepted"].as_u64().unwrap());
    if s["dropped_bytes"] == 0 {
        assert_eq!(export.len() as u64, LINES);
    }
    let mut ohms: Vec<&str> = export.iter().map(|row| row.split(',').nth(5).unwrap()).collect();
    ohms.sort_unstable();
    ohms.dedup();
    assert_eq!(ohms.len(), export.len(), "a line was stored twice");
}

#[test]
fn noise_is_recognised_and_said_once() {
    let (place, mut tester, daemon) = station();
    tester.send(reply(1_000_000));
    // What 8N1 at half the speed makes of a reply: see the test of `sources::noise`.
    let noise: Vec<u8> =
        (0..2_000_u32).map(|n| [0x00, 0xF8, 0x1E, 0x80, 0x66][(n % 5) as usize]).collect();
    tester.send(&noise);
    daemon.until_trouble("bench-1", "gives noise");
    daemon.until_count("bench-1", "noise_bytes", 1_500);
    for n in 2..=12 {
        tester.send(reply(n * 1_000_000));
    }
    until("the line is text again", || (daemon.source("bench-1")["state"] == "ok").then_some(()));
    tester.send(reply(99_000_000));
    until("a line after the noise is stored", || ohms(&daemon).contains(&99e6).then_some(()));
    let log = daemon.log();
    assert_eq!(log.matches("gives noise").count(), 1, "{log}");
    assert!(log.contains("set `baud`, now 9600"), "{log}");
    // Nothing of the noise is a value.
    assert!(ohms(&daemon).iter().all(|ohms| ohms % 1e6 == 0.0), "{:?}", ohms(&daemon));
    assert!(daemon.end().success());
    drop(place);
}

#[test]
fn a_wrong_line_is_kept_with_its_reason() {
    let (place, mut tester, daemon) = station();
    tester.send("1000000,500\r\nERROR 7\r\n2000000,500\r\n");
    daemon.until_count("bench-1", "accepted", 2);
    daemon.until_count("bench-1", "rejected", 1);
    assert!(daemon.end().success());
    let (code, rejects) = place.run(&["--format", "json", "rejects", "list"]);
    assert_eq!(code, 0);
    assert!(rejects.contains("ERROR 7"), "{rejects}");
}

/// Seconds of processor time that the daemon uses within five seconds.
fn used_in_five_seconds(daemon: &Daemon) -> f64 {
    let (before, began) = (daemon.cpu_seconds(), Instant::now());
    std::thread::sleep(Duration::from_secs(5));
    (daemon.cpu_seconds() - before) / began.elapsed().as_secs_f64() * 5.0
}

#[test]
fn a_silent_or_vanished_port_costs_under_ten_per_cent_of_a_core() {
    let (_place, mut tester, daemon) = station();
    let silent = used_in_five_seconds(&daemon);
    tester.unplug();
    daemon.until_trouble("bench-1", "is not there");
    let vanished = used_in_five_seconds(&daemon);
    println!("processor time in 5 s: silent {silent:.3} s, vanished {vanished:.3} s");
    assert!(silent < 0.5, "{silent} s of 5 s while silent");
    assert!(vanished < 0.5, "{vanished} s of 5 s while vanished");
}
