//! What the readings are worth: exclusions with their reasons, doubts, testers and proofs, who
//! tested, what people changed, and what was known when.

use std::collections::BTreeMap;

use super::Parts;
use super::readings::value_words;
use crate::dossier::words::used_words;
use crate::dossier::{Entry, TesterUse};
use crate::model::{CorrectionKind, DAY_MICROS, Stamp};
use crate::report::about::{About, minute, short_minute};
use crate::report::document::{Block, Section, Table};
use crate::store::Act;

pub(super) fn sections(parts: &Parts, about: &About<'_>) -> Vec<Section> {
    let mut sections = vec![exclusions(parts), doubts(parts), gear(parts, about), people(parts)];
    sections.extend(history(parts));
    sections.push(known(parts, about));
    sections
}

fn exclusions(parts: &Parts) -> Section {
    let left_out: Vec<&Entry> = parts.dossier.left_out().collect();
    if left_out.is_empty() {
        let words = "No reading was left out of the trend.".to_owned();
        return Section::new("Left out of the trend", vec![Block::Text(words)]);
    }
    let mut table = Table::new(&[
        ("reading", 12.0),
        ("taken (UTC)", 20.0),
        ("phase", 9.0),
        ("as read", 14.0),
        ("tester", 13.0),
        ("why", 60.0),
    ]);
    for entry in &left_out {
        let c = &entry.judged.corrected;
        table.push([
            c.id.to_string(),
            short_minute(c.reading.taken_at),
            c.reading.series.phase.to_string(),
            value_words(&c.reading),
            c.reading.tester.to_string(),
            used_words(entry).trim_start_matches("left out: ").to_owned(),
        ]);
    }
    let words = format!(
        "{} of {} readings; they are kept, shown on the chart crossed out, and say nothing here.",
        left_out.len(),
        parts.dossier.entries.len()
    );
    Section::new("Left out of the trend", vec![Block::Text(words), Block::Table(table)])
}

fn doubts(parts: &Parts) -> Section {
    let quality = parts.dossier.quality();
    if quality.is_empty() {
        return Section::new("Data quality", vec![Block::Text("Nothing is in doubt.".into())]);
    }
    let mut table = Table::new(&[("in doubt", 22.0), ("readings", 16.0), ("what that did", 70.0)]);
    for q in quality {
        table.push([
            q.doubt.word().into(),
            format!("{} of {}", q.readings, q.of),
            q.doubt.effect().into(),
        ]);
    }
    Section::new("Data quality", vec![Block::Table(table)])
}

/// Proofs that passed, of which only the last are shown one by one.
const PASSED_SHOWN: usize = 12;

fn gear(parts: &Parts, about: &About<'_>) -> Section {
    let mut testers = Table::new(&[
        ("tester", 13.0),
        ("readings", 10.0),
        ("from, to", 22.0),
        ("category", 17.0),
        ("range", 20.0),
        ("due", 26.0),
        ("against it", 34.0),
    ]);
    for used in &parts.testers {
        testers.push(tester_row(used, about.as_of));
    }
    let mut blocks = vec![Block::Table(testers)];
    if parts.proofs.is_empty() {
        blocks.push(Block::Text("No proof of these testers is on record.".into()));
        return Section::new("Testers, gear and proofs", blocks);
    }
    let passed = parts.proofs.iter().filter(|p| p.value.passed).count();
    blocks.push(Block::Text(format!(
        "Proofs of these testers: {passed} passed (the last {} are listed), {} failed (all are).",
        passed.min(PASSED_SHOWN),
        parts.proofs.len() - passed
    )));
    let mut table = Table::new(&[
        ("at (UTC)", 20.0),
        ("tester", 13.0),
        ("proof", 20.0),
        ("moment", 10.0),
        ("read", 17.0),
        ("", 10.0),
        ("remark", 40.0),
    ]);
    let mut skip = passed.saturating_sub(PASSED_SHOWN);
    for proof in parts.proofs.iter().map(|p| &p.value) {
        if proof.passed && skip > 0 {
            skip -= 1;
            continue;
        }
        let value = match (proof.value, proof.unit.as_str()) {
            (Some(v), "ohm") => crate::trend::words::ohms(v),
            (Some(v), unit) => format!("{v} {unit}"),
            (None, _) => "–".into(),
        };
        table.push([
            short_minute(proof.at),
            proof.tester.to_string(),
            proof.kind.word().into(),
            proof.moment.word().into(),
            value,
            if proof.passed { "passed" } else { "FAILED" }.into(),
            proof.remark.to_string(),
        ]);
    }
    blocks.push(Block::Table(table));
    Section::new("Testers, gear and proofs", blocks)
}

