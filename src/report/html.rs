//! A report as one HTML file: its own style and drawings inside, no script, nothing fetched.

use askama::Template;

use super::document::{Block, Cell, Report, mark};
use super::scene::Scene;
use super::svg;
use crate::model::Verdict;

#[derive(Template)]
#[template(path = "report.html", config = "src/report/askama.toml")]
struct Page<'a> {
    report: &'a Report,
    style: String,
}

/// The report as HTML; prints on A4 and Letter.
pub fn render(report: &Report) -> Result<String, askama::Error> {
    // Wide drawings and small ones share their classes.
    let style = format!("{}{}", include_str!("templates/report.css"), svg::stylesheet());
    Page { report, style }.render()
}

impl Page<'_> {
    fn sign(verdict: &Verdict) -> &'static str {
        mark(*verdict)
    }

    fn rank(verdict: &Verdict) -> u8 {
        *verdict as u8
    }

    fn drawn(scene: &Scene) -> String {
        svg::inline(scene)
    }
}
