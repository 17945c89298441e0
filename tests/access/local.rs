//! A service for this machine alone, without accounts: open to its users, and to no web page.

use serde_json::Value;

use crate::ask::{ask, form};
use crate::running::Place;

const READING: &str =
    r#"[{"taken_at":"2026-03-02T08:15:00Z","asset":"YT-1","phase":"U","resistance_ohm":5e8}]"#;
const JSON: &str = "Content-Type: application/json";

#[test]
fn other_sites_pages_and_bent_names_are_refused() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    let status = |line: &str, headers: &[&str]| ask(at, line, headers, READING).status;
    for host in ["harbour.example", "harbour.example:8040", "192.0.2.1", "a.localhost.example"] {
        let host = format!("Host: {host}");
        for line in ["GET /v1/assets", "GET /healthz", "GET /", "POST /v1/readings"] {
            assert_eq!(status(line, &[&host, JSON]), 421, "{line} {host}");
        }
    }
    assert_eq!(status("GET /v1/assets", &["Host: localhost"]), 200);
    for from in ["Origin: http://harbour.example", "Origin: null", "Sec-Fetch-Site: cross-site"] {
        assert_eq!(status("POST /v1/readings", &[JSON, from]), 403, "{from}");
        // A form of another site needs nobody's leave to be sent.
        assert_eq!(form(at, "/who", &[from], "name=Mallory").status, 403, "{from}");
        assert_eq!(form(at, "/login", &[from], "name=a&password=b").status, 403, "{from}");
    }
    assert!(place.export().is_empty());
    assert_eq!(status("POST /v1/readings", &[JSON]), 200);
    assert_eq!(place.export().len(), 1);
    assert!(daemon.end().success());
}

#[test]
fn a_change_asks_for_the_operators_name() {
    let place = Place::new();
    let daemon = place.serve();
    let at = daemon.address();
    assert_eq!(ask(at, "POST /v1/readings", &[JSON], READING).status, 200);
    let person: Vec<_> = ohmward::web::access()
        .into_iter()
        .filter(|(.., needs)| matches!(needs, ohmward::web::Needs::Person(_)))
        .collect();
    for (method, path, _) in person {
        let path = path.split('/').map(|part| if part.starts_with('{') { "1" } else { part });
        let line = format!("{method} {}", path.collect::<Vec<_>>().join("/"));
        let answer = ask(at, &line, &[JSON], "{}");
        assert_eq!(answer.status, 400, "{line}");
        assert!(answer.body.contains("Ohmward-Operator"), "{line}: {}", answer.body);
    }
    let kept = form(at, "/who", &[], "name=R.+H%C3%A4le&to=%2Fgear");
    assert_eq!((kept.status, kept.header("location")), (303, Some("/gear")));
    let (value, attributes) = kept.cookie("operator").unwrap();
    assert_eq!(attributes, "Path=/; HttpOnly; SameSite=Strict");
    assert_eq!(value, "R%2E%20H%C3%A4le");
    let cookie = format!("Cookie: operator={value}");
    let event = r#"{"at":"2026-03-02T09:00:00Z","asset":"YT-1","kind":"dried","remark":""}"#;
    let events = ask(at, "POST /v1/events", &[JSON, &cookie], event);
    assert_eq!(events.status, 200, "{events:?}");
    let events = place.run(&["event", "list", "YT-1", "--format", "json"]).1;
    let events: Value = serde_json::from_str(&events).unwrap();
    assert_eq!(events[0]["by"], "R. Häle");
    for name in ["", "%00", "a%0D%0ASet-Cookie%3A+b%3D1"] {
        assert_eq!(form(at, "/who", &[], &format!("name={name}")).status, 400, "{name}");
    }
    assert!(daemon.end().success());
}

#[test]
fn the_first_account_closes_the_door_and_the_last_opens_it() {
    let place = Place::new();
    let daemon = place.serve();
    let status = || ask(daemon.address(), "GET /v1/assets", &[], "").status;
    assert_eq!(status(), 200);
    place.account("Moira", "manage");
    assert_eq!(status(), 401);
    assert_eq!(ask(daemon.address(), "GET /healthz", &[], "").status, 200);
    assert_eq!(place.run(&["account", "revoke", "Moira"]).0, 0);
    assert_eq!(status(), 200);
    place.token("gateway", "ingest", &[]);
    assert_eq!(status(), 401);
    assert!(daemon.end().success());
}

#[test]
fn every_answer_has_the_headers_that_keep_it_safe() {
    let place = Place::new();
    let daemon = place.serve();
    for line in ["GET /", "GET /v1/assets", "GET /nothing", "DELETE /v1/assets", "GET /login"] {
        let answer = ask(daemon.address(), line, &["Accept: text/html"], "");
        let policy = answer.header("content-security-policy").unwrap();
        for part in ["default-src 'none'", "script-src 'self'", "frame-ancestors 'none'"] {
            assert!(policy.contains(part), "{line}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{line}: {policy}");
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{line}");
        assert_eq!(answer.header("referrer-policy"), Some("same-origin"), "{line}");
        assert_eq!(answer.header("cache-control"), Some("no-store"), "{line}");
    }
    assert!(daemon.end().success());
}
