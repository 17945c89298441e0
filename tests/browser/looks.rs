//! Every page on a phone and a desk, light and dark: nobody is shut out, nothing comes from
//! elsewhere, nothing is wider than the screen.

use crate::checks::{every_look, is_open_to_all};
use crate::quay::Quay;

#[test]
fn lists_and_forms_are_open_to_all() {
    let quay = Quay::named();
    for path in ["/findings", "/waiting", "/gear?set=HT-5&set=L-2", "/stations", "/enter"] {
        every_look(&quay.browser, path);
    }
}

#[test]
fn assets_and_readings_are_open_to_all() {
    let quay = Quay::named();
    for path in [
        "/asset/RMG-1%2Fhoist",
        "/asset/RMG-1%2Fhoist/change",
        "/asset/YT-002%2Fdrive?as_of=2024-09-01",
        "/reading/4.9",
    ] {
        every_look(&quay.browser, path);
    }
}

#[test]
fn what_is_folded_away_is_open_to_all_too() {
    let quay = Quay::named();
    for path in ["/asset/YT-002%2Fdrive", "/findings", "/waiting", "/gear"] {
        quay.browser.go(path);
        quay.browser.script("document.querySelectorAll('details').forEach(d => d.open = true)");
        is_open_to_all(&quay.browser, path);
    }
}

#[test]
fn pages_about_people_and_refusals_are_open_to_all() {
    let quay = Quay::open();
    every_look(&quay.browser, "/who");
    every_look(&quay.browser, "/login?wrong=1");
    // The browser itself complains of a page that is not there.
    for (path, words) in [("/nothing", "There is nothing here"), ("/asset/YT-999", "no asset")] {
        quay.browser.go(path);
        quay.browser.until_says(words);
        is_open_to_all(&quay.browser, path);
    }
}
