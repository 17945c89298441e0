//! Whole runs, from the first proof to the verdict.

use std::path::Path;

use crate::person::{ASSET, Bench, OVER, alert};
use crate::running::{Place, until};

#[test]
fn a_run_leads_from_proof_to_verdict() {
    let mut bench = Bench::new();
    bench.isolated(ASSET);
    assert_eq!(bench.prove(), "contact-1");
    assert_eq!(bench.test(1, "4.2E8"), "discharge-1");
    let sheet = bench.sheet();
    let result = &sheet["tests"][0]["result"];
    assert_eq!((&result["resistance_ohm"], &result["duration_s"]), (&4.2e8.into(), &1.0.into()));
    assert_eq!(result["limits"][0]["outcome"], "meets");
    let number = |name: &str| result[name].as_f64().unwrap();
    assert!(number("expected_lower_ohm") < 4.2e8 && number("expected_upper_ohm") > 4.2e8);
    assert_eq!((result["says"].as_str(), number("expected_at_c")), (Some("as expected"), 22.0));
    let page = bench.page();
    assert!(page.contains("as expected") && page.contains("420 MΩ"), "{page}");
    bench.refused(&[("do", "discharged"), ("residual_v", "3")], "wait");
    assert_eq!(bench.discharge(), "contact-2");
    assert!(bench.page().contains("residual 3 V reported; measure yourself"));
    // A fifth of what it should be: the sheet asks for the test again.
    bench.test(2, "2.0E7");
    let says = bench.sheet()["tests"][1]["result"]["says"].as_str().unwrap().to_owned();
    assert_eq!(says, "repeat this test: lower than its history predicts");
    bench.discharge();
    assert_eq!(bench.ok(&[("do", "repeat"), ("test", "2")]), "contact-2");
    bench.test(2, "3.9E8");
    assert_eq!(bench.sheet()["tests"][1]["result"]["says"], "as expected");
    assert_eq!(bench.discharge(), "open-after");
    assert_eq!(bench.prove(), "finish");
    assert_eq!(bench.ok(&[("do", "finish")]), "nothing");
    assert!(bench.sheet()["ended"].is_string());

    // The readings have all that the bench knew; those of the proofs are none.
    let readings = bench.daemon().get("/v1/readings?asset=YT-014%2Fdrive");
    let own = readings.as_array().unwrap().iter().filter(|r| r["station"] == "bench-1");
    let own: Vec<_> = own.collect();
    assert_eq!(own.len(), 6);
    for reading in own {
        assert_eq!(
            (&reading["setup"], &reading["operator"]),
            (&"others grounded".into(), &"Ines".into())
        );
        assert_eq!(
            (&reading["test_voltage_v"], &reading["temperature_c"]),
            (&500.0.into(), &22.0.into())
        );
        assert_eq!(
            (&reading["tester"], &reading["temperature_of"]),
            (&"BT-1".into(), &"winding".into())
        );
    }
    assert_eq!(bench.tray(), 0);
    let (_, proofs) = bench.place.run(&["proof", "list", "--format", "csv"]);
    let of = |words: &str| proofs.lines().filter(|line| line.contains(words)).count();
    assert_eq!(of(",BT-1,"), 11, "{proofs}");
    assert_eq!((of("known source"), of(",contact,"), of(",after,")), (2, 3, 4), "{proofs}");
    assert!(bench.daemon.take().unwrap().end().success());

    // The sheet travels with everything else, and once only.
    let (all, other) = (bench.place.path("all"), Place::new());
    bench.place.run(&["export", "--all", all.to_str().unwrap()]);
    for _ in 0..2 {
        assert!(other.run(&["import", all.to_str().unwrap()]).0 <= 1);
    }
    other.run(&["export", "--all", other.path("all").to_str().unwrap()]);
    let sheets = |all: &Path| std::fs::read_to_string(all.join("sheets.csv")).unwrap();
    assert!(sheets(&all).lines().count() > 25, "{}", sheets(&all));
    assert_eq!(sheets(&all), sheets(&other.path("all")));
}

#[test]
fn a_failed_check_after_takes_the_readings_with_it_and_says_so() {
    let mut bench = Bench::new();
    bench.isolated(ASSET);
    bench.prove();
    bench.test(1, "4.2E8");
    bench.discharge();
    bench.ok(&[("do", "skip"), ("point", "test-2"), ("reason", "its lead is cut off")]);
    bench.show(OVER, 1.0);
    bench.ok(&[("do", "prove")]);
    // Shorted leads read over-range: a lead is broken, and may have been all the time.
    bench.show("2E12", 1.0);
    bench.ok(&[("do", "prove")]);
    bench.ok(&[("do", "skip"), ("point", "known-after"), ("reason", "of no use any more")]);
    bench.ok(&[("do", "finish")]);
    let told = alert(&bench.page());
    assert!(told.contains("“shorted” after the tests failed"), "{told}");
    assert!(told.contains("YT-014/drive (2 readings)"), "{told}");
    let result = &bench.sheet()["tests"][0]["result"];
    assert_eq!(result["limits"][0]["outcome"], "invalid");
    assert!(result["says"].as_str().unwrap().starts_with("does not count: a proof"), "{result}");
    until("the failed tester is a finding", || {
        let findings = bench.daemon().get("/v1/declining").to_string();
        findings.contains("tester BT-1").then_some(())
    });
}

