//! The audit: what people did by the command line and over HTTP, and who came.

use serde_json::{Value, json};

use crate::ask::{ask, form, logged_in};
use crate::running::{Place, until};

/// What the command tells, without its times.
fn audited(place: &Place) -> Vec<Value> {
    let (code, out) = place.run(&["audit", "--format", "json"]);
    assert_eq!(code, 0);
    let mut rows: Vec<Value> = serde_json::from_str(&out).unwrap();
    for row in &mut rows {
        assert!(row.as_object_mut().unwrap().remove("at").is_some());
    }
    rows
}

#[test]
fn who_changed_what_is_told_with_before_and_after() {
    let place = Place::new();
    place.account("Moira", "manage");
    assert_eq!(place.run(&["asset", "add", "YT-1", "--site", "North quay"]).0, 0);
    assert_eq!(place.run(&["asset", "add", "YT-1", "--site", "South quay"]).0, 0);
    let daemon = place.serve();
    let at = daemon.address();
    let cookie = logged_in(at, "Moira");
    assert_eq!(form(at, "/login", &[], "name=Moira&password=wrong").status, 401);
    let bad = "Authorization: Bearer ohmward_1_2";
    assert_eq!(ask(at, "GET /v1/assets", &[bad], "").status, 401);
    // What the service notes is written soon after its answer.
    let rows = until("all is noted", || {
        let rows = audited(&place);
        (rows.len() >= 6).then_some(rows)
    });
    let row = |who, what, subject, before, after| json!({"who": who, "what": what, "subject": subject, "before": before, "after": after});
    let here = json!({"client": "127.0.0.1"});
    let account = json!({"role": "manage", "state": "counts", "secret": "…"});
    assert_eq!(rows[0], row("the tests", "account", "Moira", Value::Null, account));
    assert_eq!(rows[1]["after"]["site"], "North quay");
    let (before, after) = (json!({"site": "North quay"}), json!({"site": "South quay"}));
    assert_eq!(rows[2], row("the tests", "asset", "YT-1", before, after));
    for noted in [
        row("Moira", "logged in", "Moira", Value::Null, here.clone()),
        row("service", "login refused", "Moira", Value::Null, here.clone()),
        row("service", "token refused", "", Value::Null, here),
    ] {
        assert!(rows[3..].contains(&noted), "{noted} in {rows:?}");
    }
    // Over HTTP the newest comes first, and a change stands under the name of who logged in.
    let page = ask(at, "GET /", &[&cookie, "Accept: text/html"], "");
    let csrf = format!("Ohmward-Csrf: {}", page.csrf());
    let json = "Content-Type: application/json";
    let event = r#"{"at":"2026-03-02T09:00:00Z","asset":"YT-1","kind":"dried","remark":"oven"}"#;
    let event = ask(at, "POST /v1/events", &[json, &cookie, &csrf], event);
    assert!(event.status < 300, "{event:?}");
    let rows = ask(at, "GET /v1/audit?limit=1", &[&cookie], "");
    assert!(rows.header("link").unwrap().contains("rel=\"next\""));
    let rows = rows.json();
    assert_eq!((&rows[0]["who"], &rows[0]["what"]), (&"Moira".into(), &"event".into()));
    assert_eq!(rows[0]["after"], json!({"kind": "dried", "remark": "oven"}));
    let later = ask(at, "GET /v1/audit?since=2999-01-01", &[&cookie], "");
    assert_eq!(later.json(), json!([]));
    assert_eq!(ask(at, "GET /v1/audit?since=soon", &[&cookie], "").status, 400);
    assert!(daemon.end().success());
}
