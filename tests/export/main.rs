//! Exports for other programs: read back by a program that is not ours and held against the CSV.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

#[path = "../common/mod.rs"]
mod common;
mod tables;

use std::path::PathBuf;
use std::process::Command;
use std::sync::OnceLock;

use common::{House, declining_asset};
use serde_json::Value;

/// The reader: pyarrow, the reference implementation's own binding, in an environment of its own.
fn python() -> &'static PathBuf {
    static PYTHON: OnceLock<PathBuf> = OnceLock::new();
    PYTHON.get_or_init(|| {
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/venv-parquet");
        let python = folder.join("bin/python");
        let works = || {
            let asked = Command::new(&python).args(["-c", "import pyarrow.parquet"]).output();
            asked.is_ok_and(|out| out.status.success())
        };
        if !works() {
            run(Command::new("python3").args(["-m", "venv", "--clear"]).arg(&folder));
            run(Command::new(&python).args(["-m", "pip", "install", "-q", "pyarrow==26.0.1"]));
        }
        python
    })
}

fn run(command: &mut Command) -> String {
    let out = command.output().unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    assert!(out.status.success(), "{command:?}\n{text}{}", String::from_utf8_lossy(&out.stderr));
    text
}

/// Exports as Parquet and as CSV, and has every cell of the one held against the other.
fn read_back(house: &House, args: &[&str]) -> Value {
    let (parquet, csv) = (house.path("out.parquet"), house.path("out.csv"));
    for file in [&parquet, &csv] {
        house.must(0, &[&["export", "-o", file], args].concat());
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/export/read_back.py");
    let out = run(Command::new(python()).arg(script).arg(&parquet).arg(&csv));
    serde_json::from_str(&out).unwrap()
}

#[test]
fn parquet_says_cell_by_cell_what_the_canonical_csv_says() {
    let house = House::new();
    let mut text = declining_asset("YT-001/drive", 12, 6);
    // Every kind of cell: fractions of a second, texts that need quotes, nothing at all.
    text.push_str("2025-03-02T08:15:00.25Z,YT-002,U,1.5e9,=,1000,-3.25\n");
    text.push_str("2025-03-02T08:16:00.000007Z,\"YT-003, \"\"old\"\"\",W,1e4,<,,\n");
    let file = house.file("a.csv", text);
    house.must(0, &["import", &file]);
    let full = house.file(
        "b.csv",
        "taken_at,asset,phase,against,setup,resistance_ohm,bound,test_voltage_v,\
         delivered_voltage_v,duration_s,temperature_c,temperature_of,humidity_pct,tester,operator,\
         station,remark\n2025-04-02T08:15:00Z,YT-002,U,V,W grounded,2e9,>,500,498.5,60,21.5,winding,\
         44.5,HT-1,kq,bench 1,\"first line\nsecond Ω\"\n\
         2025-04-02T08:16Z,YT-002,V,,,3e9,,,,,,,,,,,\n2025-04-02T08:16Z,YT-002,V,,,3e9,,,,,,,,,,,\n\
         2025-04-02T08:18Z,,V,,,3e9,,,,,,,,,,,\n",
    );
    house.must(1, &["import", &full]);
    // An equal reading with a coarse time is written to the minute in CSV: the same instant.
    let csv = read_back(&house, &[]);
    assert_eq!(csv["rows"], 12 * 3 + 6, "{csv}");
    let types = &csv["types"];
    assert_eq!(types["taken_at"], "timestamp[us, tz=UTC]");
    for number in ["resistance_ohm", "test_voltage_v", "temperature_c", "duration_s"] {
        assert_eq!(types[number], "double", "{number}");
    }
    for name in ["asset", "bound", "remark"] {
        assert_eq!(types[name], "string", "{name}");
    }
    let pairs = &csv["pairs"];
    assert_eq!(pairs["column.resistance_ohm.unit"], "ohm");
    assert!(pairs["column.bound.meaning"].as_str().unwrap().contains("over-range"), "{pairs}");
    assert!(pairs["origin"].as_str().unwrap().len() == 36, "{pairs}");
    assert_eq!(csv["compression"], serde_json::json!(["ZSTD"]));
    let dictionaries = csv["dictionaries"].as_array().unwrap();
    assert!(dictionaries.contains(&"asset".into()), "{dictionaries:?}");
    assert!(!dictionaries.contains(&"taken_at".into()), "{dictionaries:?}");
}

#[test]
fn row_groups_are_bounded_and_an_empty_store_gives_a_readable_file() {
    let house = House::new();
    let mut text = String::from("taken_at,asset,phase,resistance_ohm\n");
    for i in 0..140_000 {
        let (hour, minute, second) = (i / 3600 % 24, i / 60 % 60, i % 60);
        let day = 1 + i / 86_400;
        text.push_str(&format!(
            "2026-01-{day:02}T{hour:02}:{minute:02}:{second:02}Z,YT-{},U,{}\n",
            i % 7,
            1_000_000 + i
        ));
    }
    house.must(0, &["import", &house.file("a.csv", text)]);
    let many = read_back(&house, &[]);
    assert_eq!(many["row_groups"], serde_json::json!([131_072, 8_928]));
    let none = read_back(&house, &["--from", "2027-01-01"]);
    assert_eq!(none["rows"], 0);
    assert_eq!(none["types"]["taken_at"], "timestamp[us, tz=UTC]");
}

#[test]
fn readings_are_chosen_by_asset_and_by_time() {
    let house = House::new();
    house.must(0, &["import", &house.file("a.csv", declining_asset("YT-001/drive", 12, 6))]);
    house.must(0, &["import", &house.file("b.csv", declining_asset("YT-002/drive", 12, 6))]);
    house.must(0, &["import", &house.file("c.csv", declining_asset("YT-003/drive", 12, 6))]);
    let id = house.json(&["history", "YT-002/drive"])[0]["reading"].as_str().unwrap().to_owned();
    let to = "YT-001/drive";
    house.must(0, &["reading", "move", &id, "--asset", to, "--phase", "N", "--reason", "a slip"]);
    let count = |args: &[&str]| {
        let out = house.must(0, &[&["export"], args].concat()).out;
        out.lines().count() - 1
    };
    assert_eq!(count(&[]), 108);
    assert_eq!(count(&["--asset", "YT-001/drive"]), 37, "with the one that was moved here");
    assert_eq!(count(&["--asset", "YT-002/drive"]), 35);
    assert_eq!(count(&["--asset", "YT-001/drive", "--asset", "YT-002/drive"]), 72);
    assert_eq!(count(&["--asset", "YT-003/drive", "--from", "2024-06-01"]), 7 * 3);
    assert_eq!(count(&["--asset", "YT-003/drive", "--to", "2024-06-10"]), 6 * 3, "to its end");
    assert_eq!(count(&["--from", "2024-03-10T09:02:00Z", "--to", "2024-03-10T09:02:00Z"]), 3);
    house.must(3, &["export", "--asset", "YT-004/drive"]);
    house.must(2, &["export", "-o", &house.path("out.ods")]);
    house.must(2, &["export", "--all", &house.path("all"), "--asset", "YT-001/drive"]);
    // What was chosen is what the whole holds of it, in the same order.
    let whole = house.must(0, &["export"]).out;
    let of_one = house.must(0, &["export", "--asset", "YT-003/drive"]).out;
    let picked: Vec<_> = whole.lines().filter(|l| l.contains("YT-003")).collect();
    assert_eq!(of_one.lines().skip(1).collect::<Vec<_>>(), picked);
}