#[test]
fn the_wrong_asset_is_put_right_afterwards() {
    let mut bench = Bench::new();
    bench.isolated("YT-015/drive");
    bench.prove();
    bench.test(1, "4.2E8");
    bench.discharge();
    bench.test(2, "4.0E8");
    bench.ok(&[("do", "abandon"), ("reason", "the plate says YT-014")]);
    assert!(alert(&bench.page()).contains("The tester was not checked after the tests"));
    let elsewhere = [("do", "move"), ("asset", "YT-099"), ("reason", "it was")];
    bench.refused(&elsewhere, "there is no asset `YT-099`");
    let right = [("do", "move"), ("asset", ASSET), ("reason", "it was YT-014")];
    bench.refused(&right[..2], "say why");
    bench.ok(&right);
    let sheet = bench.sheet();
    for (test, phase) in [(0, "U"), (1, "V")] {
        assert_eq!(sheet["tests"][test]["moved_to"], ASSET);
        assert_eq!(sheet["tests"][test]["phase"], phase);
        assert_eq!(sheet["tests"][test]["result"]["says"], "as expected");
    }
    let (_, history) = bench.place.run(&["history", ASSET, "--format", "csv"]);
    assert_eq!(history.matches("bench-1").count(), 4, "{history}");
    // One of them is void after all.
    bench.ok(&[("do", "void"), ("test", "2"), ("reason", "the clip was off")]);
    let says = bench.sheet()["tests"][1]["result"]["says"].as_str().unwrap().to_owned();
    assert!(says.contains("void"), "{says}");
}

#[test]
fn what_must_not_be_tested_gets_no_sheet() {
    let bench = Bench::new();
    bench.refused(&[("do", "open"), ("asset", "YT-014/pack")], "a source of energy");
    bench
        .refused(&[("do", "open"), ("asset", ASSET), ("energised", "yes")], "said to be energised");
    bench.refused(&[("do", "open"), ("asset", "YT-099")], "there is no asset `YT-099`");
    let new = [("do", "open"), ("asset", "YT-099"), ("new", "yes"), ("kind", "hoist motor")];
    assert_eq!(bench.ok(&new), "plan");
    bench.refused(&[("do", "open"), ("asset", ASSET)], "a run sheet for `YT-099` is open");
    let (code, listed) = bench.place.run(&["asset", "list", "--format", "csv"]);
    assert!(code == 0 && listed.contains("YT-099,hoist motor"), "{listed}");
}

#[test]
fn a_button_counts_the_seconds_of_bare_values() {
    let profile = "title = \"Bare (invented)\"\nformat = \"instrument\"\n[instrument]\n\
                   values = [\"resistance\"]\n[units]\nresistance = \"Ω\"\n";
    let mut bench = Bench::with("test = \"button\"");
    // The station's lines say nothing but ohms.
    std::fs::write(bench.place.path("data/profiles/ohms.toml"), profile).unwrap();
    let config = std::fs::read_to_string(bench.place.path("data/config.toml")).unwrap();
    bench.place.config(&config.replace("quay-scpi", "ohms"));
    bench.daemon().signal("HUP");
    until("the station was opened anew", || {
        bench.daemon().log().contains("the configuration was read again").then_some(())
    });
    bench.connected(1);
    bench.isolated(ASSET);
    for (point, value) in [("open-before", "OL"), ("shorted-before", "0.00 MΩ")] {
        assert_eq!(bench.next(), point);
        bench.ok(&[("do", "prove"), ("by_hand", value)]);
    }
    bench.ok(&[("do", "skip"), ("point", "known-before"), ("reason", "none here")]);
    assert_eq!(bench.ok(&[("do", "confirm"), ("point", "contact-1")]), "test-1");
    // Too early: nobody has said that the test began.
    bench.tester.send("4.0E8\r\n");
    bench.daemon().until_count("bench-1", "tray", 1);
    bench.ok(&[("do", "begin")]);
    let mut sent = 0;
    until("a value was read at the rated second", || {
        if bench.accepted() == sent {
            bench.tester.send("4.2E8\r\n");
            sent += 1;
        }
        let sheet = bench.sheet();
        let seconds = sheet["tests"][0]["result"]["duration_s"].as_f64()?;
        (seconds > 0.7 && seconds < 1.5).then_some(())
    });
    assert_eq!(bench.ok(&[("do", "end")]), "discharge-1");
    assert!(bench.page().contains("1 value came while no test was under way"));
}
