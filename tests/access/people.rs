//! People who log in: cookies, forged forms, tries in vain, and how a session ends.

use std::io::{Read, Write};
use std::net::TcpStream;

use serde_json::Value;

use crate::ask::{PASSWORD, answer, ask, form, logged_in, request};
use crate::running::{DEADLINE, Daemon, Place};

fn served() -> (Place, Daemon) {
    let place = Place::new();
    place.account("Moira", "manage");
    let daemon = place.serve();
    (place, daemon)
}

const EVENT: &str =
    r#"{"at":"2026-03-02T08:15:00Z","asset":"YT-1","kind":"dried","remark":"invented"}"#;

#[test]
fn who_is_logged_in_sees_pages_and_changes_things_in_their_name() {
    let (place, daemon) = served();
    let at = daemon.address();
    let page = ask(at, "GET /?all=1", &["Accept: text/html"], "");
    assert_eq!(page.status, 303, "{page:?}");
    assert_eq!(page.header("location"), Some("/login?to=%2F%3Fall%3D1"));
    let to = "name=Moira&password=grey+gull+over+the+quay&to=%2F%3Fall%3D1";
    let answer = form(at, "/login", &[], to);
    assert_eq!((answer.status, answer.header("location")), (303, Some("/?all=1")));
    let (secret, attributes) = answer.cookie("ohmward").unwrap();
    assert_eq!(attributes, "Path=/; HttpOnly; SameSite=Strict");
    assert_eq!(secret.len(), 64);
    let cookie = format!("Cookie: ohmward={secret}");
    let page = ask(at, "GET /", &[&cookie, "Accept: text/html"], "");
    assert_eq!(page.status, 200);
    let csrf = format!("Ohmward-Csrf: {}", page.csrf());

    let reading =
        r#"[{"taken_at":"2026-03-02T08:15:00Z","asset":"YT-1","phase":"U","resistance_ohm":5e8}]"#;
    let send = |headers: &[&str]| {
        let mut all = vec!["Content-Type: application/json"];
        all.extend(headers);
        ask(at, "POST /v1/readings", &all, reading).status
    };
    assert_eq!(send(&[&cookie]), 403);
    assert_eq!(send(&[&cookie, "Ohmward-Csrf: 0"]), 403);
    assert_eq!(send(&[&cookie, &csrf, "Sec-Fetch-Site: cross-site"]), 403);
    assert_eq!(send(&[&cookie, &csrf, "Origin: http://harbour.example"]), 403);
    assert_eq!(send(&[&csrf]), 401);
    assert_eq!(send(&[&cookie, &csrf, "Sec-Fetch-Site: same-origin"]), 200);
    let json = "Content-Type: application/json";
    let event = ask(at, "POST /v1/events", &[&cookie, &csrf, json], EVENT);
    assert_eq!(event.status, 200, "{event:?}");
    let events = place.run(&["event", "list", "YT-1", "--format", "json"]).1;
    let events: Value = serde_json::from_str(&events).unwrap();
    assert_eq!(events[0]["by"], "Moira");
    // Another session's token does not fit.
    let other = logged_in(at, "Moira");
    assert_eq!(send(&[&other, &csrf]), 403);

    assert_eq!(form(at, "/logout", &[&cookie], "csrf=0").status, 403);
    let out = form(at, "/logout", &[&cookie], &format!("csrf={}", page.csrf()));
    assert_eq!((out.status, out.header("location")), (303, Some("/login")));
    assert_eq!(
        out.cookie("ohmward").unwrap(),
        ("", "Path=/; HttpOnly; SameSite=Strict; Max-Age=0")
    );
    assert_eq!(ask(at, "GET /v1/assets", &[&cookie], "").status, 401);
    assert_eq!(ask(at, "GET /v1/assets", &[&other], "").status, 200);
    assert!(daemon.end().success());
}

#[test]
fn a_wrong_name_is_answered_as_a_wrong_password_is() {
    let (_place, daemon) = served();
    let at = daemon.address();
    let tried = |name: &str, password: &str, headers: &[&str]| {
        form(at, "/login", headers, &format!("name={name}&password={password}"))
    };
    let (name, password) = (tried("nobody", "x", &[]), tried("Moira", "x", &[]));
    assert_eq!((name.status, &name.body), (401, &password.body));
    assert!(name.header("set-cookie").is_none());
    let long = "x".repeat(100_000);
    assert_eq!(tried("Moira", &long, &[]).status, 401);
    assert_eq!(tried(&long, "x", &[]).status, 401);
    let page = tried("Moira", "x", &["Accept: text/html"]);
    assert_eq!((page.status, page.header("location")), (303, Some("/login?wrong=1&to=%2F")));
    assert_eq!(form(at, "/login", &[], "name=Moira").status, 422);
    assert_eq!(ask(at, "POST /login", &["Content-Type: application/json"], "{}").status, 415);
    // Nobody is led to another site.
    for to in ["https%3A%2F%2Fe.example", "%2F%2Fe.example", "%2Fa%0D%0ASet-Cookie%3A%20b%3D1"] {
        let body = format!("name=Moira&password={}&to={to}", PASSWORD.replace(' ', "+"));
        assert_eq!(form(at, "/login", &[], &body).header("location"), Some("/"), "{to}");
    }
    assert!(daemon.end().success());
}

