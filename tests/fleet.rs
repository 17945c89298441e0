//! What many machines say together, with the real binary: one damp day or drifting tester is one
//! finding, and a tester whose proof failed is one. All data is invented (Kestrel Quay).
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod common;

use common::House;
use serde_json::Value;

const MACHINES: usize = 12;
const MONTHS: usize = 14;
/// The month in which something is wrong; the last one but `MONTHS - 1 - BAD`.
const BAD: usize = 11;

/// Who measured a machine in a month: tester and station.
type Crew = fn(usize, usize) -> (&'static str, &'static str);

fn asset(machine: usize) -> String {
    format!("YT-{}", 101 + machine)
}

fn date(month: usize) -> String {
    format!("{}-{:02}-10", 2024 + month / 12, month % 12 + 1)
}

/// Canonical rows of healthy machines near 300 MΩ, one month after the other, of which `fall` says
/// by how many decades each lies low in each month.
fn rows(months: std::ops::Range<usize>, crew: Crew, fall: impl Fn(usize, usize) -> f64) -> String {
    let mut out = String::from(
        "taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,temperature_c,temperature_of,\
         tester,station\n",
    );
    for month in months {
        for machine in 0..MACHINES {
            let (tester, station) = crew(machine, month);
            for (i, phase) in ["U", "V", "W"].into_iter().enumerate() {
                // A few hundredths of a decade of scatter that is not random.
                let scatter = ((machine * 7 + month * 5 + i * 3) % 11) as f64 * 0.01 - 0.05;
                let ohms = 10f64.powf(8.5 + scatter - fall(machine, month));
                out.push_str(&format!(
                    "{}T{:02}:{:02}:00Z,{},{phase},{},=,500,25,winding,{tester},{station}\n",
                    date(month),
                    8 + machine / 2,
                    machine % 2 * 30 + i,
                    asset(machine),
                    ohms.round()
                ));
            }
        }
    }
    out
}

fn one_tester(_: usize, month: usize) -> (&'static str, &'static str) {
    (if month == BAD { "HT-5" } else { "HT-6" }, "B1")
}

fn many_testers(machine: usize, _: usize) -> (&'static str, &'static str) {
    [("HT-5", "B1"), ("HT-6", "B2"), ("HT-7", "B3")][machine % 3]
}

fn house(crew: Crew, fall: impl Fn(usize, usize) -> f64) -> House {
    let house = House::new();
    let file = house.file("all.csv", rows(0..MONTHS, crew, fall));
    house.must(0, &["import", &file]);
    house
}

/// The findings that stand or stood: what about, kind, state.
fn findings(house: &House) -> Vec<(String, String, String)> {
    let text = |v: &Value| v.as_str().unwrap().to_owned();
    let all = house.json(&["finding", "list"]);
    let rows = all.as_array().unwrap().iter();
    let of = |f: &Value| (text(&f["asset"]), text(&f["finding"]), text(&f["state"]));
    rows.map(of).filter(|(.., state)| state != "withdrawn").collect()
}

/// Readings of a machine that a common cause leaves out.
fn left_out(house: &House, asset: &str) -> usize {
    let history = house.json(&["history", asset]);
    let used = history.as_array().unwrap().iter().map(|r| r["used"].as_str().unwrap().to_owned());
    used.filter(|u| u.contains("fell together with other assets")).count()
}

fn on(what: &str) -> String {
    format!("{what} {}", date(BAD))
}

fn one(what: &str) -> Vec<(String, String, String)> {
    vec![(what.to_owned(), "common cause".to_owned(), "open".to_owned())]
}

fn low_on_the_bad_day(_: usize, month: usize) -> f64 {
    if month == BAD { 0.8 } else { 0.0 }
}

#[test]
fn a_drifting_tester_is_one_finding_and_not_twelve() {
    let house = house(one_tester, low_on_the_bad_day);
    let subject = on("tester HT-5 on");
    assert_eq!(findings(&house), one(&subject));
    let list = house.json(&["declining"]);
    assert_eq!((list.as_array().unwrap().len(), &list[0]["phase"]), (1, &"".into()), "{list}");
    let evidence = &house.json(&["finding", "list", &subject])[0]["evidence"];
    assert_eq!((&evidence["shared"], &evidence["name"]), (&"tester".into(), &"HT-5".into()));
    assert_eq!((&evidence["day"], &evidence["tested"]), (&date(BAD).into(), &12.into()));
    assert_eq!(evidence["assets"].as_array().unwrap().len(), 12);
    let fell = evidence["fell_decades"].as_f64().unwrap();
    assert!((fell - 0.8).abs() < 0.1, "{fell}");
    // What is left out is said in words, and the day is no asset.
    assert_eq!(left_out(&house, "YT-101"), 3);
    let assess = house.run(&["assess", "YT-101"]);
    assert!(assess.out.contains(&subject), "{}", assess.out);
    assert_eq!(house.json(&["asset", "list"]).as_array().unwrap().len(), 12);
    house.must(0, &["check"]);
    assert_eq!(house.json(&["replay"]), serde_json::json!([]));
    // As it was the day before there is nothing.
    let before = format!("{}T00:00:00Z", date(BAD));
    assert_eq!(house.json(&["declining", "--as-of", &before]), serde_json::json!([]));
}

