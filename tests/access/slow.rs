//! Bodies that come slowly: whoever sends one does not keep others from sending theirs.

use std::io::{ErrorKind, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crate::ask::{Answer, answer, ask};
use crate::running::{DEADLINE, Place, until};

const JSON: &str = "application/json";
const CSV: &str = "text/csv";

/// The longest body that is read whole: an array (as the API's document says).
const LONGEST: usize = 16 * 1024 * 1024;

/// The longest body is announced, some of it is sent at once, and then a byte now and then.
struct Slow {
    stream: TcpStream,
    end: Arc<AtomicBool>,
    drops: Option<JoinHandle<()>>,
}

impl Slow {
    fn sends(at: SocketAddr, media: &str, begun: &[u8], next: u8) -> Self {
        let mut stream = TcpStream::connect(at).unwrap();
        stream.set_read_timeout(Some(DEADLINE)).unwrap();
        let head = format!(
            "POST /v1/readings HTTP/1.1\r\nHost: {at}\r\nContent-Type: {media}\r\nContent-Length: \
             {LONGEST}\r\n\r\n"
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(begun).unwrap();
        let end = Arc::new(AtomicBool::new(false));
        let drops = thread::spawn({
            let (mut stream, end) = (stream.try_clone().unwrap(), Arc::clone(&end));
            move || {
                while !end.load(Relaxed) && stream.write_all(&[next]).is_ok() {
                    thread::sleep(Duration::from_millis(100));
                }
            }
        });
        Slow { stream, end, drops: Some(drops) }
    }

    /// Whether it has no answer yet.
    fn hangs(&mut self) -> bool {
        self.stream.set_nonblocking(true).unwrap();
        let got = self.stream.peek(&mut [0]);
        self.stream.set_nonblocking(false).unwrap();
        got.is_err_and(|e| e.kind() == ErrorKind::WouldBlock)
    }

    fn answer(&mut self) -> Option<Answer> {
        answer(&mut self.stream)
    }
}

impl Drop for Slow {
    fn drop(&mut self) {
        self.end.store(true, Relaxed);
        self.drops.take().unwrap().join().unwrap();
    }
}

/// A reading in a body of so many bytes, sent at once.
fn quick(at: SocketAddr, n: usize, bytes: usize) -> Answer {
    let body = format!(
        "[{{\"taken_at\":\"2026-03-02T08:00:0{n}Z\",\"asset\":\"YT-1\",\"phase\":\"U\",\
         \"resistance_ohm\":1e6}}]{}",
        " ".repeat(bytes)
    );
    ask(at, "POST /v1/readings", &["Content-Type: application/json"], &body)
}

/// Those that hang, and how those that do not were answered.
fn sorted(slow: Vec<Slow>) -> (Vec<Slow>, Vec<Answer>) {
    let (mut hang, mut answered) = (Vec::new(), Vec::new());
    for mut slow in slow {
        if slow.hangs() { hang.push(slow) } else { answered.push(slow.answer().unwrap()) }
    }
    (hang, answered)
}

fn cut_for_others(answer: &Answer) {
    assert_eq!(answer.status, 408, "{answer:?}");
    assert!(answer.body.contains("while others waited"), "{answer:?}");
}

#[test]
fn what_is_announced_and_does_not_come_holds_nobody_up() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    let mut slow: Vec<Slow> = Vec::new();
    slow.extend((0..40).map(|_| Slow::sends(at, JSON, b"[", b' ')));
    let rows = b"taken_at,asset,phase,resistance_ohm\n2026-03-01T08:00:00Z,YT-1,U,1e6\n";
    // More of them than the service has threads.
    slow.extend((0..100).map(|_| Slow::sends(at, CSV, rows, b'\n')));
    // All of them are being read.
    let sent = 40 + 100 * rows.len() as u64;
    daemon.until_count("http", "bytes", sent);
    let answer = quick(at, 1, 0);
    assert_eq!((answer.status, &answer.json()["accepted"]), (200, &1.into()), "{answer:?}");
    assert_eq!(ask(at, "GET /v1/readings?asset=YT-1", &[], "").status, 200);
    assert!(slow.iter_mut().all(Slow::hangs));
    drop(slow);
    assert!(daemon.end().success());
}

#[test]
fn what_came_and_goes_on_slowly_makes_room_when_others_wait() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    // All but some 30 KiB of the room (64 MiB).
    let begun = vec![b' '; LONGEST - 8 * 1024];
    let slow: Vec<Slow> = (0..4).map(|_| Slow::sends(at, JSON, &begun, b' ')).collect();
    daemon.until_count("http", "bytes", 4 * begun.len() as u64);
    let answer = quick(at, 2, 100_000);
    assert_eq!((answer.status, &answer.json()["accepted"]), (200, &1.into()), "{answer:?}");
    // No more of them than was needed.
    let (hang, answered) = sorted(slow);
    assert_eq!((hang.len(), answered.len()), (3, 1), "{answered:?}");
    cut_for_others(&answered[0]);
    drop(hang);
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 1);
}

#[test]
fn bodies_of_lines_that_stop_make_room_for_others() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    // Long enough for a thread and 4 MiB each: one more of them than there is room for.
    let lines = vec![b'\n'; 300 * 1024];
    let mut slow: Vec<Slow> = (0..17).map(|_| Slow::sends(at, CSV, &lines, b'\n')).collect();
    until("one of them has made room", || slow.iter_mut().any(|s| !s.hangs()).then_some(()));
    assert_eq!(quick(at, 3, 0).status, 200);
    let (hang, answered) = sorted(slow);
    assert!(hang.len() >= 12, "{answered:?}");
    answered.iter().for_each(cut_for_others);
    drop(hang);
    assert!(daemon.end().success());
}
