//! The assessments as a table: one row per series with its verdict and all numbers behind it.

use std::sync::Arc;

use super::findings::until;
use super::table::{Column, Table};
use crate::dossier::{Dossier, Evidence, Group};
use crate::model::{Asset, Finding, FindingKind, Limit, Stamp, Verdict};
use crate::store::When;
use crate::trend::LineAssessment;
use crate::trend::evidence::{AgainstLimit, LineEvidence, Settings, evidence};
use crate::trend::fit::{FieldFit, Trendline};
use crate::trend::reach::Crossing;
use crate::visits::{Ratio, RatioValue};

/// A series of an asset with all that is said of it.
pub struct Assessed {
    about: Arc<About>,
    setup: crate::model::Text,
    line: LineAssessment,
    finding: Option<Finding>,
    ratio: Option<Ratio>,
    beside: LineEvidence,
    straight: Option<Trendline>,
    stick: Option<Trendline>,
}

/// What is said of the asset as a whole.
struct About {
    asset: Asset,
    verdict: Verdict,
    readings: usize,
    left_out: usize,
    doubts: String,
    when: When,
}

/// The series of a dossier, the most urgent chart first.
pub fn assessed(dossier: &Dossier) -> Vec<Assessed> {
    let doubts =
        dossier.quality().into_iter().map(|q| format!("{}: {} of {}", q.doubt, q.readings, q.of));
    let about = Arc::new(About {
        asset: dossier.asset.clone(),
        verdict: dossier.verdict(),
        readings: dossier.entries.len(),
        left_out: dossier.left_out().count(),
        doubts: doubts.collect::<Vec<_>>().join("; "),
        when: dossier.when,
    });
    let standing: Vec<Finding> = dossier.episodes().into_iter().filter(Finding::is_due).collect();
    let mut rows = Vec::new();
    for group in &dossier.groups {
        let beside = evidence(&group.case, &Settings::default()).lines;
        for (line, beside) in group.assessment.lines.iter().zip(beside) {
            let fit = beside.fit.as_ref().ok();
            rows.push(Assessed {
                about: Arc::clone(&about),
                setup: group.setup.clone(),
                line: line.clone(),
                finding: most_urgent(&standing, group, line),
                ratio: dossier.ratios.iter().rev().find(|r| r.series == line.series).cloned(),
                straight: fit.map(FieldFit::straight),
                stick: fit.and_then(FieldFit::broken),
                beside,
            });
        }
    }
    rows
}

/// The most urgent finding that stands on a series, or on its chart as a whole.
fn most_urgent(standing: &[Finding], group: &Group, line: &LineAssessment) -> Option<Finding> {
    let volts = group.test_voltage.map(|v| v.get());
    let concerns = |f: &&Finding| {
        let behind: Evidence = serde_json::from_str(&f.evidence).unwrap_or_default();
        behind.setup == group.setup.as_str()
            && behind.test_voltage_v == volts
            && f.phase.as_ref().is_none_or(|phase| *phase == line.series.phase)
    };
    let rank =
        |f: &&Finding| (f.kind == FindingKind::Watch, f.kind != FindingKind::BelowLimit, f.since);
    standing.iter().filter(concerns).min_by_key(rank).cloned()
}

impl Assessed {
    fn fit(&self) -> Option<&FieldFit> {
        self.beside.fit.as_ref().ok()
    }

    /// The leading limit as the fitted line meets it.
    fn against(&self) -> Option<&AgainstLimit> {
        self.beside.limits.iter().find(|a| Some(a.limit) == self.line.limit)
    }

    /// When the fitted line meets the leading limit: lower, middle, upper.
    fn meets(&self) -> Option<[Stamp; 3]> {
        match self.against()?.crossing? {
            Crossing::Between { lower, point, upper } => Some([lower, point, upper]),
            Crossing::NoDate { .. } => None,
        }
    }

    fn no_date(&self) -> &'static str {
        match self.against().map(|a| &a.crossing) {
            Some(Some(Crossing::NoDate { because })) => because,
            Some(None) => "there is no fit",
            _ => "",
        }
    }
}

