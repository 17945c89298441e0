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

/// A body of 15 MiB is announced, some of it is sent at once, and then a byte now and then.
struct Slow {
    stream: TcpStream,
    end: Arc<AtomicBool>,
    drops: Option<JoinHandle<()>>,
}

impl Slow {
    fn sends(at: SocketAddr, media: &str, begun: &[u8], next: u8) -> Self {
        let mut stream = TcpStream::connect(at).unwrap();
        stream.set_read_timeout(Some(DEADLINE)).unwrap();
        let length = 15 * 1024 * 1024;
        let head = format!(
            "POST /v1/readings HTTP/1.1\r\nHost: {at}\r\nContent-Type: {media}\r\nContent-Length: \
             {length}\r\n\r\n"
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

fn quick(at: SocketAddr, n: usize) -> Answer {
    let body = format!(
        "[{{\"taken_at\":\"2026-03-02T08:00:0{n}Z\",\"asset\":\"YT-1\",\"phase\":\"U\",\
         \"resistance_ohm\":1e6}}]"
    );
    ask(at, "POST /v1/readings", &["Content-Type: application/json"], &body)
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
    let answer = quick(at, 1);
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
    // Four of these are more than may be in memory with a fifth.
    let begun = vec![b' '; 15 * 1024 * 1024 - 10_000];
    let mut slow: Vec<Slow> = (0..4).map(|_| Slow::sends(at, JSON, &begun, b' ')).collect();
    // Bodies of lines that are long enough for a thread of their own.
    let lines = vec![b'\n'; 300 * 1024];
    slow.extend((0..4).map(|_| Slow::sends(at, CSV, &lines, b'\n')));
    let answer = quick(at, 2);
    assert_eq!((answer.status, &answer.json()["accepted"]), (200, &1.into()), "{answer:?}");
    let (mut hang, mut cut) = (Vec::new(), Vec::new());
    for mut slow in slow {
        if slow.hangs() { hang.push(slow) } else { cut.push(slow) }
    }
    // No more of them than was needed.
    assert!(!hang.is_empty() && !cut.is_empty(), "{} hang, {} are cut", hang.len(), cut.len());
    for slow in &mut cut {
        let answer = slow.answer().unwrap();
        assert_eq!(answer.status, 408, "{answer:?}");
        assert!(answer.body.contains("while others waited"), "{answer:?}");
    }
    drop((hang, cut));
    until("the service is well", || (ask(at, "GET /healthz", &[], "").status == 200).then_some(()));
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 1);
}
