//! `assess`: the verdict on one asset with all its evidence, and a chart.

use serde::Serialize;

use super::args::OneAsset;
use super::chart::{Chart, Dot};
use super::output::{self, Format};
use super::place::Place;
use super::quality::{self, QualityOut, TesterOut};
use super::{Exit, Failure};
use crate::dossier::fitted::{FitOut, fit_out};
use crate::dossier::words::{CAUTION, limit_words, line_words, notices, ratio_words, role_words};
use crate::dossier::{Desk, Dossier, Group, Ranked, TesterUse, episodes, row};
use crate::model::{LimitMeaning, Verdict};
use crate::trend::evidence::{LineEvidence, Settings as EvidenceSettings, evidence};
use crate::trend::words::ASSUMPTIONS;
use crate::trend::{Assessor, LineAssessment};
use crate::visits::{Ratio, RatioValue};

pub(crate) fn assess(place: &mut Place, one: OneAsset) -> Result<Exit, Failure> {
    let asset = place.known_asset(&one.asset)?;
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let desk = Desk::new(&reader, place.when, &place.config.assess, &assessor)?;
    let dossier = desk.open(&asset.id)?;
    let testers = desk.testers(&dossier)?;
    match place.format {
        Format::Json => output::json(&AssessOut::of(&dossier, &testers))?,
        Format::Csv => {
            let out = AssessOut::of(&dossier, &testers);
            output::rows(Format::Csv, LINE_COLUMNS, &out.lines, "")?;
        }
        Format::Table => print(&dossier, &testers)?,
    }
    let urgent = matches!(dossier.verdict(), Verdict::Declining | Verdict::BelowLimit);
    Ok(if urgent { Exit::NeedsPerson } else { Exit::Done })
}

/// An assessment as it is printed.
#[derive(Serialize)]
struct AssessOut {
    asset: String,
    kind: String,
    verdict: &'static str,
    insulation: &'static str,
    phases: &'static str,
    limits: Vec<String>,
    lines: Vec<LineOut>,
    findings: Vec<Ranked>,
    notices: Vec<String>,
    ratios: Vec<RatioOut>,
    readings: usize,
    left_out: Vec<LeftOutRow>,
    quality: Vec<QualityOut>,
    testers: Vec<TesterOut>,
    assumptions: &'static str,
    caution: &'static str,
}

#[derive(Serialize)]
struct LineOut {
    phase: String,
    against: String,
    setup: String,
    test_voltage_v: Option<f64>,
    verdict: &'static str,
    limit_ohm: Option<f64>,
    limit_meaning: Option<&'static str>,
    r40_ohm: Option<f64>,
    r40_lower_ohm: Option<f64>,
    r40_upper_ohm: Option<f64>,
    decades_per_year: Option<f64>,
    decades_per_year_lower: Option<f64>,
    decades_per_year_upper: Option<f64>,
    reaches_limit_lower: Option<String>,
    reaches_limit: Option<String>,
    reaches_limit_upper: Option<String>,
    probability: Option<f64>,
    clears_after_visits: Option<u32>,
    n_measured: usize,
    n_over: usize,
    n_under: usize,
    last_ohm: Option<f64>,
    last_bound: Option<&'static str>,
    last_taken_at: Option<String>,
    fit: Option<FitOut>,
}

/// A ratio of timed readings, with its times.
#[derive(Serialize)]
struct RatioOut {
    phase: String,
    at: String,
    later_s: f64,
    earlier_s: f64,
    bound: &'static str,
    ratio: Option<f64>,
    withheld: bool,
}

fn ratio_out(ratio: &Ratio) -> RatioOut {
    let (bound, value) = match ratio.value {
        RatioValue::Is(value) => ("=", Some(value)),
        RatioValue::AtLeast(value) => (">", Some(value)),
        RatioValue::Withheld => ("", None),
    };
    RatioOut {
        phase: ratio.series.phase.to_string(),
        at: ratio.at.to_string(),
        later_s: ratio.later_s,
        earlier_s: ratio.earlier_s,
        bound,
        ratio: value,
        withheld: value.is_none(),
    }
}

