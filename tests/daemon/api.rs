//! What other programs lean on: every question at any time, every change with who made it.

use serde_json::{Value, json};

use crate::running::{Daemon, Place, until};

const JSON: &str = "application/json";

/// An answer: status, headers, body.
type Answer = (u16, String, Value);

/// A request with a JSON body (or none), in somebody's name.
pub(crate) fn call(daemon: &Daemon, line: &str, body: &Value) -> Answer {
    let head = format!("{line}\r\nContent-Type: {JSON}\r\nOhmward-Operator: R. Hale");
    let sent = if body.is_null() { String::new() } else { body.to_string() };
    let (status, head, body) = daemon.request(&head, sent.as_bytes()).unwrap();
    let value = serde_json::from_str(&body).unwrap_or(Value::String(body));
    (status, head, value)
}

/// The same, which must be answered with this status.
pub(crate) fn must(daemon: &Daemon, status: u16, line: &str, body: &Value) -> Value {
    let (found, _, answer) = call(daemon, line, body);
    assert_eq!(found, status, "{line} {body}: {answer}");
    answer
}

/// A reading below the limit.
fn low(asset: &str, day: u32) -> Value {
    json!({"taken_at": format!("2026-03-{day:02}T08:15:00Z"), "asset": asset, "phase": "U",
        "resistance_ohm": 1e6, "test_voltage_v": 500, "temperature_c": 40,
        "temperature_of": "winding", "duration_s": 60})
}

/// A daemon with one asset that is below its limit.
fn below(place: &Place) -> Daemon {
    let daemon = place.serve();
    assert_eq!(
        daemon.post(JSON, &json!([low("YT-014/drive", 1), low("YT-014/drive", 2)]).to_string()).0,
        200
    );
    until("the finding appears", || {
        (!daemon.get("/v1/declining").as_array().unwrap().is_empty()).then_some(())
    });
    daemon
}

#[test]
fn a_finding_is_answered_and_stays_known() {
    let place = Place::new();
    let daemon = below(&place);
    let findings = daemon.get("/v1/findings?asset=YT-014%2Fdrive&finding=below%20limit");
    assert_eq!(
        (&findings[0]["state"], &findings[0]["answered_by"]),
        (&"open".into(), &Value::Null)
    );
    let of = "/v1/findings/YT-014%2Fdrive/below%20limit";
    let answer = json!({"remark": "booked for the dock"});
    let found = must(&daemon, 200, &format!("POST {of}/acknowledge"), &answer);
    assert_eq!(
        (&found["state"], &found["answered_by"]),
        (&"acknowledged".into(), &"R. Hale".into())
    );
    assert_eq!(daemon.get("/v1/findings?state=open"), json!([]));
    let found = must(&daemon, 200, &format!("POST {of}/close"), &json!({"remark": "rewound"}));
    assert_eq!((&found["state"], &found["remark"]), (&"closed".into(), &"rewound".into()));
    // Nobody, nothing and something else.
    let nobody = format!("POST {of}/close\r\nContent-Type: {JSON}");
    assert_eq!(daemon.request(&nobody, b"{\"remark\":\"x\"}").unwrap().0, 400);
    must(&daemon, 400, &format!("POST {of}/close"), &json!({"remark": " "}));
    let wrong = must(&daemon, 400, &format!("POST {of}/close"), &json!({"remark": 1}));
    assert!(wrong["error"].as_str().unwrap().contains("remark: invalid type"), "{wrong}");
    let wrong = must(&daemon, 400, &format!("POST {of}/close"), &json!({"remrk": "x"}));
    assert!(wrong["error"].as_str().unwrap().contains("unknown field `remrk`"), "{wrong}");
    must(&daemon, 404, "POST /v1/findings/YT-014%2Fdrive/step/close", &answer);
    must(&daemon, 404, "POST /v1/findings/YT-999/step/close", &answer);
    must(&daemon, 400, "POST /v1/findings/YT-999/odd/close", &answer);
    assert!(daemon.end().success());
}

