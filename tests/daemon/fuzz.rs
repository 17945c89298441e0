//! The API against what others wrote: schemathesis makes requests from its document, right ones and
//! wrong ones, and holds the answers against it; the parser of `prometheus_client` reads the
//! metrics. Both come from PyPI, at fixed versions, into an environment below `target`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Mutex;

use serde_json::json;

use crate::api::must;
use crate::running::{Daemon, Place, until};

/// A Python with what `fuzz/requirements.txt` names; made once.
fn python() -> PathBuf {
    static ONE: Mutex<()> = Mutex::new(());
    let _one = ONE.lock().unwrap();
    let wanted = include_str!("fuzz/requirements.txt");
    let env = Path::new(env!("CARGO_TARGET_TMPDIR")).join("python");
    let done = env.join("requirements.txt");
    let python = env.join("bin/python");
    if fs::read_to_string(&done).is_ok_and(|have| have == wanted) {
        return python;
    }
    fs::remove_dir_all(&env).ok();
    run(Command::new("python3").args(["-m", "venv"]).arg(&env));
    let file = env.join("wanted.txt");
    fs::write(&file, wanted).unwrap();
    let pip = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", "-r"];
    run(Command::new(&python).args(pip).arg(&file));
    fs::rename(file, done).unwrap();
    python
}

fn run(command: &mut Command) -> Output {
    let out = command.output().unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let said = || String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "{command:?}\n{}", said());
    out
}

/// A daemon that has something of everything, under the names of the document's examples.
fn furnished(place: &Place) -> Daemon {
    let daemon = place.serve();
    let rows = "taken_at,asset,phase,resistance_ohm,test_voltage_v,temperature_c,duration_s,tester\n\
        2026-03-01T08:15:00Z,YT-014/drive,U,1e6,500,40,60,HT-5\n\
        2026-03-02T08:15:00Z,YT-014/drive,U,1e6,500,40,60,HT-5\n\
        2026-03-02T08:16:00Z,slot 14,L1,1e6,500,40,60,HT-5\n\
        2026-03-02T08:17:00Z,YT-014/drive,V,much,500,40,60,HT-5\n";
    assert_eq!(daemon.post("text/csv", rows).0, 200);
    until("there is a finding", || {
        (!daemon.get("/v1/declining").as_array().unwrap().is_empty()).then_some(())
    });
    must(&daemon, 200, "POST /v1/gear", &json!({"gear": "HT-5", "kind": "tester"}));
    // What was measured with it is assessed again.
    until("nothing waits to be assessed", || {
        let metrics = daemon.request("GET /metrics", b"").unwrap().2;
        metrics.contains("ohmward_assessments_pending 0\n").then_some(())
    });
    daemon
}

#[test]
fn schemathesis_finds_no_fault() {
    let place = Place::new();
    let daemon = furnished(&place);
    let settings = place.path("fuzz");
    fs::create_dir_all(&settings).unwrap();
    for (name, text) in [
        ("schemathesis.toml", include_str!("fuzz/schemathesis.toml")),
        ("hooks.py", include_str!("fuzz/hooks.py")),
    ] {
        fs::write(settings.join(name), text).unwrap();
    }
    let document = format!("http://{}/v1/openapi.json", daemon.address());
    let mut command = Command::new(python().with_file_name("schemathesis"));
    command
        .args(["run", &document, "--phases", "examples,coverage,fuzzing"])
        // The same requests in every run, and an end within three minutes on two cores.
        .args(["--seed", "20260302", "--max-examples", "20"])
        .args(["--suppress-health-check", "all", "--continue-on-failure", "--warnings", "off"])
        // A stream has no end to wait for: tests/daemon/stream.rs looks at it.
        .args(["--exclude-path", "/v1/stream", "-H", "Ohmward-Operator: R. Hale", "--no-color"])
        .current_dir(&settings);
    let out = run(&mut command);
    let said = String::from_utf8_lossy(&out.stdout);
    let cases = said.lines().find(|line| line.contains(" generated, ")).unwrap_or_default();
    println!("schemathesis: {}", cases.trim());
    assert!(said.contains("No issues found"), "{said}");
    assert!(daemon.end().success());
}

/// OpenMetrics 1.0.0, as `prometheus_client` reads it: it refuses what the standard forbids.
#[test]
fn metrics_are_read_by_a_parser_of_others() {
    const READ: &str = "
import sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse
for family in parse(sys.stdin.read()):
    for sample in family.samples:
        print(family.type, sample.name, sorted(sample.labels.items()), float(sample.value))
";
    let place = Place::new();
    let daemon = furnished(&place);
    let (status, head, metrics) = daemon.request("GET /metrics", b"").unwrap();
    assert_eq!(status, 200);
    assert!(head.contains("application/openmetrics-text; version=1.0.0"), "{head}");
    let file = place.path("metrics.txt");
    fs::write(&file, metrics).unwrap();
    let mut command = Command::new(python());
    let out = run(command.args(["-c", READ]).stdin(fs::File::open(&file).unwrap()));
    let read = String::from_utf8(out.stdout).unwrap();
    for wanted in [
        "counter ohmward_readings_accepted_total [('kind', 'http'), ('source', 'http')] 2.0",
        "gauge ohmward_findings [('kind', 'below limit'), ('state', 'open')] 1.0",
        "gauge ohmward_assessments_pending [] 0.0",
        "counter ohmward_requests_total [('method', 'POST'), ('route', '/v1/readings'), \
         ('status', '200')] 1.0",
        "histogram ohmward_request_duration_seconds_count [('method', 'POST'), \
         ('route', '/v1/readings')] 1.0",
        "gauge ohmward_store_bytes [('part', 'database')]",
        "gauge ohmward_resident_memory_bytes [] ",
    ] {
        assert!(read.contains(wanted), "{wanted}\n{read}");
    }
    assert!(daemon.end().success());
}
