//! Bodies of lines: taken in as they come, however long they are, and whatever cuts them short.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};
use serde_json::Value;

use crate::running::{DEADLINE, Daemon, Place, until};

const CSV: &str = "text/csv";
const HEADER: &str = "taken_at,asset,phase,resistance_ohm,remark\n";

/// A row whose value and instant say its number, with a remark of so many bytes.
fn row(n: u64, remark: usize) -> String {
    let (hour, minute, second) = (n / 3_600 % 24, n / 60 % 60, n % 60);
    let at = format!("2026-01-{:02}T{hour:02}:{minute:02}:{second:02}Z", 1 + n / 86_400);
    format!("{at},YT-{},U,{},{}\n", n % 7, 1_000_000 + n, "x".repeat(remark))
}

/// A request whose body comes in chunks.
struct Sending(TcpStream);

impl Sending {
    fn to(daemon: &Daemon, media: &str) -> Self {
        let mut stream = TcpStream::connect(daemon.address()).unwrap();
        stream.set_read_timeout(Some(DEADLINE)).unwrap();
        write!(
            stream,
            "POST /v1/readings HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nContent-Type: {media}\r\n\
             Transfer-Encoding: chunked\r\n\r\n",
            daemon.address()
        )
        .unwrap();
        Sending(stream)
    }

    fn send(&mut self, text: &str) -> std::io::Result<()> {
        write!(self.0, "{:x}\r\n{text}\r\n", text.len())
    }

    /// Ends the body; status, headers and answer.
    fn answer(mut self) -> (u16, String, Value) {
        // A service that refuses early may have closed already.
        write!(self.0, "0\r\n\r\n").ok();
        let mut text = String::new();
        self.0.read_to_string(&mut text).unwrap();
        let (head, body) = text.split_once("\r\n\r\n").unwrap();
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        (status, head.to_owned(), serde_json::from_str(body).unwrap())
    }
}

/// The most memory that a process had, in MiB (proc(5)).
fn peak_mib(pid: u32) -> u64 {
    let status = std::fs::read_to_string(Path::new("/proc").join(pid.to_string()).join("status"));
    let status = status.unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1_024
}

#[test]
fn a_body_larger_than_what_is_held_is_taken_in_parts() {
    const ROWS: u64 = 16_000;
    let place = Place::new();
    let daemon = place.serve();
    let before = peak_mib(daemon.pid());
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    for first in (0..ROWS).step_by(100) {
        let rows: String = (first..first + 100).map(|n| row(n, 4_000)).collect();
        sending.send(&rows).unwrap();
    }
    let (status, _, answer) = sending.answer();
    assert_eq!((status, &answer["accepted"]), (200, &ROWS.into()), "{answer}");
    let grown = peak_mib(daemon.pid()) - before;
    println!("a body of {} MiB took {grown} MiB of memory", ROWS * 4_050 / 1_048_576);
    assert!(grown < 48, "{grown} MiB");
    assert!(daemon.end().success());
    assert_eq!(place.export().len() as u64, ROWS);
}

#[test]
fn the_same_again_is_a_duplicate_in_every_form() {
    let place = Place::new();
    let daemon = place.serve();
    let csv = HEADER.to_owned() + &(0..50).map(|n| row(n, 3)).collect::<String>();
    let objects: Vec<Value> = (0..50)
        .map(|n| {
            let row = row(n, 3);
            let cells: Vec<&str> = row.trim().split(',').collect();
            let ohms: f64 = cells[3].parse().unwrap();
            serde_json::json!({"taken_at": cells[0], "asset": cells[1], "phase": cells[2],
                "resistance_ohm": ohms, "remark": cells[4]})
        })
        .collect();
    let lines: String = objects.iter().map(|o| format!("{o}\n")).collect();
    let array = Value::from(objects).to_string();
    assert_eq!(daemon.post(CSV, &csv).1["accepted"], 50);
    let forms = [(CSV, &csv), ("application/x-ndjson", &lines), ("application/json", &array)];
    for (media, body) in forms {
        let (status, answer) = daemon.post(media, body);
        assert_eq!((status, &answer["duplicate"]), (200, &50.into()), "{media}: {answer}");
    }
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 50);
}

