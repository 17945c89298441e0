//! `profile draft` through the real binary, and spreadsheets from their bytes to the store.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod common;

use common::House;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/drafts");

fn fixture(name: &str) -> String {
    format!("{ROOT}/{name}")
}

#[test]
fn spreadsheets_become_the_text_that_is_expected() {
    // The files were written by openpyxl and odfpy, the texts by hand.
    for (name, plain) in [
        ("xlsx-dates/input.xlsx", true),
        ("xlsx-sheet-per-asset/input.xlsx", true),
        ("xlsx-text-numbers/input.xlsx", false),
        ("ods-wide/input.ods", true),
    ] {
        let bytes = std::fs::read(fixture(name)).unwrap();
        assert!(ohmward::intake::is_sheet(&bytes), "{name}");
        let found = ohmward::intake::sheet_text(&bytes).unwrap();
        let folder = name.split('/').next().unwrap();
        let expected = std::fs::read_to_string(fixture(&format!("{folder}/sheet.txt"))).unwrap();
        assert_eq!(String::from_utf8(found.text).unwrap(), expected, "{name}");
        assert_eq!(found.plain_numbers, plain, "{name}");
    }
}

#[test]
fn open_questions_are_listed_and_the_draft_is_refused() {
    let house = House::new();
    let file = fixture("order-open/input.csv");
    let answer = house.must(1, &["profile", "draft", &file, "-o", "quay.toml"]);
    for told in ["open: time.order", "time.order=dmy", "`01/02/2026` is 1 Feb 2026", "time.zone"] {
        assert!(answer.err.contains(told), "{told}: {}", answer.err);
    }
    assert!(answer.out.is_empty(), "{}", answer.out);
    let answer = house.must(3, &["profile", "check", &file, "--profile", "quay.toml"]);
    assert!(answer.err.contains("unanswered"), "{}", answer.err);
    // It is not written over, and an answer that cannot be is wrong usage.
    house.must(2, &["profile", "draft", &file, "-o", "quay.toml"]);
    let answer = house.must(2, &["profile", "draft", &file, "--answer", "time.order=sideways"]);
    assert!(answer.err.contains("`dmy` or `mdy`"), "{}", answer.err);
}

#[test]
fn an_answered_draft_reads_its_file() {
    let house = House::new();
    let file = fixture("order-open/input.csv");
    let mut args = vec!["profile", "draft", &file, "-o", "data/profiles/quay.toml"];
    args.extend(["--answer", "time.order=mdy", "--answer", "time.zone=America/New_York"]);
    std::fs::create_dir_all(house.path("data/profiles")).unwrap();
    let answer = house.must(0, &args);
    assert!(answer.err.contains("2 readings, 0 for the tray, 0 rejected"), "{}", answer.err);
    house.must(0, &["import", &file]);
    let history = house.must(0, &["history", "YT-014/drive", "--format", "csv"]).out;
    assert!(history.contains("2026-01-02"), "{history}");
}

#[test]
fn a_spreadsheet_is_drafted_imported_and_kept_as_it_was() {
    let house = House::new();
    let file = fixture("xlsx-sheet-per-asset/input.xlsx");
    std::fs::create_dir_all(house.path("data/profiles")).unwrap();
    let mut args = vec!["profile", "draft", &file, "-o", "data/profiles/book.toml"];
    args.extend(["--answer", "time.zone=Europe/Berlin"]);
    let answer = house.must(0, &args);
    assert!(answer.err.contains("the hidden sheet `Lists` was not read"), "{}", answer.err);
    // The phases are known, so nothing needs a person but the hidden sheet's warning.
    let answer = house.run(&["import", &file]);
    assert!(answer.out.contains("book"), "{}\n{}", answer.out, answer.err);
    let history = house.must(0, &["history", "YT-015", "--format", "csv"]).out;
    assert!(history.contains("12000000"), "{history}");
    let original = std::fs::read(&file).unwrap();
    let digest = blake3::hash(&original).to_hex().to_string();
    assert!(house.data().join(format!("raw/{digest}.zst")).exists());
    // Once more is once.
    let again = house.json(&["import", &file]);
    assert_eq!(again[0]["accepted"], 0, "{again}");
    assert_eq!(again[0]["duplicate"], 3, "{again}");
}

#[test]
fn rejects_of_a_spreadsheet_are_read_again() {
    let house = House::new();
    let file = fixture("xlsx-text-numbers/input.xlsx");
    let profile = |decimal: &str| {
        format!(
            "title = \"Sheet (invented)\"\nformat = \"delimited\"\n[delimited]\nseparator = \"\\t\"\n\
             [numbers]\ndecimal = \"{decimal}\"\n[time]\nzone = \"UTC\"\ndate = [\"%d.%m.%Y\"]\n\
             [columns]\ndate = [\"Datum\"]\nasset = [\"Motor\"]\nphase = [\"Phase\"]\n\
             resistance = [\"Riso\"]\ntest_voltage = [\"Un\"]\n"
        )
    };
    house.file("data/profiles/sheet.toml", profile(","));
    house.must(1, &["import", &file, "--profile", "sheet"]);
    let rejects = house.json(&["rejects", "list"]);
    assert!(rejects[0]["bytes"].as_str().unwrap().contains("1.234"), "{rejects}");
    house.file("data/profiles/sheet.toml", profile("."));
    house.must(0, &["rejects", "retry"]);
    let history = house.must(0, &["history", "YT-014/drive", "--format", "csv"]).out;
    assert!(history.contains("1234000"), "{history}");
}

#[test]
fn what_is_no_table_says_so() {
    let house = House::new();
    let prose = house.file("prose.txt", "The pump was dry.\nNothing else was noted.\n");
    let answer = house.must(3, &["profile", "draft", &prose]);
    assert!(answer.err.contains("expected a table"), "{}", answer.err);
    let zip = house.file("broken.xlsx", b"PK\x03\x04nothing");
    let answer = house.must(3, &["profile", "draft", &zip]);
    assert!(answer.err.contains("expected a spreadsheet"), "{}", answer.err);
    house.must(3, &["import", &zip]);
}
