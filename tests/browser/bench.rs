//! The run sheet: a whole run by touch on a phone, and one by the keyboard alone at a desk.

use std::io::Write;
use std::process::Stdio;

use crate::checks::{every_look, is_open_to_all};
use crate::driver::{Browser, DESK, ENTER, PHONE, SPACE, Scheme, TAB};
use crate::person::{ASSET, Bench, OVER, reply};
use crate::quay::password;
use crate::running::until;

const SHEET: &str = "/bench/bench-1";

/// A bench and a browser in which somebody has said who they are.
fn bench() -> (Bench, Browser) {
    let bench = Bench::new();
    let browser = Browser::open(bench.daemon().address());
    browser.go("/who?to=/bench");
    browser.field("Your name").write("Ines");
    browser.press(ENTER);
    browser.until_says("bench-1");
    (bench, browser)
}

/// Waits until this is what comes next.
fn until_next(browser: &Browser, title: &str) {
    until(&format!("`{title}` comes next\n{}", browser.text()), || {
        let shown = browser.script("return document.querySelector('#now h2')?.innerText ?? ''");
        (shown.as_str()? == title).then_some(())
    });
}

/// Waits until the page itself, without being loaded again by anybody, shows a value.
fn until_shown(browser: &Browser, value: &str) {
    until(&format!("the page shows {value}\n{}", browser.text()), || {
        let shown = browser.script("return document.querySelector('#value')?.innerText ?? ''");
        (shown.as_str()? == value).then_some(())
    });
}

/// Nothing is wider than the screen, and the page is open to all.
fn looks_right(browser: &Browser) {
    let widths = browser.script("return [document.documentElement.scrollWidth, innerWidth]");
    assert!(widths[0].as_u64() <= widths[1].as_u64(), "too wide: {widths}");
    is_open_to_all(browser, SHEET);
}

#[test]
fn a_whole_run_by_touch_on_a_phone() {
    let (mut bench, browser) = bench();
    browser.look(PHONE, Scheme::Light);
    let press = |button: &str| browser.button(button).click();
    browser.go(SHEET);
    looks_right(&browser);
    browser.find("#asset").write(ASSET);
    press("Open a sheet");
    until_next(&browser, "What is to be measured");
    assert_eq!(browser.find("#setup").attribute("value").as_deref(), Some("others grounded"));
    browser.field("Phases to test, in order").rewrite("U, V");
    browser.field("Test voltage, V").rewrite("500");
    browser.field("Temperature, °C").write("22");
    looks_right(&browser);
    press("Measure this");
    until_next(&browser, "The gear");
    browser.find("input[value='L-1']").click();
    browser.find("input[value='R-1']").click();
    looks_right(&browser);
    press("Use this");
    until_next(&browser, "Isolating and locking");
    press("Confirmed: isolating and locking");
    for source in ["The known source, before", "The known source, after"] {
        until_next(&browser, source);
        browser.field("Read, V").write("23.8");
        browser.field("The source gives, V").rewrite("24");
        press("Record");
        if source.ends_with("before") {
            until_next(&browser, "The voltage at the part");
            browser.field("Highest voltage read, V").write("398");
            press("Report");
            browser.until_says("it is energised or charged");
            // The browser notes that the answer was a refusal.
            assert!(browser.complaints().iter().all(|said| said.contains("409")));
            browser.field("Highest voltage read, V").rewrite("0.2");
            press("Report");
        }
    }
    until_next(&browser, "Disconnecting what the test voltage can harm");
    press("Confirmed: disconnecting what the test voltage can harm");
    for moment in ["before", "after"] {
        until_next(&browser, &format!("Open leads, {moment} the tests"));
        bench.tester.send(reply(OVER, 1.0));
        until_shown(&browser, "> 1 TΩ");
        press("Take the value");
        until_next(&browser, &format!("Shorted leads, {moment} the tests"));
        bench.tester.send(reply("0", 1.0));
        until_shown(&browser, "< 1 kΩ");
        looks_right(&browser);
        press("Take the value");
        until_next(&browser, &format!("The known resistance, {moment} the tests"));
        bench.tester.send(reply("1.02E6", 1.0));
        until_shown(&browser, "1.02 MΩ");
        assert_eq!(browser.find("#expected_ohm").attribute("value").as_deref(), Some("1 MΩ"));
        press("Take the value");
        if moment == "before" {
            for (phase, ohms, shown) in [("U", "4.2E8", "420 MΩ"), ("V", "3.9E8", "390 MΩ")] {
                until_next(&browser, &format!("Contact at {phase}"));
                press(&format!("Confirmed: contact at {phase}"));
                until_next(&browser, &format!("The test of {phase}"));
                bench.tester.send(reply(ohms, 0.5));
                until_shown(&browser, shown);
                bench.tester.send(reply(ohms, 1.0));
                browser.until_says("The rated time is over");
                looks_right(&browser);
                press("Released: the voltage is off");
                until_next(&browser, &format!("Discharging {phase}"));
                browser.until_says("as expected");
                browser.until_says("The wait is over");
                browser.field("Residual voltage read, V").write("3");
                press("Report and go on");
            }
        }
    }
    until_next(&browser, "Finishing");
    press("Finish the sheet");
    browser.until_says("Finished by Ines");
    browser.until_says("residual 3 V reported; measure yourself");
    every_look(&browser, SHEET);
    every_look(&browser, "/bench");
    for word in ["safe", "dead"] {
        browser.go(SHEET);
        let text = browser.text().replace("it does not say that anything is safe to touch", "");
        assert!(!text.contains(word), "the sheet says `{word}`:\n{text}");
    }
}