fn power(log_ohm: f64) -> f64 {
    10f64.powf(log_ohm)
}

fn limit_words(limit: Limit) -> String {
    format!("{} ohm {}", limit.ohms, limit.meaning.word())
}

/// One row per series.
pub static ASSESSMENTS: Table<Assessed> = Table {
    meaning: "one series a row: all comparable readings of an asset and phase, with the verdict, \
              its numbers (90 % intervals, which hold under the model) and the fitted lines beside \
              it. It informs; it does not say that anything is safe to touch",
    columns: &[
        Column::text("asset", "what was tested", |a| a.about.asset.id.as_str().into()),
        Column::text("kind", "what it is", |a| a.about.asset.kind.as_str().into()),
        Column::text("site", "where it belongs", |a| a.about.asset.site.as_str().into()),
        Column::text("insulation", "class of its insulation", |a| {
            a.about.asset.insulation.word().into()
        }),
        Column::text("phases", "how its phases are joined inside", |a| {
            a.about.asset.joining.word().into()
        }),
        Column::text("asset_verdict", "the worst verdict of its series", |a| {
            a.about.verdict.word().into()
        }),
        Column::text("phase", "what the live lead was on", |a| a.line.series.phase.as_str().into()),
        Column::text("against", "what the other lead was on: `case` or another phase", |a| {
            a.line.series.against.as_str().into()
        }),
        Column::text("setup", "what else makes readings comparable", |a| a.setup.as_str().into()),
        Column::number("test_voltage_v", "V", "nominal test voltage", |a| {
            a.line.series.test_voltage.map(|v| v.get())
        }),
        Column::text(
            "verdict",
            "`too few`, `steady`, `watch`, `declining` or `below limit`",
            |a| a.line.verdict.word().into(),
        ),
        Column::text("finding", "the most urgent finding that stands on it", |a| {
            a.finding.as_ref().map_or("", |f| f.kind.word()).into()
        }),
        Column::time("since", "measuring time at which that was first seen", |a| {
            a.finding.as_ref().map(|f| f.since)
        }),
        Column::text("reason", "why, in a sentence", |a| {
            a.finding.as_ref().map_or("", |f| f.reason.as_str()).into()
        }),
        Column::number("limit_ohm", "ohm", "the limit that stands highest", |a| {
            a.line.limit.map(|l| l.ohms)
        }),
        Column::text("limit_meaning", "`at 40 °C`, `as read` or `isolation`", |a| {
            a.line.limit.map_or("", |l| l.meaning.word()).into()
        }),
        Column::number("r40_ohm", "ohm", "resistance at 40 °C as the trend has it", |a| {
            a.line.level.map(|l| power(l.mid))
        }),
        Column::number("r40_lower_ohm", "ohm", "lower end of its interval", |a| {
            a.line.level.map(|l| power(l.lower))
        }),
        Column::number("r40_upper_ohm", "ohm", "upper end of its interval", |a| {
            a.line.level.map(|l| power(l.upper))
        }),
        Column::number("decades_per_year", "decade/year", "trend; negative: falling", |a| {
            a.line.decades_per_year.map(|d| d.mid)
        }),
        Column::number("decades_per_year_lower", "decade/year", "lower end of its interval", |a| {
            a.line.decades_per_year.map(|d| d.lower)
        }),
        Column::number("decades_per_year_upper", "decade/year", "upper end of its interval", |a| {
            a.line.decades_per_year.map(|d| d.upper)
        }),
        Column::time("reaches_limit_lower", "first credible time at the limit (5 %)", |a| {
            a.line.crossing.lower
        }),
        Column::time("reaches_limit", "middle time at the limit", |a| a.line.crossing.mid),
        Column::time("reaches_limit_upper", "last credible time (95 %); empty: open", |a| {
            a.line.crossing.upper
        }),
        Column::number("probability", "1", "chance that somebody should act, by the model", |a| {
            a.line.probability
        }),
        Column::count("clears_after_visits", "good visits that would end the finding", |a| {
            a.line.clears_after.map(|n| n as usize)
        }),
        Column::count("n_measured", "points on scale since the last rewind or replacement", |a| {
            Some(a.line.n_measured)
        }),
        Column::count("n_over", "over-range points", |a| Some(a.line.n_over)),
        Column::count("n_under", "under-range points", |a| Some(a.line.n_under)),
        Column::number("last_ohm", "ohm", "last value, as read", |a| {
            a.line.last.as_ref().map(|p| power(p.log_ohm))
        }),
        Column::text("last_bound", "what it means: `=`, `>`, `<`", |a| {
            a.line.last.as_ref().map_or("", |p| p.bound.word()).into()
        }),
        Column::time("last_taken_at", "when it was taken", |a| {
            a.line.last.as_ref().map(|p| p.taken_at)
        }),
        Column::text("last_tester", "the instrument it was taken with", |a| {
            a.line.last.as_ref().map_or("", |p| p.tester.as_str()).into()
        }),
        Column::time("ratio_at", "when the last ratio of timed readings was formed", |a| {
            a.ratio.as_ref().map(|r| r.at)
        }),
        Column::number("ratio_later_s", "s", "time of its later reading", |a| {
            a.ratio.as_ref().map(|r| r.later_s)
        }),
        Column::number("ratio_earlier_s", "s", "time of its earlier reading", |a| {
            a.ratio.as_ref().map(|r| r.earlier_s)
        }),
        Column::text("ratio_bound", "`=`, `>` at least; empty: withheld above 5 Gohm", |a| match a
            .ratio
            .as_ref()
            .map(|r| r.value)
        {
            Some(RatioValue::Is(_)) => "=".into(),
            Some(RatioValue::AtLeast(_)) => ">".into(),
            Some(RatioValue::Withheld) | None => "".into(),
        }),
        Column::number(
            "ratio",
            "1",
            "600 s / 60 s: polarization index; else absorption ratio",
            |a| match a.ratio.as_ref()?.value {
                RatioValue::Is(value) | RatioValue::AtLeast(value) => Some(value),
                RatioValue::Withheld => None,
            },
        ),
        Column::text("fit_status", "`ok`, or why no line was fitted", |a| match &a.beside.fit {
            Ok(_) => "ok".into(),
            Err(none) => none.reason.name().into(),
        }),
        Column::text("fit_proven", "what the readings prove without any line", |a| {
            match &a.beside.fit {
                Ok(fit) => fit.proven.words().into(),
                Err(none) => none.proven.words().into(),
            }
        }),
        Column::text("fit_verdict_alone", "what the fit alone would say", |a| {
            a.beside.verdict.word().into()
        }),
        Column::count("fit_n_measured", "points on scale in the fit", |a| {
            Some(a.beside.counts.exact)
        }),
        Column::count("fit_n_over", "over-range points", |a| Some(a.beside.counts.over)),
        Column::count("fit_n_under", "under-range points", |a| Some(a.beside.counts.under)),
        Column::count("fit_without_temperature", "points without a temperature", |a| {
            a.fit().map(FieldFit::without_temperature)
        }),
        Column::number("fit_p_declining", "1", "one-sided p of no decline", |a| {
            a.fit().map(FieldFit::p_declining)
        }),
        Column::number("sen_decades_per_year", "decade/year", "robust slope (Sen)", |a| {
            a.fit().and_then(|f| f.sen_decades_per_year)
        }),
        Column::number("mann_kendall_p_declining", "1", "one-sided p (Mann-Kendall)", |a| {
            a.fit().and_then(|f| f.mk_p_declining)
        }),
        Column::time("straight_reference", "straight line: the instant it is told at", |a| {
            a.straight.map(|t| t.reference)
        }),
        Column::number("straight_r40_ohm", "ohm", "its level then, at 40 °C", |a| {
            a.straight.map(|t| power(t.log_ohm))
        }),
        Column::number("straight_log10_se", "decade", "standard error of that level", |a| {
            a.straight.map(|t| t.log_ohm_se)
        }),
        Column::number("straight_decades_per_year", "decade/year", "its slope", |a| {
            a.straight.map(|t| t.decades_per_year)
        }),
        Column::number("straight_decades_per_year_lower", "decade/year", "lower end", |a| {
            a.straight.map(|t| t.decades_per_year_interval.0)
        }),
        Column::number("straight_decades_per_year_upper", "decade/year", "upper end", |a| {
            a.straight.map(|t| t.decades_per_year_interval.1)
        }),
        Column::number("straight_scatter_decades", "decade", "scatter of one reading", |a| {
            a.straight.map(|t| t.sigma)
        }),
        Column::number("straight_decades_per_10_k", "decade/10 K", "effect of temperature", |a| {
            a.straight.map(|t| t.kappa)
        }),
        Column::number("straight_decades_per_10_k_sd", "decade/10 K", "its deviation", |a| {
            a.straight.map(|t| t.kappa_sd)
        }),
        Column::time("stick_onset", "level, then a fall: where the fall begins", |a| {
            a.stick.and_then(|t| t.onset)
        }),
        Column::number("stick_r40_ohm", "ohm", "its level at the last reading, at 40 °C", |a| {
            a.stick.map(|t| power(t.log_ohm))
        }),
        Column::number("stick_log10_se", "decade", "standard error of that level", |a| {
            a.stick.map(|t| t.log_ohm_se)
        }),
        Column::number("stick_decades_per_year", "decade/year", "slope of the fall", |a| {
            a.stick.map(|t| t.decades_per_year)
        }),
        Column::number("stick_decades_per_year_lower", "decade/year", "lower end", |a| {
            a.stick.map(|t| t.decades_per_year_interval.0)
        }),
        Column::number("stick_decades_per_year_upper", "decade/year", "upper end", |a| {
            a.stick.map(|t| t.decades_per_year_interval.1)
        }),
        Column::number("stick_scatter_decades", "decade", "scatter of one reading", |a| {
            a.stick.map(|t| t.sigma)
        }),
        Column::number("stick_decades_per_10_k", "decade/10 K", "effect of temperature", |a| {
            a.stick.map(|t| t.kappa)
        }),
        Column::number("stick_decades_per_10_k_sd", "decade/10 K", "its deviation", |a| {
            a.stick.map(|t| t.kappa_sd)
        }),
        Column::text("last_against_limit", "what the last reading says of that limit", |a| {
            a.against().map_or("", |l| l.outcome.word()).into()
        }),
        Column::text("last_against_limit_why", "why it does not decide", |a| {
            a.against().map_or("", |l| l.outcome.reason()).into()
        }),
        Column::time("fit_crossing_lower", "first time the fitted line allows", |a| {
            a.meets().map(|[lower, ..]| lower)
        }),
        Column::time("fit_crossing", "when the fitted line meets the limit", |a| {
            a.meets().map(|[_, mid, _]| mid)
        }),
        Column::time("fit_crossing_upper", "last time the fitted line allows", |a| {
            a.meets().map(|[.., upper]| upper)
        }),
        Column::text("fit_no_date_because", "why it gives no date", |a| a.no_date().into()),
        Column::text("limits", "all limits that stand on the asset", |a| {
            a.about.asset.limits().map(limit_words).collect::<Vec<_>>().join("; ").into()
        }),
        Column::count("readings", "readings of the asset", |a| Some(a.about.readings)),
        Column::count("left_out", "of them left out of the trend", |a| Some(a.about.left_out)),
        Column::text("doubts", "what is in doubt about them, and about how many", |a| {
            a.about.doubts.as_str().into()
        }),
        Column::time("as_of", "only what was measured by then; empty: all", |a| {
            until(a.about.when.as_of)
        }),
        Column::time("known_at", "only what was recorded by then; empty: all", |a| {
            until(a.about.when.known_at)
        }),
    ],
};
