//! Two people at one sheet, a restart, and a kill in the middle of a test.

use crate::person::{ASSET, Bench, alert, reply};
use crate::running::{Daemon, until};
use crate::tester::Tester;

#[test]
fn of_two_people_the_slower_one_is_told_what_has_changed() {
    let bench = Bench::new();
    bench.ok(&[("do", "open"), ("asset", ASSET)]);
    let live = bench.live();
    let seen = [("opened", live["opened"].to_string()), ("version", live["version"].to_string())];
    let plan = |setup| {
        [
            ("do", "plan"),
            ("phases", "U"),
            ("setup", setup),
            ("test_voltage_v", "500"),
            ("rated_s", "1"),
            ("operator", "Tom"),
        ]
    };
    assert_eq!(bench.send_as("Ines", &seen, &plan("others grounded")).0, 303);
    let (status, page) = bench.send_as("Tom", &seen, &plan("others floating"));
    assert_eq!(status, 409);
    let told = alert(&page);
    assert!(told.contains("Ines: to be measured: U at 500 V"), "{told}");
    assert_eq!(bench.sheet()["setup"], "others grounded");
    // A sheet of another time is not this one.
    let (status, _) =
        bench.send_as("Tom", &[("opened", "1".into()), ("version", "1".into())], &plan(""));
    assert_eq!(status, 404);
    // A program without `text/html` in its Accept is told the same in JSON.
    let head = "POST /bench/bench-1\r\nContent-Type: application/x-www-form-urlencoded\r\n\
                Ohmward-Operator: Tom";
    let (status, _, body) = bench.daemon().request(head, b"do=open&asset=YT-015%2Fdrive").unwrap();
    assert!(status == 409 && body.starts_with("{\"error\":"), "{status} {body}");
    // Without a name nothing is changed.
    let head = "POST /bench/bench-1\r\nContent-Type: application/x-www-form-urlencoded";
    assert_eq!(bench.daemon().request(head, b"do=undo").unwrap().0, 400);
}

/// Ends the daemon in the middle of a test, one way or the other, and goes on.
fn goes_on_after(end: impl FnOnce(Daemon, &mut Tester)) {
    let mut bench = Bench::new();
    bench.isolated(ASSET);
    bench.prove();
    bench.ok(&[("do", "confirm"), ("point", "contact-1")]);
    bench.tester.send(reply("4.1E8", 0.5));
    bench.daemon().until_count("bench-1", "accepted", 1);
    let before = bench.sheet();
    end(bench.daemon.take().unwrap(), &mut bench.tester);
    bench.daemon = Some(bench.place.serve());
    bench.connected(1);
    let after = bench.sheet();
    assert_eq!((&after["version"], &after["next"]), (&before["version"], &"test-1".into()));
    assert_eq!(after["proofs"], before["proofs"]);
    // The test goes on: what comes now belongs to the same phase.
    bench.tester.send(reply("4.2E8", 1.0));
    bench.daemon().until_count("bench-1", "accepted", 1);
    assert_eq!(bench.ok(&[("do", "end")]), "discharge-1");
    let result = &bench.sheet()["tests"][0]["result"];
    assert_eq!((&result["readings"], &result["resistance_ohm"]), (&2.into(), &4.2e8.into()));
    assert_eq!(bench.tray(), 0);
    bench.discharge();
    bench.test(2, "3.9E8");
    bench.discharge();
    assert_eq!(bench.prove(), "finish");
    assert_eq!(bench.ok(&[("do", "finish")]), "nothing");
}

#[test]
fn a_restart_in_the_middle_of_a_test_loses_nothing() {
    goes_on_after(|daemon, _| assert!(daemon.end().success()));
}

#[test]
fn a_kill_in_the_middle_of_a_test_loses_nothing() {
    goes_on_after(|daemon, tester| {
        daemon.kill();
        tester.outlive_a_kill();
    });
}

#[test]
fn a_test_whose_seconds_a_restart_has_lost_is_to_be_repeated() {
    let mut bench = Bench::with("test = \"pause\"\npause_s = 5.0");
    bench.isolated(ASSET);
    bench.prove();
    bench.ok(&[("do", "confirm"), ("point", "contact-1")]);
    bench.tester.send(reply("4.1E8", 0.5));
    bench.daemon().until_count("bench-1", "accepted", 1);
    bench.daemon.take().unwrap().kill();
    bench.tester.outlive_a_kill();
    bench.daemon = Some(bench.place.serve());
    bench.connected(1);
    assert!(bench.page().contains("The seconds of this test began anew"));
    bench.tester.send(reply("4.2E8", 1.0));
    bench.daemon().until_count("bench-1", "tray", 1);
    bench.ok(&[("do", "end")]);
    bench.discharge();
    assert_eq!(bench.ok(&[("do", "repeat"), ("test", "1")]), "contact-1");
    bench.test(1, "4.2E8");
    assert_eq!(bench.sheet()["tests"][0]["result"]["resistance_ohm"], 4.2e8);
}

#[test]
fn the_sheets_of_a_station_that_is_no_more_can_still_be_read_and_ended() {
    let bench = Bench::new();
    bench.isolated(ASSET);
    let opened = bench.live()["opened"].to_string();
    bench.place.config("");
    bench.daemon().signal("HUP");
    until("the station is gone", || bench.daemon().source("bench-1").is_null().then_some(()));
    let (status, _, page) =
        bench.daemon().request(&format!("GET /bench/bench-1/{opened}"), b"").unwrap();
    assert!(status == 200 && page.contains("open leads, before the tests"), "{status} {page}");
    let version = bench.sheet()["version"].to_string();
    let seen = [("opened", opened), ("version", version)];
    let end = [("do", "abandon"), ("reason", "the bench was taken down")];
    assert_eq!(bench.send_as("Ines", &seen, &end).0, 303);
    assert!(bench.sheet()["ended"].is_string());
    let open = [("do", "open"), ("asset", ASSET)];
    assert_eq!(bench.send_as("Ines", &[], &open).0, 404);
    assert_eq!(bench.daemon().request("GET /bench/bench-9", b"").unwrap().0, 404);
}

#[test]
fn values_that_nobody_waits_for_wait_in_the_tray() {
    let mut bench = Bench::new();
    bench.tester.send(reply("4.0E8", 1.0));
    bench.daemon().until_count("bench-1", "tray", 1);
    bench.isolated(ASSET);
    bench.prove();
    // The tester was started before contact was confirmed.
    bench.tester.send(reply("4.0E8", 1.0));
    bench.daemon().until_count("bench-1", "tray", 2);
    bench.ok(&[("do", "confirm"), ("point", "contact-1")]);
    bench.tester.send(reply("4.0E8", 1.0));
    bench.daemon().until_count("bench-1", "accepted", 1);
    // It measures V already, and the sheet still stands at U: the seconds have fallen back.
    bench.tester.send(reply("3.0E8", 0.2));
    bench.daemon().until_count("bench-1", "tray", 3);
    until("the page tells of them", || {
        bench.page().contains("2 values came while no test was under way").then_some(())
    });
}
