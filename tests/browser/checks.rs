//! What must hold on every page: nothing that shuts people out, nothing from elsewhere, and it fits
//! the screen.

use serde_json::Value;

use crate::driver::{Browser, DESK, PHONE, Scheme};

/// axe-core 4.14.1, the accessibility engine that holds pages against WCAG 2.2 (see `axe/LICENSE`).
const AXE: &str = include_str!("axe/axe.min.js");

/// Every rule of WCAG 2.0 to 2.2 at levels A and AA.
const RUN: &str = "return axe.run(document, {runOnly: {type: 'tag', \
values: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']}}).then(r => r.violations.map(v => \
v.id + ': ' + v.help + '\\n' + v.nodes.map(n => n.html + '\\n  ' + n.failureSummary).join('\\n')));";

/// Looks at a page on a phone and a desk, light and dark.
pub(crate) fn every_look(browser: &Browser, path: &str) {
    for screen in [DESK, PHONE] {
        for scheme in [Scheme::Light, Scheme::Dark] {
            browser.look(screen, scheme);
            browser.go(path);
            fits(browser, path);
            is_open_to_all(browser, path);
        }
    }
    stays_at_home(browser, path);
    browser.look(DESK, Scheme::Light);
}

/// axe-core finds no violation at AA.
pub(crate) fn is_open_to_all(browser: &Browser, path: &str) {
    browser.script(&format!("{AXE};return typeof axe"));
    let violations = browser.script(RUN);
    let violations: Vec<_> =
        violations.as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(violations.is_empty(), "{path}:\n{}", violations.join("\n"));
}

/// Nothing is wider than the screen.
fn fits(browser: &Browser, path: &str) {
    let widths = browser.script("return [document.documentElement.scrollWidth, innerWidth]");
    assert!(widths[0].as_u64() <= widths[1].as_u64(), "{path} is too wide: {widths}");
}

/// Whatever the page loaded came from this service, and the browser had nothing to complain of.
fn stays_at_home(browser: &Browser, path: &str) {
    let loaded = browser.script(
        "return performance.getEntriesByType('resource').map(e => e.name)\
         .filter(name => !name.startsWith(location.origin + '/'))",
    );
    assert_eq!(loaded.as_array().unwrap().len(), 0, "{path} loaded {loaded}");
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{path}: {complaints:?}");
}

/// The engine does find a field without a name and a text too pale to read.
#[test]
fn the_engine_finds_what_shuts_people_out() {
    let quay = crate::quay::Quay::open();
    quay.browser.go("/");
    quay.browser.script(
        "document.querySelector('label[for=q]').remove();\
         document.querySelector('#q').placeholder = '';\
         document.querySelector('h1').className = 'pale';\
         document.styleSheets[0].insertRule('.pale { color: var(--rule) }')",
    );
    quay.browser.script(&format!("{AXE};return typeof axe"));
    let found = quay.browser.script(RUN).to_string();
    assert!(found.contains("label:") && found.contains("color-contrast:"), "{found}");
}
