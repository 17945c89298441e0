//! Server-sent events: who listens is told what happens, and what could not be told.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::time::Instant;

use serde_json::{Value, json};

use crate::api::must;
use crate::bench::Tester;
use crate::running::{DEADLINE, Daemon, Place, until};
use crate::serial::open;

const JSON: &str = "application/json";

/// One open stream.
struct Listener(BufReader<TcpStream>);

/// An event: its name, its id, its data.
type Event = (String, String, Value);

impl Listener {
    fn to(daemon: &Daemon, path: &str, last: Option<&str>) -> Self {
        let mut stream = TcpStream::connect(daemon.address()).unwrap();
        stream.set_read_timeout(Some(DEADLINE)).unwrap();
        let last = last.map(|id| format!("Last-Event-ID: {id}\r\n")).unwrap_or_default();
        // Under HTTP/1.0 the events come without chunks between them.
        let host = daemon.address();
        write!(stream, "GET {path} HTTP/1.0\r\nHost: {host}\r\n{last}\r\n").unwrap();
        let mut reader = BufReader::new(stream);
        let mut head = String::new();
        while !head.ends_with("\r\n\r\n") {
            assert!(reader.read_line(&mut head).unwrap() > 0, "{head}");
        }
        assert!(head.contains("text/event-stream"), "{head}");
        Listener(reader)
    }

    /// The next event; none when the stream has ended.
    fn next(&mut self) -> Option<Event> {
        let (mut event, mut id, mut data) = (String::new(), String::new(), String::new());
        let end = Instant::now() + DEADLINE;
        loop {
            // A silent stream still shows that it is alive.
            assert!(Instant::now() < end, "no event came");
            let mut line = String::new();
            if self.0.read_line(&mut line).unwrap() == 0 {
                return None;
            }
            match line.trim_end().split_once(": ") {
                Some(("event", value)) => event = value.to_owned(),
                Some(("id", value)) => id = value.to_owned(),
                Some(("data", value)) => data = value.to_owned(),
                _ if !data.is_empty() => {
                    return Some((event, id, serde_json::from_str(&data).unwrap()));
                }
                _ => {}
            }
        }
    }

    fn until(&mut self, kind: &str) -> Event {
        loop {
            let event = self.next().unwrap();
            if event.0 == kind {
                return event;
            }
        }
    }
}

fn reading(asset: &str, day: u32) -> Value {
    json!({"taken_at": format!("2026-03-{day:02}T08:15:00Z"), "asset": asset, "phase": "U",
        "resistance_ohm": 1e6, "test_voltage_v": 500, "temperature_c": 40,
        "temperature_of": "winding", "duration_s": 60})
}

fn send(daemon: &Daemon, readings: &[Value]) {
    assert_eq!(daemon.post(JSON, &json!(readings).to_string()).0, 200);
}

#[test]
fn who_listens_is_told_of_readings_and_findings() {
    let place = Place::new();
    let daemon = place.serve();
    let mut all = Listener::to(&daemon, "/v1/stream", None);
    let mut other = Listener::to(&daemon, "/v1/stream?asset=YT-2", None);
    send(&daemon, &[reading("YT-1", 1), reading("YT-1", 2)]);
    let (_, _, news) = all.until("readings");
    assert_eq!((&news["asset"], &news["readings"]), (&"YT-1".into(), &2.into()));
    assert_eq!(news["latest"]["taken_at"], "2026-03-02T08:15:00Z");
    let (_, _, found) = all.until("finding");
    assert_eq!((&found["finding"], &found["state"]), (&"below limit".into(), &"open".into()));
    let answer = json!({"remark": "seen"});
    must(&daemon, 200, "POST /v1/findings/YT-1/below%20limit/acknowledge", &answer);
    let (_, _, found) = all.until("finding");
    assert_eq!(found["state"], "acknowledged");
    send(&daemon, &[reading("YT-2", 1)]);
    let (_, _, news) = other.next().unwrap();
    assert_eq!(news["asset"], "YT-2");
    // The same again is nothing new.
    send(&daemon, &[reading("YT-2", 1)]);
    send(&daemon, &[reading("YT-2", 3)]);
    assert_eq!(other.until("readings").2["readings"], 2);
    // They do not keep the daemon from ending, and are ended by it.
    assert!(daemon.end().success());
    while other.next().is_some() {}
}

