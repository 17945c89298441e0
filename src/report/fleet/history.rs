//! How the fleet went by month, from the findings that stood at the end of each.

use std::collections::HashMap;

use super::Parts;
use crate::model::{AssetId, FindingKind, FindingState, Stamp, Verdict};
use crate::report::about::About;
use crate::report::chart::{Month, months};
use crate::report::document::{Block, Section};
use crate::report::scene::Size;

/// Months that are shown.
const MONTHS: usize = 24;

const SIZE: Size = Size { width: 505.0, height: 150.0 };

pub(super) fn by_month(parts: &Parts, about: &About<'_>) -> Section {
    let ends = month_ends(about.as_of);
    let mut all: Vec<Month> =
        ends.iter().map(|(name, _)| Month { name: name.clone(), ..Month::default() }).collect();
    for (month, (_, end)) in all.iter_mut().zip(&ends) {
        let mut worst: HashMap<&AssetId, Verdict> = HashMap::new();
        for finding in parts.findings.iter().filter(|f| f.is_of_asset()) {
            let ended = finding.until.is_some_and(|until| until <= *end)
                // One that a person closed has no end of its own; it is not shown as standing now.
                || (finding.state == FindingState::Closed
                    && finding.until.is_none()
                    && *end == about.as_of);
            let stands =
                finding.state != FindingState::Withdrawn && finding.since <= *end && !ended;
            let verdict = verdict(finding.kind);
            if let Some(verdict) = verdict.filter(|_| stands) {
                let of = worst.entry(&finding.asset).or_insert(verdict);
                *of = (*of).max(verdict);
            }
        }
        for verdict in worst.into_values() {
            month.counts[verdict as usize] += 1;
        }
    }
    let first = all.iter().position(|m| m.counts.iter().any(|n| *n > 0)).unwrap_or(0);
    let shown = &all[first.min(all.len().saturating_sub(6))..];
    let words = "Assets with a standing finding at the end of each month (the last: on the date of \
                 this report), as the findings are known today; a sudden drop or an imbalance counts \
                 as declining. More tested assets give more findings: read it together with the \
                 coverage.";
    Section::new("The fleet by month", vec![Block::Drawing(months(shown, SIZE), words.into())])
}

const fn verdict(kind: FindingKind) -> Option<Verdict> {
    match kind {
        FindingKind::BelowLimit => Some(Verdict::BelowLimit),
        FindingKind::Declining | FindingKind::Step | FindingKind::Imbalance => {
            Some(Verdict::Declining)
        }
        FindingKind::Watch => Some(Verdict::Watch),
        FindingKind::CommonCause | FindingKind::Tester | FindingKind::Overdue => None,
    }
}

/// The last months with the last instant of each; the newest ends at the date of the report.
fn month_ends(as_of: Stamp) -> Vec<(String, Stamp)> {
    let name = |at: Stamp| at.date().chars().take(7).collect::<String>();
    let mut ends = vec![(name(as_of), as_of)];
    let mut first = as_of;
    while ends.len() < MONTHS {
        let Ok(begin) = Stamp::parse(&format!("{}-01", name(first))) else { break };
        let end = Stamp::from_micros(begin.micros() - 1);
        ends.push((name(end), end));
        first = end;
    }
    ends.reverse();
    ends
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_end_with_their_last_instant() {
        let ends = month_ends(Stamp::parse("2026-03-15T10:00:00Z").unwrap());
        assert_eq!(ends.len(), MONTHS);
        let last: Vec<_> = ends.iter().rev().take(3).map(|(n, e)| format!("{n} {e}")).collect();
        assert_eq!(
            last,
            [
                "2026-03 2026-03-15T10:00:00Z",
                "2026-02 2026-02-28T23:59:59.999999Z",
                "2026-01 2026-01-31T23:59:59.999999Z",
            ]
        );
    }
}
