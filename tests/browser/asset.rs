//! The page of an asset: verdict and evidence, another time, what was done to it, and a reading of
//! the wrong asset put right.

use crate::quay::Quay;

#[test]
fn the_verdict_stands_with_its_evidence() {
    let Quay { browser, .. } = &Quay::open();
    browser.go("/asset/YT-002%2Fdrive");
    assert!(browser.find("#verdict").text().contains("declining"));
    let text = browser.text();
    for words in [
        "Before anybody acts on this",
        "14 visits",
        "Probabilities and intervals hold under the detector's model",
        "it missed",
        "HT-5",
        "proof missing",
    ] {
        assert!(text.contains(words), "`{words}` is missing in\n{text}");
    }
    let drawing = browser.find(".desk svg").attribute("aria-label").unwrap();
    assert!(drawing.contains("YT-002/drive"), "{drawing}");
    for never in ["safe to touch.", "is dead", "may be disconnected"] {
        let said = text.replace("it does not say that anything is safe to touch.", "");
        assert!(!said.contains(never), "the page says `{never}`");
    }
}

#[test]
fn one_can_look_at_another_time() {
    let Quay { browser, .. } = &Quay::open();
    browser.go("/asset/YT-002%2Fdrive");
    let fold = browser.all("details").pop().unwrap();
    fold.click();
    browser.field("Measured up to (UTC)").write("2024-06-01");
    browser.button("Look").click();
    browser.until_says("This is a look back: measured up to 2024-06-01");
    assert!(!browser.find("#verdict").text().contains("declining"));
    browser.go("/asset/YT-002%2Fdrive?as_of=soon");
    browser.until_says("expected a time like “2026-03-02T08:15:00Z”");
}

#[test]
fn what_was_done_is_recorded_and_taken_back() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/asset/YT-001%2Fdrive");
    browser.find("#events ~ details summary").click();
    browser.field("What was done").write("washed");
    browser.field("When (UTC)").write("sometime");
    browser.button("Record it").click();
    browser.until_says("Nothing was recorded.");
    assert_eq!(browser.field("When (UTC)").attribute("aria-invalid").as_deref(), Some("true"));
    browser.field("When (UTC)").rewrite("2025-01-10 14:30");
    browser.button("Record it").click();
    browser.until_says("2025-01-10 14:30");
    assert!(browser.text().contains("M. Invented"));
    browser.find("td form button").click();
    browser.until_says("Nothing is recorded.");
}

/// The last reading of YT-001/drive was taken at YT-002: it is moved, and both histories say so.
#[test]
fn a_reading_of_the_wrong_asset_is_moved() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/asset/YT-001%2Fdrive");
    browser.find(".visits a").click();
    browser.until_says("Put it right");
    let reading = browser.path();
    browser.field("Asset").rewrite("YT-00");
    browser.field("Why").write("clipped to the other machine");
    browser.button("Move it").click();
    browser.until_says("there is no asset “YT-00”");
    browser.field("Asset").rewrite("YT-002/drive");
    browser.button("Move it").click();
    browser.until_says("The reading was moved");
    browser.until_says("moved from YT-001/drive U");
    browser.link("YT-002/drive").click();
    browser.until_says("moved from YT-001/drive U");
    browser.go(&reading);
    browser.field("Why it does not count").write("a trial of the clip");
    browser.button("Let it count no more").click();
    browser.until_says("left out: void (a trial of the clip)");
    browser.field("Why it counts").write("it was no trial");
    browser.button("Let it count again").click();
    browser.until_says("The reading counts again.");
    assert_eq!(browser.all("#corrections ~ table tbody tr").len(), 3);
}
