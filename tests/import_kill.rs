//! `kill -9` while an import runs: what is there is whole, and a whole import brings each reading once.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod common;

use std::fmt::Write;
use std::time::{Duration, Instant};

use common::House;

const READINGS: usize = 200_000;

/// Readings of many series in the order of time, as exports come.
fn big_file() -> String {
    let mut text =
        String::from("taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,tester\n");
    for i in 0..READINGS {
        let (asset, phase) = (i / 3 % 700, ["U", "V", "W"][i % 3]);
        let minute = i / 2_100;
        let bound = if i % 4 == 0 { ">" } else { "=" };
        writeln!(
            text,
            "2026-{:02}-{:02}T{:02}:{:02}:00Z,YT-{asset:03},{phase},{},{bound},500,T-{}",
            1 + minute / 60 / 24 / 28,
            1 + minute / 60 / 24 % 28,
            minute / 60 % 24,
            minute % 60,
            1_000_000 + i,
            i % 5
        )
        .unwrap();
    }
    text
}

#[test]
fn killed_at_any_moment_nothing_is_doubled_or_lost() {
    let house = House::new();
    let file = house.file("big.csv", big_file());
    // How long a whole import takes here, so that the kills fall within one.
    let whole = {
        let other = House::new();
        let begin = Instant::now();
        other.must(0, &["import", &file]);
        begin.elapsed()
    };
    let mut state = 0x5eed_u64;
    for round in 1..=20 {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let part = (state >> 40) as f64 / (1u64 << 24) as f64;
        let mut child = house
            .command(&["import", &file])
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        let until = Instant::now() + whole.mul_f64(part);
        while Instant::now() < until && child.try_wait().unwrap().is_none() {
            std::thread::sleep(Duration::from_millis(1));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        if round % 5 == 0 {
            // Whatever was committed has its file: that is on the disk before the first commit.
            house.must(0, &["check"]);
        }
    }
    let answer = house.run(&["--format", "json", "import", &file]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let json: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
    let sum = json[0]["accepted"].as_u64().unwrap() + json[0]["duplicate"].as_u64().unwrap();
    assert_eq!(sum as usize, READINGS, "{json}");
    house.must(0, &["check"]);
    house.must(0, &["export", "-o", &house.path("out.csv")]);
    let lines = std::fs::read_to_string(house.path("out.csv")).unwrap().lines().count();
    assert_eq!(lines - 1, READINGS);
}