#[derive(Serialize)]
struct LeftOutRow {
    reading: String,
    taken_at: String,
    phase: String,
    why: String,
}

const LINE_COLUMNS: &[output::Column] = &[
    ("phase", "phase"),
    ("verdict", "verdict"),
    ("last_bound", ""),
    ("last_ohm", "last, as read"),
    ("r40_ohm", "at 40 °C"),
    ("r40_lower_ohm", "from"),
    ("r40_upper_ohm", "to"),
    ("decades_per_year", "decades/year"),
    ("n_measured", "measured"),
    ("n_over", "over-range"),
    ("probability", "P(act)"),
];

impl AssessOut {
    fn of(dossier: &Dossier, testers: &[TesterUse]) -> Self {
        AssessOut {
            asset: dossier.asset.id.to_string(),
            kind: dossier.asset.kind.to_string(),
            verdict: dossier.verdict().word(),
            insulation: dossier.asset.insulation.word(),
            phases: dossier.asset.joining.word(),
            limits: dossier.asset.limits().map(|l| limit_words(&l)).collect(),
            lines: dossier
                .groups
                .iter()
                .flat_map(|g| {
                    let fits = fits(g);
                    g.assessment
                        .lines
                        .iter()
                        .zip(fits)
                        .map(|(l, e)| line_out(g, l, &e))
                        .collect::<Vec<_>>()
                })
                .collect(),
            findings: episodes(dossier).into_iter().map(row).collect(),
            notices: dossier.groups.iter().flat_map(notices).collect(),
            ratios: dossier.ratios.iter().map(ratio_out).collect(),
            readings: dossier.entries.len(),
            left_out: dossier
                .left_out()
                .map(|e| LeftOutRow {
                    reading: e.judged.corrected.id.to_string(),
                    taken_at: e.judged.corrected.reading.taken_at.to_string(),
                    phase: e.judged.corrected.reading.series.phase.to_string(),
                    why: role_words(&e.judged.role),
                })
                .collect(),
            quality: dossier.quality().into_iter().map(QualityOut::of).collect(),
            testers: testers.iter().map(TesterOut::of).collect(),
            assumptions: ASSUMPTIONS,
            caution: CAUTION,
        }
    }
}

/// The regression beside the verdicts, one entry per line of the chart.
fn fits(group: &Group) -> Vec<LineEvidence> {
    evidence(&group.case, &EvidenceSettings::default()).lines
}

fn line_out(group: &Group, line: &LineAssessment, beside: &LineEvidence) -> LineOut {
    let power = |v: f64| 10f64.powf(v);
    let time = |t: Option<crate::model::Stamp>| t.map(|t| t.to_string());
    LineOut {
        phase: line.series.phase.to_string(),
        against: line.series.against.to_string(),
        setup: group.setup.to_string(),
        test_voltage_v: group.test_voltage.map(|v| v.get()),
        verdict: line.verdict.word(),
        limit_ohm: line.limit.map(|l| l.ohms),
        limit_meaning: line.limit.map(|l| l.meaning.word()),
        r40_ohm: line.level.map(|l| power(l.mid)),
        r40_lower_ohm: line.level.map(|l| power(l.lower)),
        r40_upper_ohm: line.level.map(|l| power(l.upper)),
        decades_per_year: line.decades_per_year.map(|d| d.mid),
        decades_per_year_lower: line.decades_per_year.map(|d| d.lower),
        decades_per_year_upper: line.decades_per_year.map(|d| d.upper),
        reaches_limit_lower: time(line.crossing.lower),
        reaches_limit: time(line.crossing.mid),
        reaches_limit_upper: time(line.crossing.upper),
        probability: line.probability,
        clears_after_visits: line.clears_after,
        n_measured: line.n_measured,
        n_over: line.n_over,
        n_under: line.n_under,
        last_ohm: line.last.as_ref().map(|p| power(p.log_ohm)),
        last_bound: line.last.as_ref().map(|p| p.bound.word()),
        last_taken_at: line.last.as_ref().map(|p| p.taken_at.to_string()),
        fit: Some(fit_out(beside)),
    }
}

