//! A finding is acknowledged with a remark, then closed.

use crate::quay::Quay;

#[test]
fn a_finding_is_acknowledged_with_a_remark() {
    let quay = Quay::named();
    let browser = &quay.browser;
    browser.go("/findings?q=YT-003+below");
    assert_eq!(browser.all("tbody tr").len(), 1);
    browser.find("tbody summary").click();
    // What the browser lets pass unsaid, the service does not.
    browser.script("document.querySelector('td input[name=remark]').required = false");
    browser.button("Acknowledge").click();
    browser.until_says("remark: missing");
    browser.field("What was seen or done").write("booked for the dock");
    browser.button("Acknowledge").click();
    browser.until_says("M. Invented: booked for the dock");
    assert!(browser.text().contains("acknowledged"));
    browser.find("tbody summary").click();
    browser.field("What was seen or done").write("rewound by the works");
    browser.button("Close").click();
    browser.until_says("There are none.");
    browser.go("/findings?q=YT-003+below&state=closed");
    browser.until_says("M. Invented: rewound by the works");
}

#[test]
fn without_a_name_one_is_asked_for_it_and_comes_back() {
    let Quay { browser, .. } = &Quay::open();
    browser.go("/findings?q=YT-003");
    assert!(browser.all("tbody form").is_empty());
    browser.link("Say who you are").click();
    browser.field("Your name").write("A. Fiction");
    browser.button("That is me").click();
    browser.until_says("A. Fiction");
    assert_eq!(browser.path(), "/findings?q=YT-003");
    assert!(!browser.all("tbody form").is_empty());
}
