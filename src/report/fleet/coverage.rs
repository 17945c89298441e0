//! What was not tested in time, and gear whose own test is due.

use super::Parts;
use crate::model::{Asset, Stamp};
use crate::report::about::About;
use crate::report::document::{Block, Section, Table};

/// Rows of the list of what was not tested in time; the CSV form has all.
const ROWS: usize = 150;

/// Days before its due date at which gear is listed.
const SOON_DAYS: f64 = 30.0;

/// Days from one test of an asset to the next: as it states, else as the report was asked.
fn interval(parts: &Parts, asset: &Asset) -> f64 {
    asset.interval_days.map_or(parts.within_days, f64::from)
}

/// Whether an asset was tested within its interval.
pub(super) fn in_time(parts: &Parts, about: &About<'_>, asset: &Asset) -> bool {
    let since = |at: &Stamp| about.as_of.days() - at.days();
    parts.last.get(&asset.id).is_some_and(|at| since(at) <= interval(parts, asset))
}

pub(super) fn coverage(parts: &Parts, about: &About<'_>) -> Section {
    let mut late: Vec<_> = parts
        .assets
        .iter()
        .filter(|a| !in_time(parts, about, a))
        .map(|a| (parts.last.get(&a.id).copied(), a))
        .collect();
    // The longest untested first, those never tested before all.
    late.sort_by(|a, b| (a.0, &a.1.id).cmp(&(b.0, &b.1.id)));
    let never = late.iter().filter(|(last, _)| last.is_none()).count();
    let stated = parts.assets.iter().filter(|a| a.interval_days.is_some()).count();
    let stated = match stated {
        0 => "No asset states how often it is to be tested; each is".to_owned(),
        n => format!("How often it is to be tested is stated for {n} of them; each other one is"),
    };
    let words = format!(
        "{} assets are in service. {stated} expected to be tested every {} days, the interval this \
         report was made with. Tested in time, seen from {}: {}. Tested longer ago: {}. Never: {never}.",
        parts.assets.len(),
        parts.within_days,
        about.as_of.date(),
        parts.assets.len() - late.len(),
        late.len() - never,
    );
    let mut blocks = vec![Block::Text(words)];
    if !late.is_empty() {
        let mut table = Table::new(&[
            ("not tested in time", 34.0),
            ("kind", 28.0),
            ("site", 34.0),
            ("last tested", 18.0),
            ("days ago#", 12.0),
            ("every#", 11.0),
        ]);
        for (last, asset) in late.iter().take(ROWS) {
            let days = last.map(|at| about.as_of.days() - at.days());
            table.push([
                asset.id.to_string(),
                asset.kind.to_string(),
                asset.site.to_string(),
                last.map_or("never".into(), Stamp::date),
                days.map_or("–".into(), |d| format!("{d:.0}")),
                format!("{:.0}", interval(parts, asset)),
            ]);
        }
        blocks.push(Block::Table(table));
    }
    if let Some(left) = late.len().checked_sub(ROWS).filter(|n| *n > 0) {
        blocks.push(Block::Text(format!("… and {left} more, which the CSV form lists.")));
    }
    Section::new("Coverage", blocks)
}

pub(super) fn gear(parts: &Parts, about: &About<'_>) -> Option<Section> {
    let mut due: Vec<_> = parts
        .gear
        .iter()
        .filter_map(|row| row.value.due.map(|due| (due, &row.value)))
        .filter(|(due, _)| due.days() - about.as_of.days() < SOON_DAYS)
        .collect();
    due.sort_by(|a, b| (a.0, &a.1.id).cmp(&(b.0, &b.1.id)));
    if due.is_empty() {
        return None;
    }
    let mut table = Table::new(&[
        ("gear", 20.0),
        ("kind", 22.0),
        ("category", 20.0),
        ("due", 28.0),
        ("remark", 40.0),
    ]);
    for (at, gear) in due {
        let late = if at < about.as_of { " (overdue)" } else { "" };
        table.push([
            gear.id.to_string(),
            gear.kind.word().into(),
            gear.category.to_string(),
            format!("{}{late}", at.date()),
            gear.remark.to_string(),
        ]);
    }
    let words = format!("Overdue, or due within {SOON_DAYS} days.");
    Some(Section::new("Gear due", vec![Block::Text(words), Block::Table(table)]))
}
