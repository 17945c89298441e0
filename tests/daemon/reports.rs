//! Scheduled reports: made by themselves, once, also over a kill and a restart.

use crate::running::{Place, until};

fn table(name: &str, form: &str) -> String {
    format!(
        "[[report]]\nname = \"{name}\"\nfolder = \"out\"\nevery = \"month\"\nat = \"00:00\"\n\
         format = \"{form}\"\n"
    )
}

#[test]
fn a_scheduled_report_is_made_once_whatever_happens() {
    let place = Place::new();
    place.config(&table("fleet", "pdf"));
    let daemon = place.serve();
    let folder = place.path("data/out");
    let begins = |with: &str| {
        let files = std::fs::read_dir(&folder).ok()?.flatten();
        files.map(|f| f.path()).find(|p| {
            let name = p.file_name().unwrap().to_string_lossy().into_owned();
            name.starts_with(with) && !name.ends_with(".part")
        })
    };
    let first = until("the report", || begins("fleet-"));
    assert!(std::fs::read(&first).unwrap().starts_with(b"%PDF-1.7"));
    until("the note", || place.path("data/reports/fleet.made").exists().then_some(()));
    daemon.kill();
    std::fs::remove_file(&first).unwrap();
    // The second report comes after the first one was looked at.
    place.config(&format!("{}{}", table("fleet", "pdf"), table("second", "html")));
    let daemon = place.serve();
    let second = until("the second report", || begins("second-"));
    let html = std::fs::read_to_string(second).unwrap();
    assert!(html.contains("nothing was ever tested"), "{html}");
    assert_eq!(begins("fleet-"), None, "a file that was taken away is not made again");
    // A third one comes with SIGHUP alone.
    place.config(&format!("{}{}", table("second", "html"), table("third", "csv")));
    daemon.signal("HUP");
    until("the third report", || begins("third-"));
    assert!(daemon.end().success());
}
