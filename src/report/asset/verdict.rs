//! The verdict with what carries it, and the projection with its interval or the reason why there
//! is none.

use crate::dossier::Dossier;
use crate::dossier::FitStatement;
use crate::dossier::words::{CAUTION, line_words, notices, projection_words};
use crate::model::{Joining, Verdict};
use crate::report::chart::{group_words, leading};
use crate::report::document::{Block, Cell, Section, Table};
use crate::trend::filter::Interval;
use crate::trend::words::{log_ohms, ohms};

pub(super) fn verdict(dossier: &Dossier) -> Section {
    let mut blocks = Vec::new();
    for group in &dossier.groups {
        let Some(line) = leading(group).map(|i| &group.assessment.lines[i]) else { continue };
        let tied = dossier.asset.joining == Joining::Tied;
        let name =
            if tied { "all phases as one".to_owned() } else { line.series.phase.to_string() };
        let chance = match line.probability {
            Some(p) if matches!(group.assessment.verdict, Verdict::Watch | Verdict::Declining) => {
                format!(
                    ". Probability that somebody should act, under the model: {:.0} %",
                    100.0 * p
                )
            }
            _ => String::new(),
        };
        let words = format!("{}, {name}: {}{chance}.", group_words(group), line_words(line));
        blocks.push(Block::Verdict(group.assessment.verdict, words));
    }
    if blocks.is_empty() {
        let words = "no reading counts yet, so nothing can be said".to_owned();
        blocks.push(Block::Verdict(Verdict::TooFew, words));
    }
    let findings: Vec<String> = dossier
        .episodes()
        .iter()
        .map(|f| {
            let phase = f.phase.as_ref().map(|p| format!(" {p}")).unwrap_or_default();
            let end = match f.until {
                Some(at) => format!("until {}", at.date()),
                None => "stands".to_owned(),
            };
            format!("{}{phase}, first seen {}, {end}: {}", f.kind, f.since.date(), f.reason)
        })
        .collect();
    if findings.is_empty() {
        blocks.push(Block::Text("Nothing was ever found on this asset.".into()));
    } else {
        blocks.push(Block::List(findings));
    }
    let notices: Vec<String> = dossier.groups.iter().flat_map(notices).collect();
    if !notices.is_empty() {
        blocks.push(Block::List(notices));
    }
    blocks.push(Block::Text(CAUTION.into()));
    Section::new("Verdict", blocks)
}

/// A quantity with its 90 % interval.
fn interval(value: Option<Interval>, words: impl Fn(f64) -> String) -> String {
    match value {
        Some(i) => format!("{} ({} to {})", words(i.mid), words(i.lower), words(i.upper)),
        None => "–".into(),
    }
}

pub(super) fn projection(dossier: &Dossier) -> Section {
    let mut blocks = Vec::new();
    for group in &dossier.groups {
        let mut table = Table::new(&[
            ("line", 8.0),
            ("verdict", 15.0),
            ("visits: on scale, over, under", 18.0),
            ("now, at 40 °C (90 % interval)", 27.0),
            ("decades a year (90 % interval)", 24.0),
            ("limit#", 11.0),
            ("when the trend reaches it", 33.0),
        ]);
        for line in &group.assessment.lines {
            let name = match group.against_case {
                true => line.series.phase.to_string(),
                false => format!("{} to {}", line.series.phase, line.series.against),
            };
            table.rows.push(vec![
                Cell::Text(name),
                Cell::Verdict(line.verdict),
                Cell::Text(format!("{}, {}, {}", line.n_measured, line.n_over, line.n_under)),
                Cell::Text(interval(line.level, log_ohms)),
                Cell::Text(interval(line.decades_per_year, |d| format!("{d:+.2}"))),
                Cell::Text(line.limit.map_or("none".into(), |l| ohms(l.ohms))),
                Cell::Text(projection_words(line)),
            ]);
        }
        blocks.push(Block::Table(table));
        let fits = group.fits();
        let mut beside = Vec::new();
        for fit in &fits {
            let words = FitStatement::of(fit).words();
            beside.push(format!("{}: {}", fit.series.phase, words.join("; ")));
        }
        blocks.push(Block::Text(
            "Beside the detector, which decides, a censored regression of each line for whoever \
             wants to check it:"
                .into(),
        ));
        blocks.push(Block::List(beside));
    }
    if blocks.is_empty() {
        blocks.push(Block::Text("None: no reading counts yet.".into()));
    }
    Section::new("Trend and projection", blocks)
}
