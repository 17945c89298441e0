//! Bad HTTP: too large, too slow, malformed, bent. Clear answers, a service that stays up, and
//! nothing half stored.

use std::io::Write;
use std::net::{SocketAddr, TcpStream};

use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};

use crate::ask::{answer, ask, raw, request};
use crate::running::{DEADLINE, Daemon, Place, until};

const JSON: &str = "Content-Type: application/json";

/// The service answers, and nothing was stored.
fn unharmed(place: &Place, daemon: Daemon) {
    assert_eq!(ask(daemon.address(), "GET /healthz", &[], "").status, 200);
    assert!(!daemon.log().contains("panicked"), "{}", daemon.log());
    assert!(daemon.end().success());
    assert!(place.export().is_empty());
    let (code, said) = place.run(&["check"]);
    assert_eq!(code, 0, "{said}");
}

#[test]
fn malformed_requests_are_refused_and_harm_nothing() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    let host = format!("Host: {at}\r\n");
    let get = |rest: &str| format!("GET /healthz HTTP/1.1\r\n{host}{rest}\r\n");
    let post = |rest: &str| format!("POST /v1/readings HTTP/1.1\r\n{host}{JSON}\r\n{rest}");
    let many: String = (0..200).map(|n| format!("X-{n}: 1\r\n")).collect();
    let cases: Vec<(&str, String, &[u16])> = vec![
        ("a long header", get(&format!("X: {}\r\n", "x".repeat(100_000))), &[431]),
        ("many headers", get(&many), &[431]),
        (
            "a long path",
            format!("GET /{} HTTP/1.1\r\n{host}\r\n", "x".repeat(100_000)),
            &[414, 431],
        ),
        ("no HTTP at all", "HELLO\r\n\r\n".into(), &[400]),
        ("an unknown version", format!("GET / HTTP/9.9\r\n{host}\r\n"), &[400, 505]),
        // Closed without an answer.
        ("HTTP/2", "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n".into(), &[0, 400, 505]),
        ("a method of no letters", format!("<> / HTTP/1.1\r\n{host}\r\n"), &[400]),
        ("a path without a slash", format!("GET healthz HTTP/1.1\r\n{host}\r\n"), &[400, 404, 421]),
        ("a blank in the path", format!("GET /a b HTTP/1.1\r\n{host}\r\n"), &[400]),
        ("a header without a colon", get("broken\r\n"), &[400]),
        ("a zero byte in a header", get("X: a\0b\r\n"), &[400]),
        ("a folded header", get("X: a\r\n b\r\n"), &[400]),
        ("two lengths", post("Content-Length: 5\r\nContent-Length: 6\r\n\r\n[]   "), &[400]),
        ("a negative length", post("Content-Length: -1\r\n\r\n"), &[400]),
        ("a length of words", post("Content-Length: much\r\n\r\n"), &[400]),
        ("a wrong chunk", post("Transfer-Encoding: chunked\r\n\r\nzz\r\n[]\r\n0\r\n\r\n"), &[400]),
        ("chunks not last", post("Transfer-Encoding: chunked, gzip\r\n\r\n"), &[400]),
        ("no host", "GET /v1/assets HTTP/1.1\r\n\r\n".into(), &[400, 421]),
        ("two hosts", get("Host: harbour.example\r\n"), &[400, 421]),
    ];
    for (what, bytes, expected) in cases {
        let answer = raw(at, bytes.as_bytes());
        let status = answer.as_ref().map_or(0, |answer| answer.status);
        assert!(expected.contains(&status), "{what}: {answer:?}");
    }
    for noise in [&b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03"[..], &[0; 4_096], &[0xff; 4_096]]
    {
        let status = raw(at, noise).map(|answer| answer.status);
        assert!(status.is_none_or(|status| status == 400), "{status:?}");
    }
    unharmed(&place, daemon);
}

#[test]
fn bodies_of_a_wrong_kind_or_size_are_refused() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    let post = |line: &str, headers: &[&str], body: &str| ask(at, line, headers, body).status;
    let readings = "POST /v1/readings";
    assert_eq!(post(readings, &["Content-Type: text/plain"], "x"), 415);
    assert_eq!(post(readings, &[], "[]"), 415);
    assert_eq!(post(readings, &["Content-Type: \u{e9}\u{fc}"], "[]"), 415);
    for body in ["", "null", "7", "{}", "[", "\u{feff}"] {
        assert_eq!(post(readings, &[JSON], body), 400, "{body}");
    }
    assert_eq!(post(readings, &[JSON], &"[".repeat(1_000_000)), 400);
    assert_eq!(post(readings, &[JSON], &" ".repeat(17 * 1024 * 1024)), 413);
    // A body that is longer than anybody may send is not waited for.
    let huge = format!(
        "{readings} HTTP/1.1\r\nHost: {at}\r\n{JSON}\r\nContent-Length: 999999999999\r\n\r\n"
    );
    let mut stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(DEADLINE)).unwrap();
    stream.write_all(huge.as_bytes()).unwrap();
    let lump = [b' '; 64 * 1024];
    while stream.write_all(&lump).is_ok() {}
    let form = "Content-Type: application/x-www-form-urlencoded";
    let long = format!("name=a&password={}", "x".repeat(2 * 1024 * 1024));
    assert_eq!(post("POST /login", &[form], &long), 413);
    assert_eq!(post("POST /login", &[form], "name=%ff%fe&password=x"), 401);
    assert_eq!(post("GET /v1/assets", &[], &" ".repeat(100_000)), 200);
    // What is right beside what is wrong is stored, so nothing may be.
    let one = r#"[{"taken_at":"2026-03-02T08:15:00Z","asset":"YT-1","phase":"U"}]"#;
    assert_eq!(post(readings, &[JSON], one), 200);
    unharmed(&place, daemon);
}

