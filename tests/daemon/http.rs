//! Requests: what is answered, and when.

use serde_json::json;

use crate::running::{Place, until};

const CSV: &str = "text/csv; charset=utf-8";
const JSON: &str = "application/json";
const LINES: &str = "application/x-ndjson";

#[test]
fn every_record_is_counted_once() {
    let place = Place::new();
    let daemon = place.serve();
    let body = "taken_at,asset,phase,resistance_ohm\n\
        2026-03-02T08:15:00Z,YT-1,U,5.5e8\n2026-03-02T08:16:00Z,YT-1,V,much\n2026-03-02T08:17:00Z,,W,1e6\n";
    let (status, answer) = daemon.post(CSV, body);
    assert_eq!(status, 200);
    assert_eq!((&answer["accepted"], &answer["tray"]), (&1.into(), &1.into()));
    assert_eq!(answer["rejected"][0]["record"], 3);
    assert!(answer["rejected"][0]["reason"].as_str().unwrap().contains("`much`"), "{answer}");
    // The same again is the same reading; the same time with another remark is a conflict.
    let one = json!({"taken_at": "2026-03-02T08:15:00Z", "asset": "YT-1", "phase": "U",
        "resistance_ohm": 5.5e8});
    let mut other = one.clone();
    other["remark"] = "wet".into();
    let (status, answer) = daemon.post(JSON, &json!([one, other]).to_string());
    assert_eq!((status, &answer["duplicate"]), (200, &1.into()));
    assert_eq!(answer["rejected"][0]["record"], 2);
    let (status, answer) = daemon.post(LINES, "{\"taken_at\":1}\nnot JSON\n");
    assert_eq!((status, answer["rejected"].as_array().unwrap().len()), (200, 2));
    assert!(daemon.end().success());
    assert_eq!(place.export().len(), 2);
}

#[test]
fn what_is_wrong_as_a_whole_is_refused_and_nothing_is_stored() {
    let place = Place::new();
    let daemon = place.serve();
    let refused = |media: &str, body: &str, status: u16, words: &str| {
        let (found, answer) = daemon.post(media, body);
        assert_eq!(found, status, "{answer}");
        assert!(answer["error"].as_str().unwrap().contains(words), "{answer}");
    };
    refused(JSON, "{\"taken_at\": 1}", 400, "expected a JSON array");
    refused(JSON, "[", 400, "expected a JSON array");
    refused(CSV, "asset,phase\nYT-1,U\n", 400, "taken_at");
    refused("text/plain", "x", 415, "found `text/plain`");
    refused(JSON, &" ".repeat(17 * 1024 * 1024), 413, "at most");
    let get = |path: &str| daemon.request(&format!("GET {path}"), b"").unwrap();
    assert_eq!(get("/v1/nothing").0, 404);
    assert_eq!(get("/v1/readings").0, 400);
    assert_eq!(get("/v1/readings?asset=unknown").0, 404);
    assert_eq!(get("/v1/declining?every=1").0, 400);
    assert_eq!(daemon.request("DELETE /v1/readings", b"").unwrap().0, 405);
    assert_eq!(get("/v1/assets").2, "[]");
    assert!(daemon.end().success());
}

#[test]
fn a_low_reading_is_a_finding_soon_after() {
    let place = Place::new();
    let daemon = place.serve();
    let low = |day: u32| {
        json!({"taken_at": format!("2026-03-0{day}T08:15:00Z"), "asset": "YT-1", "phase": "U",
            "resistance_ohm": 1e6, "test_voltage_v": 500, "temperature_c": 40,
            "temperature_of": "winding", "duration_s": 60})
    };
    daemon.post(JSON, &json!([low(1), low(2)]).to_string());
    let found = until("the finding appears", || {
        let found = daemon.get("/v1/declining");
        (!found.as_array().unwrap().is_empty()).then_some(found)
    });
    assert_eq!((&found[0]["asset"], &found[0]["finding"]), (&"YT-1".into(), &"below limit".into()));
    let (status, head, metrics) = daemon.request("GET /metrics", b"").unwrap();
    assert_eq!(status, 200);
    assert!(head.contains("application/openmetrics-text; version=1.0.0"), "{head}");
    assert!(metrics.contains("ohmward_readings_accepted_total{kind=\"http\",source=\"http\"} 2\n"));
    // OpenMetrics 1.0.0: the exposition ends with this line.
    assert!(metrics.ends_with("# EOF\n"));
    assert!(daemon.end().success());
}
