//! What a page lists to choose from.

use crate::ask::ask;
use crate::running::{Daemon, Place};

fn offers(daemon: &Daemon, id: &str) -> bool {
    let page = ask(daemon.address(), "GET /enter", &["Ohmward-Operator: M. Invented"], "");
    assert_eq!(page.status, 200);
    page.body.contains(&format!("<option>{id}</option>"))
}

/// Retired and merged assets are not offered when a reading is entered; they come back with what
/// takes that back.
#[test]
fn readings_are_entered_for_what_is_measured() {
    let place = Place::new();
    for asset in ["YT-1", "YT-2", "YT-O1"] {
        assert_eq!(place.run(&["asset", "add", asset, "--kind", "drive motor"]).0, 0);
    }
    let daemon = place.serve();
    let all = ["YT-1", "YT-2", "YT-O1"];
    assert!(all.iter().all(|id| offers(&daemon, id)));
    let run = |args: &[&str]| assert_eq!(place.run(args).0, 0, "{args:?}");
    run(&["asset", "retire", "YT-2", "--why", "scrapped, invented"]);
    run(&["asset", "merge", "YT-O1", "--into", "YT-1", "--why", "a letter for a zero"]);
    run(&["asset", "add", "LEARN-1", "--training", "sound"]);
    assert_eq!(all.map(|id| offers(&daemon, id)), [true, false, false]);
    assert!(offers(&daemon, "LEARN-1"));
    run(&["asset", "return", "YT-2", "--why", "kept after all"]);
    run(&["asset", "unmerge", "YT-O1", "--why", "another motor"]);
    assert!(all.iter().all(|id| offers(&daemon, id)));
    assert!(daemon.end().success());
}