#[test]
fn who_comes_back_goes_on_or_is_told_what_is_missing() {
    let place = Place::new();
    let daemon = place.serve();
    let mut first = Listener::to(&daemon, "/v1/stream", None);
    send(&daemon, &[reading("YT-1", 1)]);
    let (_, id, _) = first.until("readings");
    drop(first);
    send(&daemon, &[reading("YT-2", 1)]);
    let mut again = Listener::to(&daemon, "/v1/stream", Some(&id));
    assert_eq!(again.until("readings").2["asset"], "YT-2");
    // More than is kept.
    let many: Vec<Value> = (0..1_100).map(|n| reading(&format!("YARD-{n}"), 1)).collect();
    send(&daemon, &many);
    until("all of it is told", || (again.until("readings").2["asset"] == "YARD-999").then_some(()));
    until("all of it is assessed", || (daemon.get("/healthz")["pending"] == 0).then_some(()));
    let mut late = Listener::to(&daemon, "/v1/stream", Some(&id));
    let (kind, _, gap) = late.next().unwrap();
    assert_eq!(kind, "gap");
    assert!(gap["missed"].as_u64().unwrap() > 0, "{gap}");
    assert_ne!(late.next().unwrap().0, "gap");
    for unknown in ["0.1", "x", "1.18446744073709551615"] {
        let mut strange = Listener::to(&daemon, "/v1/stream", Some(unknown));
        let (kind, _, gap) = strange.next().unwrap();
        assert_eq!((kind.as_str(), &gap["missed"]), ("gap", &Value::Null));
    }
    assert!(daemon.end().success());
    // Another run knows nothing of that event, and says so.
    let daemon = place.serve();
    let mut later = Listener::to(&daemon, "/v1/stream", Some(&id));
    let (kind, _, gap) = later.next().unwrap();
    assert!(kind == "gap" && gap["why"].as_str().unwrap().contains("not of this run"), "{gap}");
    assert!(daemon.end().success());
}

#[test]
fn streams_are_counted_and_sources_are_told() {
    let place = Place::new();
    let mut tester = Tester::plugged(&place, "tester");
    place.config(&tester.table("bench-1", "YT-1"));
    let daemon = place.serve();
    open(&daemon, "bench-1", &mut tester, 1);
    let mut all: Vec<Listener> =
        (0..64).map(|_| Listener::to(&daemon, "/v1/stream", None)).collect();
    let (status, head, answer) = daemon.request("GET /v1/stream", b"").unwrap();
    assert_eq!(status, 503, "{answer}");
    assert!(head.contains("retry-after: 30"), "{head}");
    tester.unplug();
    let (_, _, source) = all[0].until("source");
    assert_eq!((&source["name"], &source["state"]), (&"bench-1".into(), &"troubled".into()));
    assert_eq!(daemon.get("/v1/sources")[1]["state"], "troubled");
    let wrong = daemon.get("/healthz")["wrong"].to_string();
    assert!(wrong.contains("source `bench-1`: "), "{wrong}");
    // A listener that goes makes room for another.
    all.pop();
    until("there is room", || {
        let mut stream = TcpStream::connect(daemon.address()).unwrap();
        let host = daemon.address();
        write!(stream, "GET /v1/stream HTTP/1.0\r\nHost: {host}\r\n\r\n").unwrap();
        let mut line = String::new();
        BufReader::new(stream).read_line(&mut line).unwrap();
        line.contains("200").then_some(())
    });
    assert!(daemon.end().success());
}
