//! The registers with the real binary: classes, mergers, retirement, ranges of testers, what is due,
//! training parts, and everything out and in again. All data invented.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod common;

use common::{House, contents, declining_asset};
use ohmward::clock::{Clock, WallClock};

/// A class as most of these tests use it.
fn with_class(house: &House, more: &[&str]) {
    let mut args = vec!["class", "add", "drive motor 400 V", "--kind", "traction motor"];
    args.extend(["--limit", "8e6", "--insulation", "thermosetting", "--phases", "separable"]);
    args.extend(more);
    house.must(0, &args);
}

#[test]
fn an_asset_inherits_what_it_does_not_say_and_keeps_what_it_says() {
    let house = House::new();
    with_class(&house, &["--ohm-per-volt", "100", "--working-voltage", "800"]);
    house.must(0, &["asset", "add", "YT-001/drive", "--class", "drive motor 400 V"]);
    house.must(
        0,
        &["asset", "add", "YT-002/drive", "--class", "drive motor 400 V", "--limit", "2e6"],
    );
    let told = house.must(3, &["asset", "add", "YT-003/drive", "--class", "drive motor 40 V"]);
    assert!(told.err.contains("known: drive motor 400 V"), "{}", told.err);

    let list = house.json(&["asset", "list"]);
    assert_eq!(list[0]["kind"], "traction motor");
    assert_eq!(list[0]["limit_ohm"], 8e6);
    assert_eq!(list[0]["insulation"], "thermosetting");
    assert!(list[0]["more_limits"][0].as_str().unwrap().contains("isolation (100 Ω/V at 800 V)"));
    assert_eq!(list[1]["limit_ohm"], 2e6);
    // What the class says later holds for all of it.
    house.must(0, &["class", "add", "drive motor 400 V", "--limit", "9e6"]);
    let list = house.json(&["asset", "list"]);
    assert_eq!((&list[0]["limit_ohm"], &list[1]["limit_ohm"]), (&9e6.into(), &2e6.into()));
    assert_eq!(house.json(&["class", "list"])[0]["assets"], 2);
    // Without its class it is what it was with it.
    house.must(0, &["asset", "add", "YT-001/drive", "--class", ""]);
    let shown = house.json(&["asset", "show", "YT-001/drive"]);
    assert_eq!((&shown[0]["limit_ohm"], &shown[0]["class"]), (&9e6.into(), &"".into()));
}

#[test]
fn what_is_first_met_may_belong_to_a_class() {
    let house = House::new();
    with_class(&house, &[]);
    std::fs::write(
        house.data().join("config.toml"),
        "[first_met]\nclass = \"drive motor 400 V\"\n",
    )
    .unwrap();
    let file = house.file("a.csv", declining_asset("YT-001/drive", 18, 12));
    house.must(0, &["import", &file]);
    let shown = house.json(&["asset", "show", "YT-001/drive"]);
    assert_eq!(shown[0]["class"], "drive motor 400 V");
    assert_eq!(shown[0]["limit_ohm"], 8e6);
    assert_eq!(house.json(&["declining"])[0]["limit_ohm"], 8e6);
}

/// The first months under one name, the rest under another, as after a mistyped label.
fn two_halves(house: &House) {
    let whole = declining_asset("YT-001/drive", 18, 12);
    let (head, rows) = whole.split_once('\n').unwrap();
    let halves = |early: bool| {
        let rows: Vec<String> = rows
            .lines()
            .filter(|row| (row < &"2025-01") == early)
            .map(|row| if early { row.replace("YT-001/", "YT-OO1/") } else { row.to_owned() })
            .collect();
        format!("{head}\n{}\n", rows.join("\n"))
    };
    for (name, early) in [("a.csv", true), ("b.csv", false)] {
        let file = house.file(name, halves(early));
        house.must(0, &["import", &file]);
    }
}

