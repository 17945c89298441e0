//! Findings and assessments as tables, held against what the commands say.

use serde_json::Value;

use super::common::{House, declining_asset};
use super::read_back;

/// Rows of a CSV by column name.
fn rows(csv: &str) -> Vec<serde_json::Map<String, Value>> {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let header = reader.headers().unwrap().clone();
    let records = reader.records().map(|record| {
        let record = record.unwrap();
        let cells = header.iter().zip(&record);
        cells.map(|(name, cell)| (name.to_owned(), Value::from(cell))).collect()
    });
    records.collect()
}

/// Whether a CSV cell says what JSON says.
fn same(cell: &Value, json: &Value) -> bool {
    let cell = cell.as_str().unwrap();
    match json {
        Value::Null => cell.is_empty(),
        Value::String(text) => cell == text,
        Value::Number(number) => {
            // This test's reader of JSON may be off in the last of 17 digits.
            let (told, number) = (cell.parse::<f64>().unwrap(), number.as_f64().unwrap());
            (told - number).abs() <= 4.0 * f64::EPSILON * number.abs()
        }
        other => panic!("{other}"),
    }
}

fn three_assets() -> House {
    let house = House::new();
    for (asset, from) in [("YT-001/drive", 12), ("YT-002/drive", 99), ("YT-003/drive", 10)] {
        house.must(0, &["asset", "add", asset, "--phases", "separable"]);
        let name = format!("{}.csv", &asset[..6]);
        house.must(0, &["import", &house.file(&name, declining_asset(asset, 18, from))]);
    }
    house
}

#[test]
fn assessments_hold_all_that_assess_says_of_each_series() {
    let house = three_assets();
    for past in [&[][..], &["--as-of", "2025-03-31"]] {
        let out = house.must(0, &[&["export", "--assessments"], past].concat()).out;
        let table = rows(&out);
        assert_eq!(table.len(), 9);
        for asset in ["YT-001/drive", "YT-002/drive", "YT-003/drive"] {
            let told = house.json(&[&["assess", asset], past].concat());
            for line in told["lines"].as_array().unwrap() {
                let row = table
                    .iter()
                    .find(|row| row["asset"] == asset && row["phase"] == line["phase"])
                    .unwrap();
                check_line(row, line);
                assert!(same(&row["asset_verdict"], &told["verdict"]));
                assert_eq!(row["readings"], told["readings"].to_string());
                assert_eq!(row["as_of"] == "", past.is_empty());
            }
        }
    }
    let typed = read_back(&house, &["--assessments"]);
    assert_eq!(typed["rows"], 9);
    assert_eq!(typed["types"]["r40_ohm"], "double");
    assert_eq!(typed["types"]["n_over"], "int64");
    assert_eq!(typed["types"]["reaches_limit"], "timestamp[us, tz=UTC]");
    assert_eq!(typed["pairs"]["column.decades_per_year.unit"], "decade/year");
    let one = read_back(&house, &["--assessments", "--asset", "YT-001/drive"]);
    assert_eq!(one["rows"], 3);
}

/// Every value of `assess --format json`, by the name that its column has.
fn check_line(row: &serde_json::Map<String, Value>, line: &Value) {
    let mut seen = 0;
    let mut check = |column: String, json: &Value| {
        assert!(same(&row[&column], json), "{column}: {} and {json}", row[&column]);
        seen += 1;
    };
    for (key, value) in line.as_object().unwrap().iter().filter(|(key, _)| *key != "fit") {
        check(key.clone(), value);
    }
    let fit = &line["fit"];
    for key in ["status", "proven", "verdict_alone", "n_measured", "n_over", "n_under"] {
        check(format!("fit_{key}"), &fit[key]);
    }
    for key in ["without_temperature", "p_declining"] {
        check(format!("fit_{key}"), &fit[key]);
    }
    for key in ["sen_decades_per_year", "mann_kendall_p_declining"] {
        check(key.into(), &fit[key]);
    }
    for (name, prefix) in [("straight", "straight"), ("broken_stick", "stick")] {
        let Some(line) = fit[name].as_object() else {
            assert_eq!(row[&format!("{prefix}_r40_ohm")], "");
            continue;
        };
        let told = ["onset", "reference"];
        for (key, value) in line.iter().filter(|(key, _)| !told.contains(&key.as_str())) {
            check(format!("{prefix}_{key}"), value);
        }
    }
    let limit = &fit["limits"][0];
    for (key, column) in [
        ("last_reading", "last_against_limit"),
        ("crossing_lower", "fit_crossing_lower"),
        ("crossing", "fit_crossing"),
        ("crossing_upper", "fit_crossing_upper"),
        ("no_date_because", "fit_no_date_because"),
    ] {
        check(column.into(), &limit[key]);
    }
    assert!(seen > 35, "{seen}");
}

#[test]
fn findings_hold_what_was_stated_and_what_was_answered() {
    let house = three_assets();
    let standing = house.json(&["declining"]);
    let kind = standing[0]["finding"].as_str().unwrap();
    let asset = standing[0]["asset"].as_str().unwrap();
    house.must(0, &["finding", "acknowledge", asset, kind, "--remark", "planned for May"]);
    let told = house.json(&["finding", "list"]);
    let told = told.as_array().unwrap();
    let table = rows(&house.must(0, &["export", "--findings"]).out);
    assert_eq!(table.len(), told.len());
    for (row, told) in table.iter().zip(told) {
        for key in ["asset", "phase", "finding", "since", "until", "state", "reason", "remark"] {
            assert!(same(&row[key], &told[key]), "{key}: {} and {}", row[key], told[key]);
        }
        for (key, value) in told["evidence"].as_object().unwrap() {
            assert!(same(&row[key], value), "{key}: {} and {value}", row[key]);
        }
    }
    let answered = table.iter().find(|r| r["remark"] == "planned for May").unwrap();
    assert_eq!(answered["answer"], "acknowledge");
    assert_eq!(answered["answered_by"], "the tests");
    assert_eq!(read_back(&house, &["--findings"])["rows"], table.len());
    // As it was known before anything was.
    let before = rows(&house.must(0, &["export", "--findings", "--known-at", "2020-01-01"]).out);
    assert!(before.is_empty(), "{before:?}");
}