fn tester_row(used: &TesterUse, as_of: Stamp) -> [String; 7] {
    let gear = used.gear.as_ref();
    let category = gear.map(|g| {
        let volts = g.rated_voltage_v.map(|v| format!(" {v} V")).unwrap_or_default();
        format!("{}{volts}", g.category)
    });
    let range = gear.map(|g| {
        let words = |v: Option<f64>| v.map_or("?".into(), crate::trend::words::ohms);
        format!("{} to {}", words(g.lowest_ohm), words(g.full_scale_ohm))
    });
    let due = match gear.and_then(|g| g.due) {
        Some(due) if due < as_of => format!("{} (overdue)", due.date()),
        Some(due) => due.date(),
        None if gear.is_some() => "no date known".into(),
        None => "not in the register".into(),
    };
    let against: Vec<&str> = used.findings.iter().map(|f| f.reason.as_str()).collect();
    [
        if used.id.is_empty() { "not named".into() } else { used.id.to_string() },
        used.readings.to_string(),
        format!("{} {}", used.first.date(), used.last.date()),
        category.unwrap_or_default(),
        range.unwrap_or_default(),
        due,
        against.join("; "),
    ]
}

fn people(parts: &Parts) -> Section {
    let mut by: BTreeMap<(&str, &str), (usize, Stamp, Stamp)> = BTreeMap::new();
    for entry in &parts.dossier.entries {
        let r = &entry.judged.corrected.reading;
        let of = by.entry((&r.operator, &r.station)).or_insert((0, r.taken_at, r.taken_at));
        *of = (of.0 + 1, of.1.min(r.taken_at), of.2.max(r.taken_at));
    }
    let mut table = Table::new(&[
        ("who", 30.0),
        ("station", 24.0),
        ("readings", 12.0),
        ("first", 16.0),
        ("last", 16.0),
    ]);
    let said = |text: &str| if text.is_empty() { "not stated".to_owned() } else { text.to_owned() };
    for ((operator, station), (n, first, last)) in by {
        table.push([said(operator), said(station), n.to_string(), first.date(), last.date()]);
    }
    Section::new("Who tested", vec![Block::Table(table)])
}

/// What was done to the asset, and what people put right or answered.
fn history(parts: &Parts) -> Vec<Section> {
    let mut sections = Vec::new();
    if !parts.dossier.events.is_empty() {
        let mut table = Table::new(&[
            ("at", 14.0),
            ("event", 16.0),
            ("", 30.0),
            ("remark", 36.0),
            ("recorded by, on", 32.0),
        ]);
        for row in &parts.dossier.events {
            let e = &row.value;
            let effect = if e.kind.starts_epoch() {
                "starts a new epoch: readings before and after are not on one line"
            } else {
                "shown only"
            };
            table.push([
                e.at.date(),
                e.kind.word().into(),
                effect.into(),
                e.remark.to_string(),
                format!("{}, {}", row.mark.by, row.mark.recorded_at.date()),
            ]);
        }
        sections.push(Section::new("What was done to it", vec![Block::Table(table)]));
    }
    let mut table = Table::new(&[("on", 14.0), ("by", 20.0), ("what", 40.0), ("why", 54.0)]);
    for row in &parts.corrections {
        let c = &row.value;
        let what = match &c.kind {
            CorrectionKind::Void => format!("reading {} does not count", c.reading),
            CorrectionKind::Restore => format!("reading {} counts again", c.reading),
            CorrectionKind::Move { asset, phase } => {
                format!("reading {} belongs to {asset} {phase}", c.reading)
            }
            CorrectionKind::Overrule => {
                format!("reading {} counts although a proof failed", c.reading)
            }
        };
        table.push([
            row.mark.recorded_at.date(),
            row.mark.by.to_string(),
            what,
            c.reason.to_string(),
        ]);
    }
    for row in &parts.acts {
        let what = match row.value.act {
            Act::Acknowledge => "acknowledged",
            Act::Close => "closed",
        };
        table.push([
            row.mark.recorded_at.date(),
            row.mark.by.to_string(),
            format!("{what} the finding `{}` of {}", row.value.kind, row.value.since.date()),
            row.value.remark.to_string(),
        ]);
    }
    if !table.rows.is_empty() {
        sections.push(Section::new("What people put right or answered", vec![Block::Table(table)]));
    }
    sections
}

/// What was known on the date of the report.
fn known(parts: &Parts, about: &About<'_>) -> Section {
    let entries = &parts.dossier.entries;
    let late: Vec<&Entry> = entries
        .iter()
        .filter(|e| {
            let taken = e.judged.corrected.reading.taken_at.micros();
            e.recorded_at.micros().saturating_sub(taken) > 7 * DAY_MICROS
        })
        .collect();
    let mut words = vec![match about.known_at {
        Stamp::MAX => format!(
            "This report uses everything that is known today of what was measured or done up to {}.",
            minute(about.as_of)
        ),
        known_at => format!(
            "This report uses only what was recorded up to {}, of what was measured or done up to \
             {}: it is the answer as it would have been given then. What was recorded later is not \
             in it.",
            minute(known_at),
            minute(about.as_of)
        ),
    }];
    if let Some(newest) = entries.iter().map(|e| e.recorded_at).max() {
        words.push(format!(
            "{} readings; the newest was recorded on {}.",
            entries.len(),
            minute(newest)
        ));
    }
    if !late.is_empty() {
        words.push(format!(
            "{} of them became known more than a week after they were measured, so that reports \
             made in between did not have them.",
            late.len()
        ));
    }
    Section::new("What was known", words.into_iter().map(Block::Text).collect())
}
