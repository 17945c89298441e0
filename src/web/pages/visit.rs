//! The visits of an asset, newest first, each with its readings and what was done with them.

use super::Mark;
use super::numbers::{bounded, minute};
use crate::dossier::words::{limit_words, used_words};
use crate::dossier::{Dossier, Entry};

/// One visit, or readings that are in none.
pub(super) struct VisitView {
    pub(super) date: String,
    pub(super) circumstances: String,
    pub(super) readings: Vec<ReadingView>,
}

/// One reading.
pub(super) struct ReadingView {
    pub(super) id: String,
    pub(super) time: String,
    pub(super) series: String,
    pub(super) value: String,
    pub(super) circumstances: String,
    pub(super) results: Vec<ResultView>,
    pub(super) used: String,
    pub(super) doubts: String,
    pub(super) counts: bool,
}

/// What a reading says against one limit.
pub(super) struct ResultView {
    pub(super) mark: Mark,
    pub(super) limit: String,
    pub(super) why: &'static str,
}

impl VisitView {
    /// The newest visits, at most so many, and how many there are. A reading that is left out
    /// stands with the visit of its day.
    pub(super) fn of(dossier: &Dossier, most: usize) -> (Vec<VisitView>, usize) {
        let mut visits: Vec<Vec<&Entry>> = Vec::new();
        for entry in &dossier.entries {
            let now = &entry.judged;
            let joins = visits.last().and_then(|v| v.last()).is_some_and(|before| {
                let before = &before.judged;
                match (before.visit, now.visit) {
                    (Some(a), Some(b)) => a == b,
                    _ => {
                        let day =
                            |j: &crate::visits::Judged| j.corrected.reading.taken_at.utc_day();
                        day(before) == day(now)
                    }
                }
            });
            match visits.last_mut().filter(|_| joins) {
                Some(visit) => visit.push(entry),
                None => visits.push(vec![entry]),
            }
        }
        let all = visits.len();
        let mut out = Vec::new();
        for entries in visits.into_iter().rev().take(most) {
            let readings = entries.iter().map(|e| ReadingView::of(e)).collect();
            let first = &entries[0].judged.corrected.reading;
            let who = [("tester", &first.tester), ("by", &first.operator), ("at", &first.station)];
            let who: Vec<String> = who
                .iter()
                .filter(|(_, name)| !name.is_empty())
                .map(|(what, name)| format!("{what} {name}"))
                .collect();
            out.push(VisitView {
                date: first.taken_at.date(),
                circumstances: who.join(", "),
                readings,
            });
        }
        (out, all)
    }
}

impl ReadingView {
    pub(super) fn of(entry: &Entry) -> ReadingView {
        let c = &entry.judged.corrected;
        let (r, s) = (&c.reading, &c.reading.series);
        let mut series = s.phase.to_string();
        if s.against != crate::model::CASE {
            series.push_str(&format!(" against {}", s.against));
        }
        if !s.setup.is_empty() {
            series.push_str(&format!(", {}", s.setup));
        }
        let volts = match (s.test_voltage, r.delivered_voltage_v) {
            (Some(test), Some(delivered)) => format!("{} V (delivered {delivered} V)", test.get()),
            (Some(test), None) => format!("{} V", test.get()),
            (None, Some(delivered)) => format!("delivered {delivered} V"),
            (None, None) => String::new(),
        };
        let celsius = r.temperature_c.map(|t| match r.temperature_of {
            Some(of) => format!("{t} °C {of}"),
            None => format!("{t} °C"),
        });
        let parts = [
            Some(volts).filter(|v| !v.is_empty()),
            r.duration_s.map(|s| format!("{s} s")),
            celsius,
            r.humidity_pct.map(|h| format!("{h} % humidity")),
            Some(r.remark.to_string()).filter(|remark| !remark.is_empty()),
        ];
        let doubts: Vec<&str> = entry.doubts.iter().map(|doubt| doubt.word()).collect();
        ReadingView {
            id: c.id.to_string(),
            time: minute(r.taken_at),
            series,
            value: bounded(r.bound.word(), r.ohms),
            circumstances: parts.into_iter().flatten().collect::<Vec<_>>().join(", "),
            results: entry
                .outcomes
                .iter()
                .map(|(limit, outcome)| ResultView {
                    mark: outcome.into(),
                    limit: limit_words(limit),
                    why: outcome.reason(),
                })
                .collect(),
            used: used_words(entry),
            doubts: doubts.join(", "),
            counts: entry.judged.role == crate::visits::Role::Counts,
        }
    }
}