#[test]
fn every_question_can_be_asked_of_the_past() {
    let place = Place::new();
    let daemon = below(&place);
    let now = must(&daemon, 200, "GET /v1/assets/YT-014%2Fdrive", &Value::Null);
    assert_eq!(now["assessment"]["verdict"], "below limit");
    // The same as the command gives.
    let (_, told) = place.run(&["--format", "json", "assess", "YT-014/drive"]);
    assert_eq!(now["assessment"], serde_json::from_str::<Value>(&told).unwrap());
    let then = daemon.get("/v1/assets/YT-014%2Fdrive?as_of=2026-03-01");
    assert_eq!(then["assessment"]["readings"], 1);
    assert_eq!(daemon.get("/v1/declining?as_of=2026-03-01"), json!([]));
    assert_eq!(daemon.get("/v1/declining?as_of=2026-03-02")[0]["finding"], "below limit");
    assert_eq!(daemon.get("/v1/declining?known_at=2026-01-01"), json!([]));
    assert_eq!(daemon.get("/v1/findings?as_of=2026-02-01"), json!([]));
    assert_eq!(daemon.get("/v1/assets?known_at=2026-01-01"), json!([]));
    let readings = daemon.get("/v1/readings?asset=YT-014/drive&as_of=2026-03-01");
    assert_eq!(readings.as_array().unwrap().len(), 1);
    assert_eq!(
        (&readings[0]["used"], &readings[0]["from"]),
        (&"counts".into(), &"127.0.0.1".into())
    );
    must(&daemon, 404, "GET /v1/readings?asset=YT-014/drive&known_at=2026-01-01", &Value::Null);
    let wrong = must(&daemon, 400, "GET /v1/assets?as_of=yesterday", &Value::Null);
    assert!(wrong["error"].as_str().unwrap().contains("as_of: expected a time like"), "{wrong}");
    assert!(daemon.end().success());
}

#[test]
fn lists_come_in_pages() {
    let place = Place::new();
    let daemon = place.serve();
    let readings: Vec<Value> = (1..=5).map(|day| low(&format!("YT-{day}"), day)).collect();
    assert_eq!(daemon.post(JSON, &Value::from(readings).to_string()).0, 200);
    let (mut path, mut seen) = ("/v1/assets?limit=2".to_owned(), Vec::new());
    loop {
        let (status, head, page) = call(&daemon, &format!("GET {path}"), &Value::Null);
        assert_eq!(status, 200, "{page}");
        let page = page.as_array().unwrap().clone();
        assert!(page.len() <= 2);
        seen.extend(page.iter().map(|asset| asset["asset"].as_str().unwrap().to_owned()));
        let Some((_, link)) = head.split_once("link: <") else { break };
        assert!(link.contains(">; rel=\"next\""), "{head}");
        path = link.split_once('>').unwrap().0.to_owned();
    }
    assert_eq!(seen, ["YT-1", "YT-2", "YT-3", "YT-4", "YT-5"]);
    for wrong in ["limit=0", "limit=10001", "limit=all", "after=zz", "page=2"] {
        must(&daemon, 400, &format!("GET /v1/assets?{wrong}"), &Value::Null);
    }
    assert!(daemon.end().success());
}

#[test]
fn readings_are_put_right() {
    let place = Place::new();
    let daemon = below(&place);
    let history = || daemon.get("/v1/readings?asset=YT-014/drive");
    let id = history()[0]["id"].as_str().unwrap().to_owned();
    let why = json!({"reason": "clip had slipped"});
    must(&daemon, 200, &format!("POST /v1/readings/{id}/void"), &why);
    assert_eq!(history()[0]["used"], "left out: void (clip had slipped)");
    must(&daemon, 200, &format!("POST /v1/readings/{id}/restore"), &json!({"reason": "no"}));
    assert_eq!(history()[0]["used"], "counts");
    must(&daemon, 201, "POST /v1/assets", &json!({"asset": "YT-015/drive"}));
    must(&daemon, 409, "POST /v1/assets", &json!({"asset": "YT-015/drive"}));
    let to = json!({"asset": "YT-015/drive", "phase": "V", "reason": "wrong slip"});
    must(&daemon, 200, &format!("POST /v1/readings/{id}/move"), &to);
    assert_eq!(history().as_array().unwrap().len(), 1);
    let there = daemon.get("/v1/readings?asset=YT-015/drive");
    assert_eq!(there[0]["used"], "counts, moved from YT-014/drive U");
    must(&daemon, 404, "POST /v1/readings/99.1/void", &why);
    must(&daemon, 400, "POST /v1/readings/x/void", &why);
    must(
        &daemon,
        404,
        &format!("POST /v1/readings/{id}/move"),
        &json!({"asset": "-", "reason": "x"}),
    );
    assert!(daemon.end().success());
}

