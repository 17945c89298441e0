//! `assess`: the verdict on one asset with all its evidence, and a chart.

use super::args::OneAsset;
use super::chart::{Chart, Dot};
use super::output::{self, Format};
use super::place::Place;
use super::{Exit, Failure, quality};
use crate::dossier::{
    CAUTION, Desk, Dossier, FitStatement, Group, LineStatement, RatioStatement, Statement,
    TesterUse, limit_words, line_words, notices, role_words,
};
use crate::model::{LimitMeaning, Verdict};
use crate::trend::Assessor;
use crate::trend::words::ASSUMPTIONS;

pub(crate) fn assess(place: &mut Place, one: OneAsset) -> Result<Exit, Failure> {
    let asset = place.known_asset(&one.asset)?;
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let desk = Desk::new(&reader, place.when, &place.config.assess, &assessor)?;
    let dossier = desk.open(&asset.id)?;
    let testers = desk.testers(&dossier)?;
    match place.format {
        Format::Json => output::json(&Statement::of(&dossier, &testers))?,
        Format::Csv => {
            let out = Statement::of(&dossier, &testers);
            output::rows(Format::Csv, LINE_COLUMNS, &out.lines, "")?;
        }
        Format::Table => print(&dossier, &testers)?,
    }
    let urgent = matches!(dossier.verdict(), Verdict::Declining | Verdict::BelowLimit);
    Ok(if urgent { Exit::NeedsPerson } else { Exit::Done })
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
    for told in dossier.standing_words() {
        output::line(told)?;
    }
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
        let fits = group.fits();
        let lines = group.assessment.lines.iter().zip(&fits);
        let rows: Vec<LineStatement> =
            lines.clone().map(|(l, e)| LineStatement::of(group, l, e)).collect();
        output::rows(Format::Table, LINE_COLUMNS, &rows, "")?;
        output::line("")?;
        for (line, beside) in lines {
            output::line(format!("  {}: {}", line.series.phase, line_words(line)))?;
            for words in FitStatement::of(beside).words() {
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
            output::line(format!("  {}", RatioStatement::of(ratio).words()))?;
        }
    }
    let findings = dossier.episodes();
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
