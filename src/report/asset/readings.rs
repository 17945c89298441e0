//! The visits as a table for people, and every reading as rows for programs.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::dossier::words::{limit_words, used_words};
use crate::dossier::{Dossier, Entry, Group, RatioStatement};
use crate::model::{Bound, Outcome, Reading, Series};
use crate::report::about::short_minute;
use crate::report::chart::group_words;
use crate::report::document::{Block, Cell, Data, Section, Table};
use crate::trend::words::ohms;
use crate::visits::Role;

/// A resistance with what it means: `>550 MΩ`.
pub(super) fn value_words(reading: &Reading) -> String {
    let bound = match reading.bound {
        Bound::Measured => "",
        other => other.word(),
    };
    format!("{bound}{}", ohms(reading.ohms))
}

fn outcome_words(outcome: &Outcome) -> String {
    match outcome.reason() {
        "" => outcome.word().to_owned(),
        why => format!("{}: {why}", outcome.word()),
    }
}

/// What the last visit says at once against each limit, without any trend.
pub(super) fn last_visit(dossier: &Dossier) -> Section {
    let counts = |e: &&Entry| e.judged.role == Role::Counts;
    let last = dossier.entries.iter().filter(counts).filter_map(|e| e.judged.visit).max();
    let of_last: Vec<&Entry> =
        dossier.entries.iter().filter(counts).filter(|e| e.judged.visit == last).collect();
    let Some(first) = of_last.first() else {
        return Section::new("Result of the last visit", vec![Block::Text("No visit yet.".into())]);
    };
    let mut table = Table::new(&[
        ("phase", 10.0),
        ("as read", 12.0),
        ("temperature", 14.0),
        ("limit", 34.0),
        ("result", 40.0),
    ]);
    for entry in &of_last {
        let reading = &entry.judged.corrected.reading;
        let celsius = match (reading.temperature_c, reading.temperature_of) {
            (Some(t), Some(of)) => format!("{t} °C {of}"),
            (Some(t), None) => format!("{t} °C"),
            (None, _) => "not recorded".into(),
        };
        if entry.outcomes.is_empty() {
            table.push([
                reading.series.phase.to_string(),
                value_words(reading),
                celsius.clone(),
                "none".into(),
                "–".into(),
            ]);
        }
        for (limit, outcome) in &entry.outcomes {
            table.push([
                reading.series.phase.to_string(),
                value_words(reading),
                celsius.clone(),
                limit_words(limit),
                outcome_words(outcome),
            ]);
        }
    }
    let at = first.judged.corrected.reading.taken_at;
    let mut blocks = vec![
        Block::Text(format!(
            "{} UTC. What each reading says by itself, without any trend.",
            short_minute(at)
        )),
        Block::Table(table),
    ];
    let day = at.utc_day();
    let ratios: Vec<String> = dossier
        .ratios
        .iter()
        .filter(|r| r.at.utc_day() == day)
        .map(|r| RatioStatement::of(r).words())
        .collect();
    if !ratios.is_empty() {
        blocks.push(Block::List(ratios));
    }
    Section::new("Result of the last visit", blocks)
}

/// Most phases that have a column of their own.
const COLUMNS: usize = 4;

/// Every visit, the newest first, one table for each group of lines.
pub(super) fn visits(dossier: &Dossier) -> Section {
    let mut blocks = Vec::new();
    for group in &dossier.groups {
        blocks.push(Block::Text(format!(
            "{}; instants in UTC, newest first. Above the tester's range is “>”, below “<”.",
            group_words(group)
        )));
        blocks.push(Block::Table(group_visits(dossier, group)));
    }
    if blocks.is_empty() {
        blocks.push(Block::Text("None.".into()));
    }
    Section::new("Visits", blocks)
}