#[test]
fn bent_paths_and_headers_lead_nowhere() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    for path in [
        "/../../../../etc/passwd",
        "/static/../../../../etc/passwd",
        "/static/..%2f..%2f..%2f..%2fetc%2fpasswd",
        "/static/%2e%2e/%2e%2e/etc/passwd",
        "/static/%252e%252e%252fetc%252fpasswd",
        "/static/..\\..\\etc\\passwd",
        "/static/%00",
        "/static/config.toml",
        "/data/ohmward.db",
        "//etc/passwd",
        "/v1//assets",
        "/v1/assets/%00",
        "/v1/assets/%ff%fe",
        "/v1/assets/..%2f..%2fhealthz",
        "/v1/assets/%2e%2e",
        "/v1/nothing/../assets",
        "/healthz/",
        "/%68ealthz%00",
    ] {
        let answer = ask(at, &format!("GET {path}"), &[], "");
        assert!((400..500).contains(&answer.status), "{path}: {answer:?}");
        assert!(!answer.body.contains("root:") && !answer.body.contains("SQLite"), "{path}");
    }
    // What is told back is told as data, never as a header.
    let path = "GET /login?to=%0d%0aSet-Cookie:%20a=1";
    let page = ask(at, path, &["Accept: text/html"], "");
    assert!(page.header("set-cookie").is_none(), "{page:?}");
    let bent = "Ohmward-Operator: a%0d%0aSet-Cookie: b=1";
    assert!(ask(at, "GET /v1/assets", &[bent], "").header("set-cookie").is_none());
    let script = "GET /login?to=/%22%3E%3Cscript%3Ealert(1)%3C/script%3E";
    assert!(!ask(at, script, &["Accept: text/html"], "").body.contains("<script>alert"));
    unharmed(&place, daemon);
}

/// A connection on which this was sent, and nothing follows.
fn stuck(at: SocketAddr, sent: &[u8]) -> TcpStream {
    let mut stream = TcpStream::connect(at).unwrap();
    stream.set_read_timeout(Some(DEADLINE)).unwrap();
    stream.write_all(sent).unwrap();
    stream
}

#[test]
fn slow_clients_are_not_waited_for() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    let mut silent = stuck(at, b"");
    let mut head = stuck(at, b"POST /v1/readings HTTP/1.1\r\nContent-Le");
    let whole = request(at, "POST /v1/readings", &[JSON], &"[".repeat(1_000));
    let mut body = stuck(at, &whole[..whole.len() - 900]);
    // One that sends a byte now and then is no better.
    let mut drop_by_drop = stuck(at, b"GET /healthz HTTP/1.1\r\n");
    until("a head drop by drop is cut off", || {
        std::thread::sleep(std::time::Duration::from_millis(200));
        drop_by_drop.write_all(b"X: 1\r\n").is_err().then_some(())
    });
    // Others are served meanwhile.
    assert_eq!(ask(at, "GET /v1/assets", &[], "").status, 200);
    let late = answer(&mut body).unwrap();
    assert_eq!(late.status, 408, "{late:?}");
    assert!(answer(&mut silent).is_none());
    assert!(answer(&mut head).is_none_or(|answer| answer.status == 408));
    unharmed(&place, daemon);
}

#[test]
fn a_thousand_idle_connections_do_not_hold_the_service() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    // After the daemon was started, which sees to its own limit.
    let Rlimit { maximum, .. } = getrlimit(Resource::Nofile);
    setrlimit(Resource::Nofile, Rlimit { current: maximum, maximum }).unwrap();
    let mut idle: Vec<TcpStream> = (0..1_000).map(|_| stuck(at, b"")).collect();
    assert_eq!(ask(at, "GET /v1/assets", &[], "").status, 200);
    assert_eq!(ask(at, "POST /v1/readings", &[JSON], "[]").status, 200);
    // They are let go of, all of them.
    assert!(idle.iter_mut().all(|stream| answer(stream).is_none()));
    unharmed(&place, daemon);
}
