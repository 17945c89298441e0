//! The systemd unit: no word in it that systemd does not know, and little that it allows.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]
#![expect(
    clippy::print_stdout,
    reason = "figures and skipped checks are shown to who runs the tests"
)]

use std::fs;
use std::process::Command;

/// Highest exposure that is accepted, in tenths: `systemd-analyze security` calls up to 2.0 OK.
const EXPOSURE_TENTHS: &str = "20";

/// The unit with the binary just built in place of the installed one; none without systemd.
fn unit() -> Option<(tempfile::TempDir, String)> {
    if Command::new("systemd-analyze").arg("--version").output().is_err() {
        println!("skipped: there is no `systemd-analyze` on this machine");
        return None;
    }
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("ohmward.service");
    let text = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/systemd/ohmward.service"));
    let text = text.unwrap().replace("/usr/bin/ohmward", env!("CARGO_BIN_EXE_ohmward"));
    fs::write(&path, text).unwrap();
    Some((dir, path.to_str().unwrap().to_owned()))
}

#[test]
fn systemd_knows_every_word() {
    let Some((_dir, path)) = unit() else { return };
    let out = Command::new("systemd-analyze").args(["verify", &path]).output().unwrap();
    // It ends with 0 also for a key that it does not know: only silence is consent.
    let said =
        String::from_utf8_lossy(&[out.stdout.clone(), out.stderr.clone()].concat()).into_owned();
    assert_eq!(said, "");
    assert!(out.status.success());
}

#[test]
fn little_is_exposed() {
    let Some((_dir, path)) = unit() else { return };
    let threshold = format!("--threshold={EXPOSURE_TENTHS}");
    let out = Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--no-pager", &threshold, &path])
        .output()
        .unwrap();
    let said =
        String::from_utf8_lossy(&[out.stdout.clone(), out.stderr.clone()].concat()).into_owned();
    assert!(out.status.success(), "{said}");
    println!("{}", said.lines().last().unwrap_or_default());
}
