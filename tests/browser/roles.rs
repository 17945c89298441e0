//! Logging in, what each role is offered, and that a form of another session changes nothing.

use crate::driver::Browser;
use crate::quay::{Quay, password};

fn log_in(browser: &Browser, name: &str) {
    browser.field("Name").write(name);
    browser.field("Password").write(&password(name));
    browser.button("Log in").click();
    browser.until_says(&format!("{name} ("));
}

#[test]
fn one_logs_in_and_comes_back_to_where_one_was() {
    let quay = Quay::with(&[("reader", "read"), ("fitter", "bench")]);
    let browser = &quay.browser;
    browser.go("/findings?q=YT-003");
    browser.field("Name").write("fitter");
    browser.field("Password").write("not it, invented");
    browser.button("Log in").click();
    browser.until_says("do not belong together");
    log_in(browser, "fitter");
    assert_eq!(browser.path(), "/findings?q=YT-003");
    browser.find("tbody summary").click();
    browser.field("What was seen or done").write("seen");
    browser.button("Acknowledge").click();
    browser.until_says("fitter: seen");
    browser.button("Log out").click();
    browser.until_says("Log in");
    browser.go("/");
    assert!(browser.path().starts_with("/login"), "{}", browser.path());
}

#[test]
fn who_may_read_is_offered_no_change_and_gets_none() {
    let quay = Quay::with(&[("reader", "read"), ("fitter", "bench")]);
    let browser = &quay.browser;
    browser.go("/findings");
    log_in(browser, "reader");
    browser.until_says("Your role may read only.");
    assert!(browser.all("main form[method=post]").is_empty());
    let status = browser.script(
        "return fetch('/enter', {method: 'POST', body: new URLSearchParams({asset: 'YT-001/drive'})})\
         .then(answer => answer.status)",
    );
    assert_eq!(status, 403);
}

#[test]
fn a_form_of_another_session_changes_nothing() {
    let quay = Quay::with(&[("fitter", "bench")]);
    let browser = &quay.browser;
    browser.go("/enter");
    log_in(browser, "fitter");
    browser.script("document.querySelector('main input[name=csrf]').value = 'another'");
    browser.field("Asset").write("YT-001/drive");
    browser.field("Phase").write("U");
    browser.field("Resistance").write("53M");
    browser.button("Store it").click();
    browser.until_says("That is not for you to do");
}
