//! What needs attention, the most urgent first.

use std::collections::HashMap;

use super::Parts;
use crate::dossier::{DossierError, Evidence, Ranked, Records};
use crate::model::{AssetId, FindingKind, Verdict};
use crate::report::about::About;
use crate::report::chart::{SMALL, spark};
use crate::report::document::{Block, Cell, Section, Table};
use crate::report::scene::Scene;
use crate::store::Reader;
use crate::trend::words::ohms;

/// Rows of a list that stand on paper; the CSV form has all.
const ROWS: usize = 400;

/// Rows with a small chart: as many as somebody looks at one by one.
const CHARTS: usize = 60;

/// Small charts by asset.
pub(super) type Small = HashMap<String, Scene>;

/// The last readings of the most urgent assets.
pub(super) fn small_charts<R: Reader + ?Sized>(
    reader: &R,
    about: &About<'_>,
    parts: &Parts,
) -> Result<Small, DossierError> {
    let records = Records::new(reader, about.when(), about.settings)?;
    let mut charts = Small::new();
    for row in parts.due.iter().filter(|r| !is_watch(r)).take(CHARTS) {
        let Ok(id) = AssetId::new(&row.asset) else { continue };
        let e = &row.evidence;
        let lines = records.cases(&id)?.into_iter().flat_map(|case| case.lines);
        let mut of_series = lines.filter(|line| {
            let s = &line.series;
            s.phase.as_str() == e.leading_phase
                && s.against == e.against
                && s.setup == e.setup
                && s.test_voltage.map(|v| v.get()) == e.test_voltage_v
        });
        if let Some(line) = of_series.next() {
            let points: Vec<_> =
                line.points.iter().map(|p| (p.taken_at, p.log_ohm, p.bound)).collect();
            charts.insert(row.asset.clone(), spark(&points, None, SMALL));
        }
    }
    Ok(charts)
}

fn is_watch(row: &Ranked) -> bool {
    row.finding == FindingKind::Watch.word()
}

pub(super) fn sections(parts: &Parts, small: Small) -> Vec<Section> {
    let (watch, urgent): (Vec<&Ranked>, Vec<&Ranked>) = parts.due.iter().partition(|r| is_watch(r));
    let mut sections = vec![most_urgent(&urgent, small)];
    if !watch.is_empty() {
        sections.push(repeats(&watch));
    }
    if !parts.shared.is_empty() {
        sections.push(shared(parts));
    }
    sections
}

fn more(rows: usize) -> Option<Block> {
    let left = rows.checked_sub(ROWS).filter(|n| *n > 0)?;
    Some(Block::Text(format!("… and {left} more, which the CSV form of this report lists.")))
}

/// A finding of a kind that is a verdict too has its mark.
fn kind(row: &Ranked) -> Cell {
    let all = [Verdict::BelowLimit, Verdict::Declining, Verdict::Watch];
    match all.into_iter().find(|v| v.word() == row.finding) {
        Some(verdict) => Cell::Verdict(verdict),
        None => Cell::Text(row.finding.to_owned()),
    }
}

fn day(text: &str) -> String {
    text.chars().take(10).collect()
}

fn crossing(e: &Evidence) -> String {
    match (&e.reaches_limit_lower, &e.reaches_limit_upper) {
        (Some(a), Some(b)) => format!("{} – {}", day(a), day(b)),
        (Some(a), None) => format!("from {} on, open end", day(a)),
        _ => "–".into(),
    }
}

fn most_urgent(rows: &[&Ranked], mut small: Small) -> Section {
    if rows.is_empty() {
        let words = "Nothing: no finding about an asset is open.".to_owned();
        return Section::new("What needs attention", vec![Block::Text(words)]);
    }
    let mut table = Table::new(&[
        ("no", 8.0),
        ("asset", 27.0),
        ("phase", 8.0),
        ("finding", 24.0),
        ("since", 20.0),
        ("now, at 40 °C#", 14.0),
        ("limit#", 11.0),
        ("decades a year#", 13.0),
        ("trend at the limit", 22.0),
        ("readings", 16.0),
        ("why", 32.0),
    ]);
    let value = |v: Option<f64>| v.map_or("–".into(), ohms);
    for (n, row) in rows.iter().take(ROWS).enumerate() {
        let e = &row.evidence;
        let state = if row.state == "acknowledged" { " (acknowledged)" } else { "" };
        let drawn = small.remove(&row.asset).map_or(Cell::Text(String::new()), Cell::Drawing);
        table.rows.push(vec![
            Cell::Text((n + 1).to_string()),
            Cell::Text(row.asset.clone()),
            Cell::Text(row.phase.clone()),
            kind(row),
            Cell::Text(day(&row.since)),
            Cell::Text(value(e.r40_ohm)),
            Cell::Text(value(e.limit_ohm)),
            Cell::Text(e.decades_per_year.map_or("–".into(), |d| format!("{d:+.1}"))),
            Cell::Text(crossing(e)),
            drawn,
            Cell::Text(format!("{}{state}", row.reason)),
        ]);
    }
    let words = "Below the limit first, then by the earliest credible time at the limit. The small \
                 charts show the leading series as read; an arrow is over-range.";
    let mut blocks = vec![Block::Text(words.into()), Block::Table(table)];
    blocks.extend(more(rows.len()));
    Section::new("What needs attention", blocks)
}

fn repeats(rows: &[&Ranked]) -> Section {
    let mut table = Table::new(&[
        ("asset", 26.0),
        ("phase", 9.0),
        ("since", 16.0),
        ("now, at 40 °C#", 18.0),
        ("limit#", 14.0),
        ("why", 50.0),
    ]);
    let value = |v: Option<f64>| v.map_or("–".into(), ohms);
    for row in rows.iter().take(ROWS) {
        let e = &row.evidence;
        table.push([
            row.asset.clone(),
            row.phase.clone(),
            day(&row.since),
            value(e.r40_ohm),
            value(e.limit_ohm),
            row.reason.clone(),
        ]);
    }
    let mut blocks = vec![Block::Table(table)];
    blocks.extend(more(rows.len()));
    Section::new("Tests to repeat", blocks)
}

fn shared(parts: &Parts) -> Section {
    let mut table =
        Table::new(&[("about", 34.0), ("finding", 18.0), ("since", 15.0), ("why", 66.0)]);
    for row in parts.shared.iter().take(ROWS) {
        table.push([row.asset.clone(), row.finding.into(), day(&row.since), row.reason.clone()]);
    }
    let mut blocks = vec![Block::Table(table)];
    blocks.extend(more(parts.shared.len()));
    Section::new("Testers, stations and days", blocks)
}
