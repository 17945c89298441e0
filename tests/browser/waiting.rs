//! What waits for a person: a line is mended, a reading leaves the tray.

use crate::quay::Quay;

#[test]
fn a_reject_is_mended() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/waiting");
    browser.until_says("found “55O000000”");
    browser.find("#rejects ~ table summary").click();
    browser.button("Read it so").click();
    browser.until_says("Nothing was recorded.");
    browser
        .field("The record as it should be")
        .rewrite("2025-01-20T08:00:00Z,YT-001/drive,U,550000000,=,500");
    browser.button("Read it so").click();
    browser.until_says("Read as mended, and stored in your name.");
    browser.until_says("There are none.");
    browser.go("/asset/YT-001%2Fdrive");
    browser.find(".visits a").click();
    browser.until_says("M. Invented, record 1");
    browser.until_says("2025-01-20T08:00:00Z,YT-001/drive,U,550000000,=,500");
}

#[test]
fn rejects_are_read_again() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/waiting");
    browser.button("Read all again").click();
    browser.until_says("1 still cannot be read");
}

/// The reading leaves the tray, and whatever is written like it finds its way from now on.
#[test]
fn a_reading_leaves_the_tray() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/waiting");
    browser.until_says("slot 14");
    browser.find("#tray ~ table summary").click();
    browser.field("Asset").write("YT-001/drive");
    browser.field("Phase").write("U");
    browser.field("Why").write("slot 14 is YT-001");
    browser.find("input[name=always]").click();
    browser.button("Place it").click();
    browser.until_says("The tray is empty.");
    browser.go("/asset/YT-001%2Fdrive");
    browser.until_says("410 MΩ");
}