#[test]
fn a_damp_day_is_one_finding_about_the_day() {
    let house = house(many_testers, low_on_the_bad_day);
    assert_eq!(findings(&house), one(&on("day")));
    assert_eq!(left_out(&house, "YT-105"), 3);
}

#[test]
fn it_is_the_same_when_readings_come_one_by_one() {
    let house = House::new();
    let all = rows(0..MONTHS, many_testers, low_on_the_bad_day);
    let (head, lines) = all.split_once('\n').unwrap();
    let (bad, good): (Vec<&str>, Vec<&str>) =
        lines.lines().partition(|line| line.starts_with(&date(BAD)));
    let file =
        |name: &str, lines: &[&str]| house.file(name, format!("{head}\n{}\n", lines.join("\n")));
    house.must(0, &["import", &file("good.csv", &good)]);
    // One tester's machines last and each alone: what fell with HT-5 is found by its peers.
    let (by_5, others): (Vec<&str>, Vec<&str>) = bad.iter().partition(|l| l.contains("HT-5"));
    house.must(0, &["import", &file("others.csv", &others)]);
    house.must(0, &["declining"]);
    assert_eq!(findings(&house), one(&on("day")));
    for (i, lines) in by_5.chunks(3).enumerate() {
        house.must(0, &["import", &file(&format!("{i}.csv"), lines)]);
        house.must(0, &["declining"]);
    }
    assert_eq!(findings(&house), one(&on("day")));
    assert_eq!(left_out(&house, "YT-101"), 3);
}

#[test]
fn machines_of_one_tester_that_come_one_by_one_are_found_by_their_peers() {
    let house = House::new();
    let all = rows(0..MONTHS, one_tester, low_on_the_bad_day);
    let (head, lines) = all.split_once('\n').unwrap();
    let (bad, good): (Vec<&str>, Vec<&str>) =
        lines.lines().partition(|line| line.starts_with(&date(BAD)));
    let good = house.file("good.csv", format!("{head}\n{}\n", good.join("\n")));
    house.must(0, &["import", &good]);
    for (i, lines) in bad.chunks(3).enumerate() {
        let name = format!("{i}.csv");
        house.must(0, &["import", &house.file(&name, format!("{head}\n{}\n", lines.join("\n")))]);
        assert_eq!(findings(&house).len(), usize::from(i >= 4), "{i}");
    }
    assert_eq!(findings(&house), one(&on("tester HT-5 on")));
    assert!((0..MACHINES).all(|machine| left_out(&house, &asset(machine)) == 3));
}

#[test]
fn one_machine_that_falls_alone_is_still_found() {
    let fall = |machine: usize, month: usize| match (machine, month) {
        (3, BAD..) => 2.5,
        _ => 0.0,
    };
    let house = house(one_tester, fall);
    let found = findings(&house);
    assert!(found.iter().any(|(asset, ..)| asset == "YT-104"), "{found:?}");
    assert!(found.iter().all(|(asset, ..)| asset == "YT-104"), "{found:?}");
    assert_eq!(left_out(&house, "YT-104"), 0);
}

#[test]
fn one_machine_that_falls_much_further_than_the_others_counts() {
    let fall = |machine: usize, month: usize| match (machine, month) {
        (3, BAD..) => 2.5,
        (_, BAD) => 0.8,
        _ => 0.0,
    };
    let house = house(one_tester, fall);
    let found = findings(&house);
    assert!(found.contains(&one(&on("tester HT-5 on"))[0]), "{found:?}");
    assert!(found.iter().any(|(asset, ..)| asset == "YT-104"), "{found:?}");
    assert_eq!((left_out(&house, "YT-104"), left_out(&house, "YT-105")), (0, 3));
}

#[test]
fn closing_it_brings_the_readings_back_and_acknowledging_leaves_them_out() {
    let house = house(one_tester, low_on_the_bad_day);
    let subject = on("tester HT-5 on");
    let answer = |word: &str| {
        house.must(0, &["finding", word, &subject, "common cause", "--remark", "HT-5 was checked"]);
    };
    assert_eq!(findings(&house), one(&subject));
    answer("acknowledge");
    assert_eq!(left_out(&house, "YT-101"), 3);
    assert_eq!(house.json(&["declining"]), serde_json::json!([]));
    answer("close");
    assert_eq!(left_out(&house, "YT-101"), 0);
    let evidence = house.json(&["assess", "YT-101"]);
    assert_eq!(evidence["left_out"], serde_json::json!([]));
    let states: Vec<String> = findings(&house).into_iter().map(|(.., state)| state).collect();
    assert!(states.contains(&"closed".to_owned()), "{states:?}");
    // Nothing waits, and the next look changes nothing.
    let before = findings(&house);
    house.run(&["declining"]);
    assert_eq!(findings(&house), before);
}