#[test]
fn merged_assets_have_one_history_and_part_again_as_they_were() {
    let house = House::new();
    two_halves(&house);
    let apart = house.json(&["declining"]);
    let before = house.must(0, &["export", "-o", "-"]).out;
    house.must(2, &["asset", "merge", "YT-OO1/drive", "--into", "YT-001/drive", "--why", " "]);
    let merge = ["asset", "merge", "YT-OO1/drive", "--into", "YT-001/drive", "--why", "O for 0"];
    house.must(0, &merge);
    let back = ["asset", "merge", "YT-001/drive", "--into", "YT-OO1/drive", "--why", "ring"];
    assert!(house.must(3, &back).err.contains("already the same"));

    // One history, the same as of one asset that never had another name.
    let whole = House::new();
    let file = whole.file("a.csv", declining_asset("YT-001/drive", 18, 12));
    whole.must(0, &["import", &file]);
    let expected = whole.json(&["declining"]);
    assert_eq!(house.json(&["declining"]), expected);
    assert_eq!(house.json(&["assess", "YT-001/drive"])["readings"], 54);
    assert_eq!(house.json(&["assess", "YT-OO1/drive"])["asset"], "YT-001/drive");
    let told = house.run(&["assess", "YT-001/drive"]).out;
    assert!(told.contains("`YT-OO1/drive` is the same (merged on"), "{told}");
    let list = house.json(&["asset", "list"]);
    assert_eq!(list[1]["standing"], "merged", "{list}");
    assert!(list[1]["standing_told"].as_str().unwrap().contains("by the tests): O for 0"));
    // Nothing was rewritten; as it was known before the merger there were two.
    assert_eq!(house.must(0, &["export", "-o", "-"]).out, before);

    // A new record under the old name is one of the survivor, and a void of an old one counts.
    let file = house.file(
        "c.csv",
        "taken_at,asset,phase,resistance_ohm\n2025-08-01T09:00:00Z,YT-OO1/drive,V,2e6\n",
    );
    house.must(0, &["import", &file]);
    assert_eq!(house.json(&["assess", "YT-001/drive"])["readings"], 55);
    house.must(0, &["reading", "void", "1.2", "--reason", "clip had slipped"]);
    let left_out = &house.json(&["assess", "YT-001/drive"])["left_out"];
    assert_eq!(left_out[0]["reading"], "1.2", "{left_out}");

    house.must(0, &["reading", "restore", "1.2", "--reason", "it had not"]);
    house.must(0, &["asset", "unmerge", "YT-OO1/drive", "--why", "two motors after all"]);
    assert_eq!(house.json(&["assess", "YT-OO1/drive"])["readings"], 36);
    house.must(0, &["reading", "void", "4.2", "--reason", "not this motor"]);
    let again = house.json(&["declining"]);
    assert_eq!(again.as_array().unwrap().len(), apart.as_array().unwrap().len());
}

#[test]
fn a_retired_asset_leaves_the_findings_and_comes_back() {
    let house = House::new();
    let file = house.file("a.csv", declining_asset("YT-001/drive", 18, 12));
    house.must(0, &["import", &file]);
    let open = house.json(&["declining"]);
    let replayed = house.must(0, &["replay", "--format", "csv"]).out;
    house.must(0, &["asset", "retire", "YT-001/drive", "--why", "scrapped"]);
    assert_eq!(house.json(&["declining"]), serde_json::json!([]));
    assert!(
        house.must(3, &["asset", "retire", "YT-001/drive", "--why", "x"]).err.contains("already")
    );
    let finding = &house.json(&["finding", "list"])[0];
    assert_eq!(finding["state"], "closed", "its history stays: {finding}");
    let told = house.must(0, &["asset", "show", "YT-001/drive"]).err;
    assert!(told.contains("retired since") && told.contains("by the tests): scrapped"), "{told}");
    // What was raised before stays in the list, and as of then it was in service.
    assert_eq!(house.must(0, &["replay", "--format", "csv"]).out, replayed);
    let then = house.json(&["declining", "--as-of", "2025-06-30"]);
    assert_eq!(then.as_array().unwrap().len(), 1);
    house.must(0, &["asset", "return", "YT-001/drive", "--why", "rebuilt"]);
    assert_eq!(house.json(&["declining"]), open);
}

#[test]
fn a_bare_over_range_mark_takes_the_limit_of_its_range() {
    let house = House::new();
    let mut args = vec!["gear", "add", "T-08", "tester", "--full-scale", "5e8"];
    args.extend(["--range", "250 V=1 GΩ", "--range", "1000=4e9"]);
    house.must(0, &args);
    house.must(2, &["gear", "add", "T-09", "tester", "--range", "250 V"]);
    house.must(2, &["gear", "add", "T-09", "tester", "--range", "250=1e9", "--range", "250=2e9"]);
    for (volts, ohms) in [("250", 1e9), ("500", 5e8), ("1000", 4e9)] {
        let mut add = vec!["reading", "add", "--asset", "YT-001", "--phase", "U"];
        add.extend(["--resistance", "OL", "--tester", "T-08", "--test-voltage", volts]);
        house.must(0, &add);
        let rows = house.json(&["history", "YT-001"]);
        let row = rows.as_array().unwrap().iter();
        let mut row = row.filter(|r| r["test_voltage_v"].as_f64() == volts.parse().ok());
        assert_eq!(row.next().unwrap()["resistance_ohm"], ohms, "{volts}");
    }
}

