//! The clock of the machine being set back while lines stream.

use std::sync::atomic::{AtomicI64, Ordering::Relaxed};
use std::sync::{Arc, mpsc};
use std::thread;

use ohmward::clock::{Clock, WallClock};
use ohmward::daemon::Serve;
use ohmward::model::Stamp;
use ohmward::sources::Stop;
use serde_json::Value;

use crate::bench::{Tester, reply};
use crate::running::{Place, request, until};

const HOUR: i64 = 3_600_000_000;

/// The wall clock, set wrong by so many microseconds.
struct SetClock(AtomicI64);

impl Clock for SetClock {
    fn now(&self) -> Stamp {
        Stamp::from_micros(WallClock.now().micros() + self.0.load(Relaxed))
    }
}

/// Lines keep their order and their seconds since the test began; each carries the time of the
/// clock as it was, and none is lost.
#[test]
fn a_clock_set_back_loses_no_line() {
    let place = Place::new();
    let mut tester = Tester::plugged(&place, "tester");
    place.config(&tester.table("bench-1", "YT-1"));
    let clock = Arc::new(SetClock(AtomicI64::new(0)));
    let stop = Stop::default();
    let serve = Serve {
        data: place.path("data"),
        config: None,
        listen: Some("127.0.0.1:0".parse().unwrap()),
        watch: Vec::new(),
        clock: clock.clone(),
        stop: stop.clone(),
    };
    let (tell, told) = mpsc::channel();
    let daemon = thread::spawn(move || serve.run(&mut |address| tell.send(address).unwrap()));
    let address = told.recv().unwrap();
    let readings = || -> Vec<Value> {
        let (_, _, body) = request(address, "GET /v1/readings?asset=YT-1", b"").unwrap();
        let readings: Value = serde_json::from_str(&body).unwrap();
        readings.as_array().cloned().unwrap_or_default()
    };
    let opened = || {
        let (_, _, metrics) = request(address, "GET /metrics", b"").unwrap();
        metrics
            .contains("ohmward_openings_total{kind=\"serial\",source=\"bench-1\"} 1\n")
            .then_some(())
    };
    until("the port is open", opened);
    tester.send("\r\n");
    for line in 1..=6 {
        if line == 4 {
            clock.0.store(-2 * HOUR, Relaxed);
        }
        tester.send(reply(1_000_000 + line));
        until("the line is stored", || (readings().len() == line as usize).then_some(()));
    }
    let by = |key: &str| -> Vec<u64> {
        let mut rows = readings();
        rows.sort_by(|a, b| a[key].as_str().cmp(&b[key].as_str()));
        rows.iter().map(|r| r["resistance_ohm"].as_f64().unwrap() as u64 - 1_000_000).collect()
    };
    assert_eq!(by("taken_at"), [4, 5, 6, 1, 2, 3]);
    let mut rows = readings();
    rows.sort_by_key(|r| r["resistance_ohm"].as_f64().unwrap() as u64);
    let seconds: Vec<f64> = rows.iter().map(|r| r["duration_s"].as_f64().unwrap()).collect();
    assert!(seconds.is_sorted() && seconds[5] < 1_000.0, "{seconds:?}");
    stop.set();
    daemon.join().unwrap().unwrap();
}