#[test]
fn training_parts_say_nothing_of_the_fleet() {
    let house = House::new();
    for machine in 0..MACHINES {
        house.must(0, &["asset", "add", &asset(machine), "--training", "sound"]);
    }
    let file = house.file("all.csv", rows(0..MONTHS, one_tester, low_on_the_bad_day));
    house.must(0, &["import", &file]);
    assert_eq!(findings(&house), [], "no common cause, no finding");
    let learnt = house.json(&["learnt"]);
    let classes = learnt.as_array().unwrap().iter().filter(|row| !row["assets"].is_null());
    assert_eq!(classes.count(), 0, "nothing is learnt from them: {learnt}");
    assert_eq!(house.must(0, &["replay", "--format", "csv"]).out.lines().count(), 1);
    // Real ones again, the same readings tell of the tester.
    for machine in 0..MACHINES {
        house.must(0, &["asset", "add", &asset(machine), "--training", "no"]);
    }
    house.run(&["declining"]);
    assert_eq!(findings(&house), one(&on("tester HT-5 on")));
}

#[test]
fn a_reading_that_is_taken_back_can_end_a_common_cause() {
    let few = |machine: usize, month: usize| match (machine, month) {
        (0..5, BAD) => 0.8,
        _ => 0.0,
    };
    fn crew(machine: usize, month: usize) -> (&'static str, &'static str) {
        (if month == BAD && machine < 5 { "HT-5" } else { "HT-6" }, "B1")
    }
    let house = house(crew, few);
    assert_eq!(findings(&house), one(&on("tester HT-5 on")));
    for reading in house.json(&["history", "YT-102"]).as_array().unwrap() {
        if reading["taken_at"].as_str().unwrap().starts_with(&date(BAD)) {
            let id = reading["reading"].as_str().unwrap();
            house.must(0, &["reading", "void", id, "--reason", "wrong machine"]);
        }
    }
    assert!(findings(&house).iter().all(|(_, kind, _)| kind != "common cause"));
    assert_eq!(left_out(&house, "YT-101"), 0);
}

#[test]
fn a_failed_proof_is_a_finding_about_the_tester_until_the_next_good_one() {
    let house = house(one_tester, |_, _| 0.0);
    let proof = |at: &str, passed: &str| {
        house.must(
            0,
            &[
                "proof",
                "add",
                "HT-5",
                "known resistance",
                "--passed",
                passed,
                "--moment",
                "after",
                "--at",
                at,
            ],
        );
    };
    proof(&format!("{}T06:00:00Z", date(BAD)), "true");
    assert_eq!(findings(&house), []);
    proof(&format!("{}T17:00:00Z", date(BAD)), "false");
    let found = &house.json(&["finding", "list"])[0];
    assert_eq!((&found["asset"], &found["finding"]), (&"tester HT-5".into(), &"tester".into()));
    assert_eq!((&found["state"], &found["until"]), (&"open".into(), &Value::Null), "{found}");
    assert_eq!(found["evidence"]["assets"].as_array().unwrap().len(), 12);
    assert_eq!(house.json(&["declining"])[0]["asset"], "tester HT-5");
    let good = format!("{}T08:00:00Z", date(BAD + 1));
    proof(&good, "true");
    let found = &house.json(&["finding", "list"])[0];
    assert_eq!((&found["state"], &found["until"]), (&"closed".into(), &good.into()));
    assert_eq!(house.json(&["declining"]), serde_json::json!([]));
    house.must(0, &["check"]);
    // A tester that nothing was measured with may fail too.
    house.must(
        0,
        &[
            "proof",
            "add",
            "HT-9",
            "open",
            "--passed",
            "false",
            "--moment",
            "before",
            "--at",
            "2024-05-01",
        ],
    );
    assert_eq!(house.json(&["declining"])[0]["asset"], "tester HT-9");
}

#[test]
fn a_tester_that_reads_high_against_its_peers_is_a_finding_about_it() {
    // Every fourth month with HT-5, which reads 80 % high.
    fn crew(_: usize, month: usize) -> (&'static str, &'static str) {
        (["HT-6", "HT-7", "HT-8", "HT-5"][month % 4], "B1")
    }
    let house = house(crew, |_, month| if month % 4 == 3 { -0.255 } else { 0.0 });
    let list = house.json(&["finding", "list"]);
    assert_eq!(list.as_array().unwrap().len(), 1, "{list}");
    let (found, evidence) = (&list[0], &list[0]["evidence"]);
    assert_eq!(found["asset"], "tester HT-5 against its peers");
    assert_eq!((&found["finding"], &found["state"]), (&"tester".into(), &"open".into()));
    assert!(evidence["offset_lower"].as_f64().unwrap() > 0.155, "{evidence}");
    assert_eq!((&evidence["days"], evidence["assets"].as_array().unwrap().len()), (&3.into(), 12));
}