/// The assessment for a person: verdict, chart, numbers, what was left out and why.
fn print(dossier: &Dossier, testers: &[TesterUse]) -> Result<(), Failure> {
    let asset = &dossier.asset;
    let limits: Vec<String> = asset.limits().map(|l| limit_words(&l)).collect();
    output::line(format!("{}: {}", asset.id, dossier.verdict().word().to_uppercase()))?;
    output::line(format!(
        "{}, insulation {}, phases {}, limit {}",
        asset.kind,
        asset.insulation,
        asset.joining,
        if limits.is_empty() { "none".to_owned() } else { limits.join(" and ") }
    ))?;
    if dossier.groups.is_empty() {
        output::line("no readings count yet")?;
    }
    for group in &dossier.groups {
        let volts =
            group.test_voltage.map_or("voltage not stated".into(), |v| format!("{} V", v.get()));
        let setup =
            if group.setup.is_empty() { String::new() } else { format!(", {}", group.setup) };
        let against = if group.against_case { "to case" } else { "between phases" };
        output::line(format!("\n{against} at {volts}{setup}"))?;
        for line in chart(group).draw() {
            output::line(line)?;
        }
        let fits = fits(group);
        let lines = group.assessment.lines.iter().zip(&fits);
        let rows: Vec<LineOut> = lines.clone().map(|(l, e)| line_out(group, l, e)).collect();
        output::rows(Format::Table, LINE_COLUMNS, &rows, "")?;
        output::line("")?;
        for (line, beside) in lines {
            output::line(format!("  {}: {}", line.series.phase, line_words(line)))?;
            for words in fit_out(beside).words() {
                output::line(format!("     {words}"))?;
            }
        }
        for notice in notices(group) {
            output::line(format!("  note: {notice}"))?;
        }
    }
    // The last visit's ratios; `--format json` has all.
    if let Some(last) = dossier.ratios.last() {
        output::line("\ntimed readings")?;
        for ratio in dossier.ratios.iter().filter(|r| r.at.utc_day() == last.at.utc_day()) {
            output::line(format!("  {}", ratio_words(ratio)))?;
        }
    }
    let findings = episodes(dossier);
    if !findings.is_empty() {
        output::line("\nfindings")?;
    }
    for f in &findings {
        let phase = f.phase.as_ref().map(|p| format!(" {p}")).unwrap_or_default();
        let end = f.until.map(|t| format!(" to {}", t.date())).unwrap_or_default();
        output::line(format!("  {} since {}{end}{phase}: {}", f.kind, f.since.date(), f.reason))?;
    }
    let left_out: Vec<_> = dossier.left_out().collect();
    if !left_out.is_empty() {
        output::line(format!("\nleft out of the trend: {} readings", left_out.len()))?;
    }
    for entry in left_out.iter().take(10) {
        let c = &entry.judged.corrected;
        output::line(format!(
            "  {} {} {}: {}",
            c.id,
            c.reading.taken_at.date(),
            c.reading.series.phase,
            role_words(&entry.judged.role)
        ))?;
    }
    quality::print(dossier, testers)?;
    output::line(format!("\n{ASSUMPTIONS}\n{CAUTION}"))?;
    Ok(())
}

fn chart(group: &Group) -> Chart<'static> {
    let dots = group
        .case
        .lines
        .iter()
        .flat_map(|line| {
            let letter = line.series.phase.as_str().chars().next_back().unwrap_or('?');
            line.points.iter().map(move |p| Dot {
                at: p.taken_at,
                log_ohm: p.log_ohm,
                bound: p.bound,
                letter,
            })
        })
        .collect();
    let limits = group.case.asset.limits();
    let name = |meaning: LimitMeaning| match meaning {
        LimitMeaning::At40 => "limit (40 °C)",
        LimitMeaning::AsRead => "limit",
        LimitMeaning::Isolation { .. } => "isolation",
    };
    Chart {
        dots,
        limits: limits.map(|l| (l.ohms, name(l.meaning))).collect(),
        events: group.case.events.iter().map(|e| (e.at, e.kind.word().to_owned())).collect(),
        size: (64, 14),
    }
}