fn group_visits(dossier: &Dossier, group: &Group) -> Table {
    let lines: Vec<&Arc<Series>> = group.case.lines.iter().map(|l| &l.series).collect();
    let mut visits: BTreeMap<usize, Vec<&Entry>> = BTreeMap::new();
    for entry in &dossier.entries {
        if let Some(visit) = entry.judged.visit
            && lines.contains(&&entry.judged.corrected.reading.series)
        {
            visits.entry(visit).or_default().push(entry);
        }
    }
    let names: Vec<String> = lines
        .iter()
        .map(|s| match group.against_case {
            true => s.phase.to_string(),
            false => format!("{}–{}", s.phase, s.against),
        })
        .collect();
    let wide = lines.len() <= COLUMNS;
    let mut columns = vec![("visit", 20.0)];
    if wide {
        columns.extend(names.iter().map(|n| (n.as_str(), 14.0)));
    } else {
        columns.push(("values", 56.0));
    }
    columns.extend([("°C", 7.0), ("tester", 13.0), ("by", 15.0), ("result and remarks", 40.0)]);
    let mut table = Table::new(&columns);
    for entries in visits.values().rev() {
        let of = |series: &Series| {
            let here = entries.iter().filter(|e| *e.judged.corrected.reading.series == *series);
            here.filter(|e| e.judged.role == Role::Counts)
                .map(|e| &e.judged.corrected.reading)
                .next_back()
        };
        let values = || lines.iter().map(|s| of(s).map_or("–".into(), value_words));
        let Some(first) = entries.first().map(|e| &e.judged.corrected.reading) else { continue };
        let mut row = vec![Cell::Text(short_minute(first.taken_at))];
        if wide {
            row.extend(values().map(Cell::Text));
        } else {
            let all: Vec<String> =
                names.iter().zip(values()).map(|(n, v)| format!("{n} {v}")).collect();
            row.push(Cell::Text(all.join("; ")));
        }
        let celsius = first.temperature_c.map_or("–".into(), |t| format!("{t}"));
        row.extend(
            [celsius, first.tester.to_string(), first.operator.to_string(), remarks(entries)]
                .map(Cell::Text),
        );
        table.rows.push(row);
    }
    table
}

/// The worst result of a visit, whether it was repeated, and what was remarked.
fn remarks(entries: &[&Entry]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let counting = || entries.iter().filter(|e| e.judged.role == Role::Counts);
    let outcomes = || counting().flat_map(|e| e.outcomes.iter().map(move |(_, o)| (e, o)));
    let of = |word: &str| {
        let mut phases: Vec<String> = outcomes()
            .filter(|(_, o)| o.word() == word)
            .map(|(e, _)| e.judged.corrected.reading.series.phase.to_string())
            .collect();
        phases.dedup();
        phases
    };
    let below = of(Outcome::Below.word());
    let unclear = of(Outcome::CannotTell("").word());
    if !below.is_empty() {
        parts.push(format!("{} below", below.join(" ")));
    } else if !unclear.is_empty() {
        parts.push("cannot tell".into());
    } else if outcomes().next().is_some() {
        parts.push("meets".into());
    }
    let retests = entries.iter().filter(|e| e.judged.role == Role::Retested).count();
    if retests > 0 {
        parts.push(format!("{retests} replaced by a retest"));
    }
    let mut remarks: Vec<&str> = entries
        .iter()
        .map(|e| e.judged.corrected.reading.remark.as_str())
        .filter(|r| !r.is_empty())
        .collect();
    remarks.dedup();
    parts.extend(remarks.into_iter().map(str::to_owned));
    parts.join("; ")
}

/// Every reading with what was done with it.
pub(super) fn data(dossier: &Dossier) -> Data {
    let header = vec![
        "reading",
        "taken_at",
        "asset",
        "phase",
        "against",
        "setup",
        "test_voltage_v",
        "bound",
        "resistance_ohm",
        "delivered_voltage_v",
        "duration_s",
        "temperature_c",
        "temperature_of",
        "humidity_pct",
        "tester",
        "operator",
        "station",
        "visit",
        "in_the_trend",
        "result",
        "in_doubt",
        "recorded_at",
        "remark",
    ];
    let number = |value: Option<f64>| value.map(|v| v.to_string()).unwrap_or_default();
    let row = |entry: &Entry| {
        let c = &entry.judged.corrected;
        let r = &c.reading;
        let results: Vec<String> = entry
            .outcomes
            .iter()
            .map(|(limit, outcome)| format!("{} ({})", outcome_words(outcome), limit_words(limit)))
            .collect();
        let doubts: Vec<&str> = entry.doubts.iter().map(|d| d.word()).collect();
        vec![
            c.id.to_string(),
            r.taken_at.to_string(),
            r.series.asset.to_string(),
            r.series.phase.to_string(),
            r.series.against.to_string(),
            r.series.setup.to_string(),
            number(r.series.test_voltage.map(|v| v.get())),
            r.bound.word().to_owned(),
            r.ohms.to_string(),
            number(r.delivered_voltage_v),
            number(r.duration_s),
            number(r.temperature_c),
            r.temperature_of.map(|t| t.word().to_owned()).unwrap_or_default(),
            number(r.humidity_pct),
            r.tester.to_string(),
            r.operator.to_string(),
            r.station.to_string(),
            entry.judged.visit.map(|v| v.to_string()).unwrap_or_default(),
            used_words(entry),
            results.join("; "),
            doubts.join("; "),
            entry.recorded_at.to_string(),
            r.remark.to_string(),
        ]
    };
    Data { header, rows: dossier.entries.iter().map(row).collect() }
}