/// An account of this role; its password follows from its name.
fn account(bench: &Bench, name: &str, role: &str) {
    let mut add = bench.place.command(&["account", "add", name, "--role", role]);
    let mut child = add.stdin(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
    writeln!(child.stdin.take().unwrap(), "{}", password(name)).unwrap();
    assert!(child.wait().unwrap().success(), "the account of {name}");
}

#[test]
fn with_accounts_a_fitter_runs_a_sheet_and_a_reader_only_watches() {
    let bench = Bench::new();
    account(&bench, "reader", "read");
    account(&bench, "fitter", "bench");
    let browser = Browser::open(bench.daemon().address());
    let log_in = |name: &str| {
        browser.go(&format!("/login?to={}", SHEET.replace('/', "%2F")));
        browser.field("Name").write(name);
        browser.field("Password").write(&password(name));
        browser.button("Log in").click();
        browser.until_says(&format!("{name} ("));
    };
    log_in("fitter");
    browser.find("#asset").write(ASSET);
    browser.button("Open a sheet").click();
    until_next(&browser, "What is to be measured");
    assert_eq!(browser.find("#operator").attribute("value").as_deref(), Some("fitter"));
    browser.button("Log out").click();
    browser.until_says("Log in");
    log_in("reader");
    until_next(&browser, "What is to be measured");
    browser.until_says("Your role may read only.");
    assert!(browser.all("main form[method=post]").is_empty());
    let status = browser.script(
        "return fetch('/bench/bench-1', {method: 'POST', body: new URLSearchParams({do: 'undo'})})\
         .then(answer => answer.status)",
    );
    assert_eq!(status, 403);
}

/// Moves on with the tabulator until an element has the focus.
fn tab_to(browser: &Browser, css: &str) {
    for _ in 0..60 {
        let there = format!("return document.activeElement === document.querySelector({css:?})");
        if browser.script(&there) == true {
            return;
        }
        browser.press(TAB);
    }
    panic!("the keyboard does not reach `{css}`\n{}", browser.text());
}

#[test]
fn a_whole_run_by_the_keyboard_alone_at_a_desk() {
    let (mut bench, browser) = bench();
    browser.look(DESK, Scheme::Dark);
    let fill = |css: &str, text: &str| {
        tab_to(&browser, css);
        browser.press(text);
    };
    let button = |value: &str| {
        tab_to(&browser, &format!("#now button[value={value}]"));
        browser.press(ENTER);
    };
    browser.go(SHEET);
    fill("#asset", ASSET);
    browser.press(ENTER);
    until_next(&browser, "What is to be measured");
    // What stands in a field is marked when the keyboard comes to it.
    fill("#phases", "U");
    button("plan");
    until_next(&browser, "The gear");
    tab_to(&browser, "input[value='L-1']");
    browser.press(SPACE);
    button("gear");
    until_next(&browser, "Isolating and locking");
    button("confirm");
    for source in ["The known source, before", "The known source, after"] {
        until_next(&browser, source);
        fill("#read_v", "23.8");
        if source.ends_with("before") {
            fill("#expected_v", "24");
        }
        browser.press(ENTER);
        if source.ends_with("before") {
            until_next(&browser, "The voltage at the part");
            fill("#volts", "0.2");
            browser.press(ENTER);
        }
    }
    until_next(&browser, "Disconnecting what the test voltage can harm");
    button("confirm");
    for moment in ["before", "after"] {
        until_next(&browser, &format!("Open leads, {moment} the tests"));
        bench.tester.send(reply(OVER, 1.0));
        until_shown(&browser, "> 1 TΩ");
        button("prove");
        until_next(&browser, &format!("Shorted leads, {moment} the tests"));
        bench.tester.send(reply("0", 1.0));
        until_shown(&browser, "< 1 kΩ");
        button("prove");
        until_next(&browser, &format!("The known resistance, {moment} the tests"));
        tab_to(&browser, "#now details summary");
        browser.press(ENTER);
        fill("#skip", "none at hand");
        browser.press(ENTER);
        if moment == "before" {
            until_next(&browser, "Contact at U");
            button("confirm");
            until_next(&browser, "The test of U");
            bench.tester.send(reply("4.2E8", 1.0));
            browser.until_says("The rated time is over");
            button("end");
            until_next(&browser, "Discharging U");
            browser.until_says("The wait is over");
            fill("#residual_v", "3");
            browser.press(ENTER);
        }
    }
    until_next(&browser, "Finishing");
    button("finish");
    browser.until_says("Finished by Ines");
    looks_right(&browser);
}
