//! Pages on paper: black on white whatever the screen's scheme, nothing to press, charts and tables
//! there.

use crate::quay::Quay;

/// What is seen of these elements on the page: how many of them.
fn seen(quay: &Quay, css: &str) -> u64 {
    let shown = format!(
        "return [...document.querySelectorAll('{css}')].filter(e => e.checkVisibility()).length"
    );
    quay.browser.script(&shown).as_u64().unwrap()
}

#[test]
fn what_can_be_read_is_printed_and_nothing_that_can_be_pressed() {
    let quay = Quay::named();
    for (path, there) in [
        ("/", ["h1", "#due ~ table", "#rest ~ table"]),
        ("/asset/YT-002%2Fdrive", [".desk svg", ".chart + table", ".visits td"]),
        ("/gear", ["h1", "table[aria-labelledby=gear] td", "table[aria-labelledby=proofs] td"]),
    ] {
        quay.browser.go(path);
        let pressed = "main a[href^=\"/enter\"], main button, input, select, nav, summary";
        assert!(seen(&quay, pressed) > 0, "{path}");
        quay.browser.on_paper();
        assert_eq!(seen(&quay, pressed), 0, "{path}");
        for css in there {
            assert!(seen(&quay, css) > 0, "{path}: {css}");
        }
        let colours = "const of = (e) => getComputedStyle(document.querySelector(e));\
                       return [of('html').backgroundColor, of('html').color, of('table').backgroundColor]";
        let white = "rgb(255, 255, 255)";
        let colours = quay.browser.script(colours);
        assert_eq!(colours, serde_json::json!([white, "rgb(0, 0, 0)", white]), "{path}");
        if path.starts_with("/asset") {
            // The letters of a chart are as dark as on a light screen.
            let ink = "return getComputedStyle(document.querySelector('.desk text')).fill";
            let on_paper = quay.browser.script(ink);
            quay.browser.look(crate::driver::DESK, crate::driver::Scheme::Light);
            assert_eq!(on_paper, quay.browser.script(ink));
        }
        quay.browser.look(crate::driver::DESK, crate::driver::Scheme::Light);
    }
}