#[test]
fn tries_in_vain_are_slowed_down_and_noted() {
    let (place, daemon) = served();
    let at = daemon.address();
    let good = place.token("gateway", "ingest", &[]);
    let mut refused = 0;
    let waiting = loop {
        let answer = form(at, "/login", &[], "name=Moira&password=wrong");
        match answer.status {
            401 => refused += 1,
            429 => break answer,
            other => panic!("{other}"),
        }
        assert!(refused < 100, "never slowed down");
    };
    assert_eq!(refused, 10);
    let wait: u32 = waiting.header("retry-after").unwrap().parse().unwrap();
    assert!((1..=30).contains(&wait), "{wait}");
    // The right password has to wait as well; a token that counts does not.
    let right = format!("name=Moira&password={}", PASSWORD.replace(' ', "+"));
    assert_eq!(form(at, "/login", &[], &right).status, 429);
    let bad = "Authorization: Bearer ohmward_1_2";
    assert_eq!(ask(at, "GET /v1/assets", &[bad], "").status, 429);
    assert_eq!(ask(at, "POST /v1/readings", &[&good], "").status, 415);
    assert!(daemon.end().success());
}

#[test]
fn a_session_ends_at_once_with_its_account() {
    let (place, daemon) = served();
    let at = daemon.address();
    place.account("Ines", "bench");
    let asked = |cookie: &str| ask(at, "GET /v1/assets", &[cookie], "").status;
    let cookie = logged_in(at, "Ines");
    assert_eq!(asked(&cookie), 200);
    assert_eq!(place.run(&["account", "role", "Ines", "read"]).0, 0);
    assert_eq!(asked(&cookie), 401);
    let cookie = logged_in(at, "Ines");
    place.with_password(&["account", "password", "Ines"]);
    assert_eq!(asked(&cookie), 401);
    let cookie = logged_in(at, "Ines");
    assert_eq!(asked(&cookie), 200);
    assert_eq!(place.run(&["account", "revoke", "Ines"]).0, 0);
    assert_eq!(asked(&cookie), 401);
    let body = format!("name=Ines&password={}", PASSWORD.replace(' ', "+"));
    assert_eq!(form(at, "/login", &[], &body).status, 401);
    // Nobody else was logged out, and no secret lies in the store.
    assert_eq!(asked(&logged_in(at, "Moira")), 200);
    assert!(daemon.end().success());
    let bytes = std::fs::read(place.path("data/ohmward.db")).unwrap();
    assert!(!bytes.windows(PASSWORD.len()).any(|part| part == PASSWORD.as_bytes()));
    assert_eq!(place.run(&["check"]).0, 0);
}

#[test]
fn an_open_stream_ends_with_its_session_or_token() {
    let (place, daemon) = served();
    let at = daemon.address();
    place.account("Ines", "read");
    let cookie = logged_in(at, "Ines");
    let token = place.token("board", "read", &[]);
    let mut streams: Vec<TcpStream> = [&cookie, &token]
        .iter()
        .map(|header| {
            let mut stream = TcpStream::connect(at).unwrap();
            stream.set_read_timeout(Some(DEADLINE)).unwrap();
            stream.write_all(&request(at, "GET /v1/stream", &[header], "")).unwrap();
            assert_eq!(answer(&mut stream).unwrap().status, 200);
            stream
        })
        .collect();
    assert_eq!(place.run(&["account", "revoke", "Ines"]).0, 0);
    assert_eq!(place.run(&["token", "revoke", "board"]).0, 0);
    let reading = "taken_at,asset,phase,resistance_ohm\n2026-03-02T08:15:00Z,YT-1,U,5e8\n";
    let ingest = place.token("gateway", "ingest", &[]);
    assert_eq!(
        ask(at, "POST /v1/readings", &[&ingest, "Content-Type: text/csv"], reading).status,
        200
    );
    for stream in &mut streams {
        let mut rest = String::new();
        stream.read_to_string(&mut rest).unwrap();
        assert!(!rest.contains("YT-1"), "{rest}");
    }
    assert!(daemon.end().success());
}