#[test]
fn everything_out_and_in_again_is_the_same() {
    let house = House::new();
    with_class(&house, &["--interval-days", "90", "--discharge-wait", "120"]);
    two_halves(&house);
    house.must(0, &["asset", "add", "YT-001/drive", "--class", "drive motor 400 V"]);
    let mut part = vec!["asset", "add", "TP-1", "--interval-days", "30", "--training"];
    part.push("V to case 200 kΩ; U to V 1 MΩ, put in on purpose");
    house.must(0, &part);
    house.must(0, &["asset", "merge", "YT-OO1/drive", "--into", "YT-001/drive", "--why", "O"]);
    house.must(0, &["asset", "retire", "TP-1", "--why", "worn out", "--at", "2026-01-01"]);
    let mut args = vec!["gear", "add", "T-08", "tester", "--proof-days", "30"];
    args.extend(["--range", "250 V=1 GΩ", "--range", "1000=4e9"]);
    house.must(0, &args);
    let first = house.path("first");
    house.must(0, &["export", "--all", &first]);

    let other = House::new();
    other.must(0, &["import", &first]);
    let second = other.path("second");
    other.must(0, &["export", "--all", &second]);
    assert_eq!(contents(first.as_ref()), contents(second.as_ref()));
    assert_eq!(other.json(&["declining"]), house.json(&["declining"]));
}

#[test]
fn a_register_file_without_the_new_columns_is_still_one() {
    let house = House::new();
    for (name, text) in [
        (
            "assets.csv",
            "asset,kind,rated_voltage_v,limit_ohm,insulation,phases,site,remark\n\
             YT-001,motor,400,,,,quay,\n",
        ),
        (
            "gear.csv",
            "gear,kind,category,rated_voltage_v,full_scale_ohm,lowest_ohm,due,remark\n\
             T-1,tester,CAT III,600,1e9,,,\n",
        ),
        ("aliases.csv", "written,asset,phase_written,phase,from,until,remark\n17,YT-001,,,,,\n"),
    ] {
        let file = house.file(name, text);
        house.must(0, &["import", &file]);
    }
    assert_eq!(house.json(&["asset", "show", "YT-001"])[0]["limit_ohm"], 5e6);
    assert_eq!(house.json(&["gear", "list"])[0]["full_scale_ohm"], 1e9);
    assert_eq!(house.json(&["alias", "list"])[0]["merged"], false);
}

/// A day before now, as the real binary's clock has it.
fn days_ago(days: i64) -> String {
    WallClock.now().plus_days(-days as f64).date().to_string()
}

fn tested(house: &House, asset: &str, days: i64) {
    let at = days_ago(days);
    let mut add = vec!["reading", "add", "--asset", asset, "--phase", "U", "--at", &at];
    add.extend(["--resistance", ">550M"]);
    house.must(0, &add);
}

#[test]
fn what_is_due_is_listed_by_date_and_nothing_that_nobody_asked_for() {
    let house = House::new();
    tested(&house, "YT-001", 400);
    house.must(0, &["gear", "add", "T-08", "tester"]);
    let told = house.must(0, &["due"]);
    assert!(told.out.contains("nothing is due within 30 days"), "{}", told.out);
    assert!(told.err.contains("no interval and no date is stated"), "{}", told.err);
    assert_eq!(house.json(&["declining"]), serde_json::json!([]), "off unless stated");

    with_class(&house, &["--interval-days", "90"]);
    for (asset, days) in [("YT-002", 70), ("YT-003", 100), ("YT-004", 10)] {
        tested(&house, asset, days);
        house.must(0, &["asset", "add", asset, "--class", "drive motor 400 V"]);
    }
    house.must(0, &["asset", "add", "YT-005", "--class", "drive motor 400 V"]);
    house.must(0, &["gear", "add", "T-08", "tester", "--due", &days_ago(-5), "--proof-days", "7"]);
    house.must(0, &["gear", "add", "G-1", "gloves", "--due", &days_ago(200)]);
    let proof = ["proof", "add", "T-08", "open", "--passed", "true", "--moment", "before"];
    house.must(0, &[&proof[..], &["--at", &days_ago(20)]].concat());
    let ids = |within: &str| -> Vec<String> {
        let rows = house.json(&["due", "--within", within]);
        let rows = rows.as_array().unwrap().iter();
        rows.map(|r| format!("{} {}", r["task"].as_str().unwrap(), r["id"].as_str().unwrap()))
            .collect()
    };
    assert_eq!(
        ids("30"),
        [
            "test YT-005",
            "retest G-1",
            "proof T-08",
            "test YT-003",
            "calibration T-08",
            "test YT-002"
        ]
    );
    assert_eq!(ids("90").last().unwrap(), "test YT-004");
    let rows = house.json(&["due"]);
    assert_eq!((&rows[0]["due"], &rows[0]["overdue"]), (&serde_json::Value::Null, &true.into()));
    assert_eq!((&rows[3]["days_left"], &rows[3]["every_days"]), (&(-11).into(), &90.into()));

    // A voided reading was no test; a retired asset and a training part are never due.
    house.must(0, &["asset", "retire", "YT-005", "--why", "scrapped"]);
    house.must(0, &["asset", "add", "YT-002", "--training", "sound"]);
    let newest = house.json(&["history", "YT-004"])[0]["reading"].clone();
    house.must(0, &["reading", "void", newest.as_str().unwrap(), "--reason", "another motor"]);
    assert_eq!(
        ids("30"),
        ["test YT-004", "retest G-1", "proof T-08", "test YT-003", "calibration T-08"]
    );
}

