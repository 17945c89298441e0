//! The demo in its whole form: it keeps serving until it is told to end.

use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::running::{Place, request, until};

#[test]
fn the_demo_keeps_serving_until_it_is_ended() {
    let place = Place::new();
    let mut demo = place.command(&["demo"]).stdout(Stdio::piped()).spawn().unwrap();
    let mut out = BufReader::new(demo.stdout.take().unwrap());
    let mut said = String::new();
    let address = loop {
        let before = said.len();
        assert!(out.read_line(&mut said).unwrap() > 0, "it ended:\n{said}");
        if let Some((_, rest)) = said[before..].split_once("http://") {
            break rest.split('/').next().unwrap().parse().unwrap();
        }
    };
    for asset in ["YT-014/drive", "YT-017/pump", "bench/stator-2"] {
        assert!(said.contains(asset), "{said}");
    }
    let (_, _, body) = request(address, "GET /v1/declining", b"").unwrap();
    let found: Value = serde_json::from_str(&body).unwrap();
    assert!(found.as_array().unwrap().iter().any(|f| f["asset"] == "bench/stator-2"), "{body}");
    let (_, _, body) = request(address, "GET /healthz", b"").unwrap();
    let health: Value = serde_json::from_str(&body).unwrap();
    assert_eq!(health["status"], "ok", "{health}");
    let pid = demo.id().to_string();
    assert!(Command::new("kill").args(["-s", "INT", &pid]).status().unwrap().success());
    let status = until("the demo has ended", || demo.try_wait().unwrap());
    out.read_to_string(&mut said).unwrap();
    assert!(status.success(), "{said}");
}
