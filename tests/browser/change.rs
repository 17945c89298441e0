//! An asset is changed on its page by whoever manages; nobody else is offered it.

use crate::checks::is_open_to_all;
use crate::quay::{Quay, password};
use crate::running::until;

#[test]
fn limits_are_changed_and_what_is_wrong_stands_beside_its_field() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/asset/YT-001%2Fdrive");
    browser.link("Change what is known of it").click();
    browser.until_says("Nothing is overwritten");
    browser.field("Limit at 40 °C").rewrite("plenty");
    browser.field("Days from test to test").write("30");
    browser.button("Record it").click();
    browser.until_says("Nothing was recorded.");
    let beside = browser.find("#limit_ohm-more").text();
    assert!(beside.contains("found “plenty”"), "{beside}");
    is_open_to_all(browser, "a form that was filled in wrong");
    browser.field("Limit at 40 °C").rewrite("100M");
    browser.field("Other limits").write("1 MΩ as read");
    browser.field("Phases").choose("tied");
    browser.button("Record it").click();
    browser.until_says("Recorded. The asset is being assessed again.");
    let facts = browser.find(".facts").text();
    for words in ["100 MΩ at 40 °C; 1 MΩ as read", "tied", "every 30 days"] {
        assert!(facts.contains(words), "{facts}");
    }
}

#[test]
fn an_asset_is_retired_and_taken_back() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/asset/YT-003%2Fdrive/change");
    browser.find("#why").write("scrapped, invented");
    browser.button("Retire it").click();
    browser.until_says("The asset is out of service; its history stays.");
    assert!(browser.text().contains("(by M. Invented): scrapped, invented"));
    // Its findings end when it is assessed again.
    until("the fleet has it no more", || {
        browser.go("/");
        let fleet = browser.text();
        (fleet.contains("YT-002/drive") && !fleet.contains("YT-003/drive")).then_some(())
    });
    browser.go("/asset/YT-003%2Fdrive/change");
    is_open_to_all(browser, "a retired asset");
    browser.find("#why").write("kept after all");
    browser.button("Take it back into service").click();
    browser.until_says("The asset is back in service.");
}

#[test]
fn who_does_not_manage_is_not_offered_it() {
    let quay = Quay::with(&[("fitter", "bench"), ("chief", "manage")]);
    let browser = &quay.browser;
    for (name, offered) in [("fitter", false), ("chief", true)] {
        browser.go("/asset/YT-001%2Fdrive");
        browser.field("Name").write(name);
        browser.field("Password").write(&password(name));
        browser.button("Log in").click();
        browser.until_says("Enter a reading of it");
        assert_eq!(browser.text().contains("Change what is known of it"), offered, "{name}");
        browser.go("/asset/YT-001%2Fdrive/change");
        browser.until_says(if offered { "In service or not" } else { "not for you to do" });
        browser.go("/gear");
        browser.button("Log out").click();
        browser.until_says("Log in");
    }
}
