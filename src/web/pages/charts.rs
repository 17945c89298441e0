//! The charts of an asset, each with its lines in numbers and words.

use super::Mark;
use super::numbers::{bounded, power};
use crate::dossier::words::line_words;
use crate::dossier::{Dossier, FitStatement, Group};
use crate::report::scene::Size;
use crate::report::{chart, svg};
use crate::trend::LineAssessment;
use crate::trend::evidence::LineEvidence;
use crate::trend::words::ohms;

/// A chart as wide as a phone, where it is drawn at about its own size.
const PHONE: Size = Size { width: 330.0, height: 300.0 };

/// Lines of one setup and test voltage.
pub(super) struct ChartView {
    pub(super) title: String,
    /// An `<svg>` element.
    pub(super) drawing: String,
    /// The same for the width of a phone.
    pub(super) small: String,
    /// What it shows, in sentences.
    pub(super) described: String,
    pub(super) lines: Vec<LineView>,
}

/// One line.
pub(super) struct LineView {
    pub(super) phase: String,
    pub(super) verdict: Mark,
    pub(super) last: String,
    pub(super) at_40: String,
    pub(super) decades: String,
    pub(super) counts: String,
    pub(super) chance: String,
    pub(super) words: String,
    pub(super) fit: Vec<String>,
}

impl ChartView {
    pub(super) fn of(dossier: &Dossier) -> Vec<ChartView> {
        let scenes = chart::asset(dossier, chart::WIDE);
        let small = chart::asset(dossier, PHONE);
        let charts = dossier.groups.iter().zip(scenes.into_iter().zip(small));
        charts
            .map(|(group, (scene, small))| ChartView {
                title: chart::group_words(group),
                drawing: svg::inline(&scene),
                small: svg::inline(&small),
                described: scene.description,
                lines: LineView::all(group),
            })
            .collect()
    }
}

impl LineView {
    fn all(group: &Group) -> Vec<LineView> {
        let lines = group.assessment.lines.iter().zip(group.fits());
        lines.map(|(line, beside)| LineView::of(line, &beside)).collect()
    }

    fn of(line: &LineAssessment, beside: &LineEvidence) -> LineView {
        let counts =
            [(line.n_measured, "on scale"), (line.n_over, "over"), (line.n_under, "under")];
        let counts: Vec<String> =
            counts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}")).collect();
        LineView {
            phase: line.series.phase.to_string(),
            verdict: line.verdict.into(),
            last: line
                .last
                .as_ref()
                .map(|p| bounded(p.bound.word(), power(p.log_ohm)))
                .unwrap_or_default(),
            at_40: line.level.map_or_else(String::new, |l| {
                let [mid, low, high] = [l.mid, l.lower, l.upper].map(|v| ohms(power(v)));
                format!("{mid} ({low} to {high})")
            }),
            decades: line.decades_per_year.map_or_else(String::new, |d| {
                format!("{:+.2} ({:+.2} to {:+.2})", d.mid, d.lower, d.upper)
            }),
            counts: counts.join(", "),
            chance: line.probability.map(|p| format!("{:.0} %", 100.0 * p)).unwrap_or_default(),
            words: line_words(line),
            fit: FitStatement::of(beside).words(),
        }
    }
}