#[test]
fn what_waits_is_placed_or_read_again() {
    let place = Place::new();
    let daemon = place.serve();
    let body = "taken_at,asset,phase,resistance_ohm\n2026-03-02T08:15:00Z,slot 14,L1,5.5e8\n\
        2026-03-02T08:16:00Z,slot 14,L2,5.5e8\n2026-03-02T08:17:00Z,YT-1,U,much\n";
    assert_eq!(daemon.post("text/csv", body).0, 200);
    let tray = daemon.get("/v1/tray");
    assert_eq!(
        (&tray[0]["written_phase"], &tray[1]["written_phase"]),
        (&"L1".into(), &"L2".into())
    );
    must(&daemon, 201, "POST /v1/assets", &json!({"asset": "YT-014/drive"}));
    let id = tray[0]["reading"].as_str().unwrap();
    let line = format!("POST /v1/tray/{id}/assign");
    let wrong = must(&daemon, 400, &line, &json!({"asset": "YT-014/drive", "reason": "slot"}));
    assert!(wrong["error"].as_str().unwrap().contains("phase"), "{wrong}");
    must(&daemon, 200, &line, &json!({"asset": "YT-014/drive", "phase": "U", "reason": "slot"}));
    let alias = json!({"written": "slot 14", "asset": "YT-014/drive", "phase_written": "L2",
        "phase": "V"});
    let done = must(&daemon, 200, "POST /v1/aliases", &alias);
    assert_eq!((&done["recorded"], &done["left_tray"]), (&1.into(), &1.into()));
    assert_eq!(daemon.get("/v1/tray"), json!([]));
    assert_eq!(daemon.get("/v1/aliases")[0]["by"], "R. Hale");
    let named = json!({"written": "slot 14", "asset": "YT-014/drive", "phase_written": "L2"});
    must(&daemon, 200, "POST /v1/aliases/void", &named);
    assert_eq!(daemon.get("/v1/aliases"), json!([]));
    must(&daemon, 404, "POST /v1/aliases/void", &named);

    let rejects = daemon.get("/v1/rejects");
    let number = rejects[0]["number"].as_u64().unwrap();
    assert_eq!(daemon.get(&format!("/v1/rejects/{number}")), rejects[0]);
    assert_eq!(daemon.get("/v1/rejects?known_at=2026-01-01"), json!([]));
    let done = must(&daemon, 200, "POST /v1/rejects/retry", &json!({"numbers": [number]}));
    assert_eq!(done["rejected"], 1);
    must(&daemon, 404, "POST /v1/rejects/retry", &json!({"numbers": [99]}));
    must(&daemon, 404, "GET /v1/rejects/99", &Value::Null);
    assert!(daemon.end().success());
}

#[test]
fn registers_are_kept_with_who_and_when() {
    let place = Place::new();
    let daemon = place.serve();
    let asset = json!({"asset": "YT-014/hv", "kind": "cable", "insulation": "none",
        "more_limits": [{"ohm_per_volt": 100, "working_voltage_v": 800}]});
    let new = must(&daemon, 201, "POST /v1/assets", &asset);
    assert_eq!(
        (&new["limit_ohm"], &new["more_limits"][0]["limit_ohm"]),
        (&Value::Null, &80_000.0.into())
    );
    let line = "PATCH /v1/assets/YT-014%2Fhv";
    let changed = must(&daemon, 200, line, &json!({"limit_ohm": 1e6, "site": "North quay"}));
    assert_eq!((&changed["limit_ohm"], &changed["kind"]), (&1e6.into(), &"cable".into()));
    let changed = must(&daemon, 200, line, &json!({"limit_ohm": null}));
    assert_eq!((&changed["limit_ohm"], &changed["site"]), (&Value::Null, &"North quay".into()));
    for wrong in [json!({"limit_ohm": 0}), json!({"insulation": "wood"}), json!({"id": "x"})] {
        must(&daemon, 400, line, &wrong);
    }
    must(&daemon, 404, "PATCH /v1/assets/YT-999", &json!({}));

    let event = json!({"at": "2026-03-02T08:15:00Z", "asset": "YT-014/hv", "kind": "washed"});
    must(&daemon, 200, "POST /v1/events", &event);
    assert_eq!(must(&daemon, 200, "POST /v1/events", &event)["recorded"], 0);
    assert_eq!(daemon.get("/v1/events?asset=YT-014/hv")[0]["kind"], "washed");
    assert_eq!(daemon.get("/v1/events?as_of=2026-03-01"), json!([]));
    must(&daemon, 404, "POST /v1/events", &json!({"asset": "YT-999", "kind": "washed"}));
    must(&daemon, 200, "POST /v1/events/void", &event);
    must(&daemon, 404, "POST /v1/events/void", &event);

    let gear = json!({"gear": "HT-5", "kind": "tester", "full_scale_ohm": 550e6,
        "due": "2026-01-01"});
    must(&daemon, 200, "POST /v1/gear", &gear);
    let listed = daemon.get("/v1/gear");
    assert_eq!(
        (&listed[0]["overdue"], &listed[0]["full_scale_ohm"]),
        (&true.into(), &550e6.into())
    );
    must(&daemon, 400, "POST /v1/gear", &json!({"gear": "HT-5", "kind": "hammer"}));

    let proof = json!({"at": "2026-03-02T08:05:00Z", "tester": "HT-5", "kind": "open",
        "passed": true});
    must(&daemon, 200, "POST /v1/proofs", &proof);
    assert_eq!(daemon.get("/v1/proofs?tester=HT-5")[0]["moment"], "before");
    must(&daemon, 200, "POST /v1/proofs/void", &proof);
    assert_eq!(daemon.get("/v1/proofs"), json!([]));
    assert!(daemon.end().success());
}