#[test]
fn not_tested_in_time_is_a_finding_until_the_next_test() {
    let house = House::new();
    tested(&house, "YT-001", 200);
    tested(&house, "YT-001", 100);
    house.must(0, &["asset", "add", "YT-001", "--interval-days", "60"]);
    let list = house.json(&["declining"]);
    assert_eq!(list.as_array().unwrap().len(), 1, "the gap before nobody asked for: {list}");
    assert_eq!(list[0]["finding"], "overdue");
    assert!(list[0]["since"].as_str().unwrap().starts_with(&days_ago(40)), "{list}");
    house.must(0, &["declining"]);
    assert_eq!(house.must(0, &["replay", "--format", "csv"]).out.lines().count(), 1);
    let then = house.json(&["declining", "--as-of", &days_ago(50)]);
    assert_eq!(then, serde_json::json!([]));

    tested(&house, "YT-001", 0);
    assert_eq!(house.json(&["declining"]), serde_json::json!([]));
    let all = house.json(&["finding", "list"]);
    assert_eq!((&all[0]["finding"], &all[0]["state"]), (&"overdue".into(), &"closed".into()));
    assert_eq!(all.as_array().unwrap().len(), 1);
}

/// A class of two on one part: one finds the fault by the book, the other misses it.
const CLASS: &str = "\
taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,duration_s,tester,operator,station
2026-03-02T09:00:00Z,TP-1,U,550e6,>,500,60,T-1,Ines,B1
2026-03-02T09:05:00Z,TP-1,V,210e3,=,500,60,T-1,Ines,B1
2026-03-02T09:10:00Z,TP-1,W,550e6,>,500,60,T-1,Ines,B1
2026-03-02T10:00:00Z,TP-1,U,550e6,>,500,10,T-1,Ole & Co,B1
2026-03-02T10:01:00Z,TP-1,V,550e6,>,500,10,T-1,Ole & Co,B1
";

#[test]
fn a_lab_sheet_holds_each_run_against_what_is_known_of_the_part() {
    let house = House::new();
    let mut part = vec!["asset", "add", "TP-1", "--phases", "separable", "--training"];
    part.push("V to case 200 kΩ, put in on purpose");
    house.must(0, &part);
    house.must(0, &["import", &house.file("class.csv", CLASS)]);
    for (kind, moment, at) in [
        ("open", "before", "08:50"),
        ("shorted", "before", "08:51"),
        ("open", "after", "09:20"),
        ("shorted", "after", "09:21"),
    ] {
        let at = format!("2026-03-02T{at}:00Z");
        let proof = ["proof", "add", "T-1", kind, "--passed", "true", "--moment", moment];
        house.must(0, &[&proof[..], &["--at", &at]].concat());
    }
    let sheet = house.json(&["lab", "TP-1"]);
    assert_eq!(
        (&sheet[0]["operator"], &sheet[0]["not_met"]),
        (&"Ines".into(), &[(); 0][..].into())
    );
    assert_eq!((&sheet[0]["met"], &sheet[0]["of"]), (&7.into(), &7.into()));
    let missed = serde_json::to_string(&sheet[1]["not_met"]).unwrap();
    assert!(missed.contains("V to case: read >550 MΩ"), "{missed}");
    assert!(missed.contains("voltage applied: 10 s at the shortest"), "{missed}");
    assert!(missed.contains("leads open, after the tests: no record of it"), "{missed}");
    assert_eq!(house.json(&["lab", "--station", "B2"]), serde_json::json!([]));
    let page = house.path("class.html");
    house.must(0, &["lab", "--station", "B1", "--since", "2026-03-02T09:30:00Z", "-o", &page]);
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("Ole &#38; Co on TP-1") && !page.contains("Ines"), "{page}");
    // What was put in on purpose is nobody's finding, and the part no motor of the fleet.
    assert_eq!(house.json(&["declining"]), serde_json::json!([]));
    let standing = &house.json(&["assess", "TP-1"])["standing"];
    assert!(standing[0].as_str().unwrap().starts_with("a training part"), "{standing}");
    house.must(0, &["asset", "add", "YT-001"]);
    assert!(house.must(3, &["lab", "YT-001"]).err.contains("is no training part"));
}
