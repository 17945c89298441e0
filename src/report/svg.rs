//! A drawing as inline SVG: classes instead of styles, no script, so that it stands under a strict
//! content security policy.

use std::fmt::Write;

use super::ink::Ink;
use super::scene::{Anchor, Item, Scene, Step};

/// The drawing as an `<svg>` element for the middle of a page. It fills the width of its place and
/// has the words of its title and description for whoever cannot see it. How it looks is said by
/// [`stylesheet`].
pub fn inline(scene: &Scene) -> String {
    let (w, h) = (short(scene.size.width), short(scene.size.height));
    let mut out =
        format!("<svg class=\"drawn\" viewBox=\"0 0 {w} {h}\" role=\"img\" aria-label=\"");
    escape(&mut out, &scene.title);
    out.push_str("\"><title>");
    escape(&mut out, &scene.title);
    out.push_str("</title><desc>");
    escape(&mut out, &scene.description);
    out.push_str("</desc>");
    items(&mut out, &scene.items);
    out.push_str("</svg>");
    out
}

/// The rules for every class that a drawing uses, light and dark. To be served with the page.
pub fn stylesheet() -> String {
    let mut out = String::from(
        ".drawn{display:block;width:100%;height:auto}\n.drawn path{fill:none;stroke:none;\
         stroke-linejoin:round;stroke-linecap:butt}\n.drawn text{stroke:none;\
         font-family:'DejaVu Sans',Verdana,sans-serif}\n",
    );
    for ink in Ink::all() {
        let look = ink.look();
        let mut rules = String::new();
        if look.letters > 0.0 {
            let _never = write!(rules, "font-size:{}px", short(look.letters));
            if look.bold {
                rules.push_str(";font-weight:bold");
            }
        } else {
            if look.stroke.1 > 0.0 {
                let _never = write!(rules, "stroke-width:{}", short(look.stroke.1));
            }
            if look.cover < 1.0 {
                let which = if look.fill.is_some() { "fill" } else { "stroke" };
                let _never = write!(rules, ";{which}-opacity:{}", short(look.cover));
            }
            if let Some((dash, gap)) = look.dash {
                let _never = write!(rules, ";stroke-dasharray:{} {}", short(dash), short(gap));
            }
        }
        let rules = rules.trim_start_matches(';');
        let _never = writeln!(out, ".drawn .{}{{{};{}}}", look.class, colours(ink, false), rules);
    }
    out.push_str("@media (prefers-color-scheme:dark){@media screen{\n");
    for ink in Ink::all() {
        let _never = writeln!(out, ".drawn .{}{{{}}}", ink.look().class, colours(ink, true));
    }
    out.push_str("}}\n");
    out.replace(";}", "}")
}

fn colours(ink: Ink, dark: bool) -> String {
    let look = ink.look();
    let hex = |t: super::ink::Tone| format!("#{:06x}", if dark { t.dark } else { t.light });
    let fill = look.fill.map(|t| format!("fill:{}", hex(t)));
    let stroke = (look.stroke.1 > 0.0).then(|| format!("stroke:{}", hex(look.stroke.0)));
    [fill, stroke].into_iter().flatten().collect::<Vec<_>>().join(";")
}

fn items(out: &mut String, all: &[Item]) {
    for item in all {
        match item {
            Item::Path { ink, steps } => {
                let _never = write!(out, "<path class=\"{}\" d=\"", ink.look().class);
                path(out, steps);
                out.push_str("\"/>");
            }
            Item::Text { ink, at, anchor, text } => {
                let (x, y) = (short(at.0), short(at.1));
                let _never =
                    write!(out, "<text class=\"{}\" x=\"{x}\" y=\"{y}\"", ink.look().class);
                out.push_str(match anchor {
                    Anchor::Start => ">",
                    Anchor::Middle => " text-anchor=\"middle\">",
                    Anchor::End => " text-anchor=\"end\">",
                });
                escape(out, text);
                out.push_str("</text>");
            }
            Item::Group { tip, items: parts } => {
                out.push_str("<g><title>");
                escape(out, tip);
                out.push_str("</title>");
                items(out, parts);
                out.push_str("</g>");
            }
        }
    }
}

fn path(out: &mut String, steps: &[Step]) {
    for step in steps {
        let _never = match step {
            Step::Move((x, y)) => write!(out, "M{} {}", short(*x), short(*y)),
            Step::Line((x, y)) => write!(out, "L{} {}", short(*x), short(*y)),
            Step::Curve(a, b, c) => {
                let [a, b, c] = [a, b, c].map(|(x, y)| format!("{} {}", short(*x), short(*y)));
                write!(out, "C{a} {b} {c}")
            }
            Step::Close => write!(out, "Z"),
        };
    }
}

/// A number to a hundredth of a point, without what says nothing.
pub(super) fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.to_owned() }
}

/// Writes text as it may stand in an element or attribute.
pub(super) fn escape(out: &mut String, text: &str) {
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // XML 1.0 knows no other control characters.
            c if c.is_control() && !matches!(c, '\n' | '\t') => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::scene::Size;
    use super::*;

    #[test]
    fn text_cannot_break_out() {
        let mut scene = Scene::new(Size { width: 10.0, height: 5.5 }, "a \"b\" & c", "<d>");
        scene.text(Ink::Label, (1.0, 2.0), Anchor::End, "x<script>\u{1}");
        scene.line(Ink::Limit, &[(0.0, 0.126), (10.0, -0.0001)]);
        insta::assert_snapshot!(inline(&scene), @r#"<svg class="drawn" viewBox="0 0 10 5.5" role="img" aria-label="a &quot;b&quot; &amp; c"><title>a &quot;b&quot; &amp; c</title><desc>&lt;d&gt;</desc><text class="label" x="1" y="2" text-anchor="end">x&lt;script&gt;�</text><path class="limit" d="M0 0.13L10 0"/></svg>"#);
    }

    #[test]
    fn the_pages_policy_finds_nothing_inline() {
        let sheet = stylesheet();
        assert!(sheet.contains(".drawn .limit{stroke:#8f2136;stroke-width:1.1;"), "{sheet}");
        assert!(!sheet.contains("url("));
    }
}