#[test]
fn what_is_cut_short_leaves_whole_records_only_and_can_be_sent_again() {
    let place = Place::new();
    let daemon = place.serve();
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    let rows: String = (0..20_000).map(|n| row(n, 10)).collect();
    sending.send(&rows).unwrap();
    // A row without its end: its value would be another one.
    sending.send("2026-01-31T08:00:00Z,YT-1,U,12").unwrap();
    drop(sending);
    until("what came is stored", || {
        let log = daemon.request("GET /v1/readings?asset=YT-1&limit=1", b"").unwrap();
        (log.0 == 200).then_some(())
    });
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    sending.send(&rows).unwrap();
    let (status, _, answer) = sending.answer();
    assert_eq!(status, 200);
    let count = |name: &str| answer[name].as_u64().unwrap();
    assert_eq!(count("accepted") + count("duplicate"), 20_000, "{answer}");
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 20_000);
}

/// Killed in the middle of a request: nothing was acknowledged; what was stored is whole, and the
/// same body again makes it complete, each reading once.
#[test]
fn a_kill_in_the_middle_of_a_request_loses_nothing_that_is_sent_again() {
    let place = Place::new();
    let daemon = place.serve();
    let rows: Vec<String> = (0..40_000).map(|n| row(n, 10)).collect();
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    sending.send(&rows[..25_000].concat()).unwrap();
    until("a part is stored", || {
        (daemon.request("GET /v1/readings?asset=YT-1&limit=1", b"").unwrap().0 == 200).then_some(())
    });
    daemon.kill();
    let part = place.export().len();
    assert!(part > 0 && part < 40_000, "{part}");
    println!("killed with {part} of 25000 sent rows stored");
    let daemon = place.serve();
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    sending.send(&rows.concat()).unwrap();
    let (status, _, answer) = sending.answer();
    assert_eq!((status, &answer["duplicate"]), (200, &part.into()), "{answer}");
    assert_eq!(answer["accepted"], 40_000 - part);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 40_000);
}

/// Held by another process in the middle of a request: 503 with Retry-After, and the same body
/// again is stored once.
#[test]
fn a_database_locked_in_the_middle_of_a_request_is_told() {
    let place = Place::new();
    let daemon = place.serve();
    let rows: Vec<String> = (0..30_000).map(|n| row(n, 10)).collect();
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    sending.send(&rows[..15_000].concat()).unwrap();
    until("a part is stored", || {
        (daemon.request("GET /v1/readings?asset=YT-1&limit=1", b"").unwrap().0 == 200).then_some(())
    });
    let mut other = Connection::open(place.path("data/ohmward.db")).unwrap();
    until("the store is free for a moment", || {
        other.transaction_with_behavior(TransactionBehavior::Immediate).map(std::mem::forget).ok()
    });
    // The service may close before all of it is sent.
    sending.send(&rows[15_000..].concat()).ok();
    let (status, head, answer) = sending.answer();
    assert_eq!(status, 503, "{answer}");
    assert!(head.contains("retry-after: 5"), "{head}");
    assert!(answer["error"].as_str().unwrap().contains("in use by another process"), "{answer}");
    // Questions are answered meanwhile, and health says what is wrong.
    assert_eq!(daemon.request("GET /v1/assets", b"").unwrap().0, 200);
    until("health tells it", || {
        daemon.get("/healthz")["wrong"].to_string().contains("in use by another").then_some(())
    });
    other.execute_batch("ROLLBACK").unwrap();
    drop(other);
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    sending.send(&rows.concat()).unwrap();
    assert_eq!(sending.answer().0, 200);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 30_000);
}

#[test]
fn the_end_of_the_service_ends_a_body_that_goes_on() {
    let place = Place::new();
    let daemon = place.serve();
    let mut sending = Sending::to(&daemon, CSV);
    sending.send(HEADER).unwrap();
    sending.send(&row(1, 10)).unwrap();
    daemon.until_count("http", "bytes", 10);
    daemon.signal("TERM");
    let mut text = String::new();
    sending.0.read_to_string(&mut text).unwrap();
    assert!(text.starts_with("HTTP/1.1 503") && text.contains("is ending"), "{text}");
    assert!(daemon.end().success());
}
