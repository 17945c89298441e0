//! The fleet: what needs attention stands first; it can be searched, with the keyboard alone.

use crate::checks::every_look;
use crate::driver::{ENTER, TAB};
use crate::quay::Quay;

#[test]
fn what_needs_attention_stands_first() {
    let Quay { browser, .. } = &Quay::open();
    browser.go("/");
    let rows = browser.all("#fleet-list tbody tr");
    assert!(rows[0].text().contains("YT-003/drive"), "{}", rows[0].text());
    browser.until_says("YT-002/drive");
    browser.until_says("declining");
    every_look(browser, "/");
}

#[test]
fn the_keyboard_alone_finds_an_asset() {
    let Quay { browser, .. } = &Quay::open();
    browser.go("/");
    browser.press(TAB);
    browser.press(ENTER);
    browser.find("#q").write("rmg hoist");
    browser.press(ENTER);
    browser.until_says("1 to 1 of 1");
    assert!(browser.text().contains("RMG-1/hoist"));
}

#[test]
fn the_list_is_filtered() {
    let Quay { browser, .. } = &Quay::open();
    browser.go("/");
    browser.field("Show").choose("no finding");
    browser.field("Site").choose("North yard");
    browser.button("Show").click();
    browser.until_says("1 to 1 of 1");
    assert!(browser.find("#rest ~ table tbody").text().contains("YT-001/drive"));
    browser.go("/?show=declining");
    assert_eq!(browser.all("#due ~ table tbody tr").len(), 2);
}

/// What comes in is seen on a page that stays open, without anybody loading it again.
#[test]
fn an_open_page_stays_fresh() {
    let quay = Quay::open();
    quay.browser.go("/stations");
    quay.browser.until_says("nothing has come yet");
    quay.browser.script("document.body.dataset.same = 'page'");
    let body = "taken_at,asset,phase,resistance_ohm\n2025-03-03T08:00:00Z,YT-001/drive,U,5e8\n";
    let (status, said) = quay.daemon.post("text/csv", body);
    assert_eq!((status, &said["accepted"]), (200, &serde_json::json!(1)), "{said}");
    quay.browser.until_says("1 readings stored");
    assert_eq!(quay.browser.script("return document.body.dataset.same"), "page");
}
