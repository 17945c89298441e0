//! A reading by hand: what is wrong stands beside its field, and the result is there at once.

use crate::driver::{ENTER, TAB};
use crate::quay::Quay;

#[test]
fn what_is_wrong_stands_beside_its_field() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/enter");
    browser.field("Asset").write("YT-1");
    browser.field("Phase").write("U");
    browser.field("Resistance").write("lots");
    browser.field("Temperature (°C)").write("warm");
    browser.button("Store it").click();
    browser.until_says("Nothing was recorded.");
    for (field, words) in [
        ("asset", "there is no asset “YT-1” yet"),
        ("temperature_c", "expected a number such as 22.5, found “warm”"),
    ] {
        let more = browser.find(&format!("#{field}-more")).text();
        assert!(more.contains(words), "{field}: {more}");
    }
    browser.field("Asset").rewrite("YT-001/drive");
    browser.field("Temperature (°C)").rewrite("22");
    browser.button("Store it").click();
    browser.until_says("found “lots”");
    browser.field("Resistance").rewrite("1.2M");
    browser.field("Test voltage (V)").write("500");
    browser.button("Store it").click();
    browser.until_says("Stored.");
    let said = browser.find("[role=status]").text();
    assert!(said.contains("1.2 MΩ") && said.contains("below"), "{said}");
    assert!(browser.text().contains("Before anybody acts on this"));
}

#[test]
fn a_new_asset_is_registered_only_when_asked_for() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/enter?asset=YT-900%2Fdrive");
    browser.field("Phase").write("all");
    browser.field("Resistance").write(">550M");
    browser.button("Store it").click();
    browser.until_says("there is no asset “YT-900/drive” yet");
    browser.find("input[name=new]").click();
    browser.button("Store it").click();
    browser.until_says("“YT-900/drive” is new and was registered");
}

/// Hands on the keyboard: to the content, through the fields, stored.
#[test]
fn the_keyboard_alone_enters_a_reading() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/enter");
    browser.press(TAB);
    browser.press(ENTER);
    for text in ["YT-001/drive", "V", "53M", "2026-01-12 08:00", "500"] {
        browser.press(TAB);
        browser.press(text);
    }
    browser.press(ENTER);
    browser.until_says("Stored.");
    assert!(browser.find("[role=status]").text().contains("53 MΩ"));
}
