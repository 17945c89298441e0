//! What a channel has not been told yet.

use std::collections::{HashMap, HashSet};

use super::{FRESH_DAYS, SINGLES};
use crate::model::{DAY_MICROS, Finding, FindingKind, FindingState, Stamp};
use crate::store::{Fate, Happening, Telling, Told};

/// One thing to tell of a finding.
#[derive(Clone, Copy, Debug)]
pub(super) struct Item<'a> {
    /// The number of the finding.
    pub(super) number: u64,
    pub(super) finding: &'a Finding,
    pub(super) what: Happening,
    /// How often this was put into the outbox before.
    pub(super) before: usize,
}

impl Item<'_> {
    /// Whether it must not wait.
    pub(super) fn is_urgent(&self) -> bool {
        self.what == Happening::Stated && self.finding.kind == FindingKind::BelowLimit
    }

    pub(super) fn told(&self) -> Told {
        Told { finding: self.number, what: self.what }
    }
}

/// What is to be told to a channel, the most urgent first: open findings of its kinds that it was
/// not told of, and those it was told of that have been withdrawn since.
pub(super) fn untold<'a>(
    findings: &'a [(u64, Finding)],
    tellings: &[Telling],
    kinds: &[FindingKind],
) -> Vec<Item<'a>> {
    let mut counts: HashMap<Told, usize> = HashMap::new();
    let mut last: HashMap<u64, (Happening, Fate)> = HashMap::new();
    for telling in tellings {
        *counts.entry(telling.told).or_default() += 1;
        if telling.fate != Fate::Dropped {
            last.insert(telling.told.finding, (telling.told.what, telling.fate));
        }
    }
    let mut items: Vec<Item<'_>> = findings
        .iter()
        .filter_map(|(number, finding)| {
            let what = match (last.get(number), finding.state) {
                (None | Some((Happening::Withdrawn, _)), FindingState::Open) => Happening::Stated,
                // While it waits it can still be stopped.
                (Some((Happening::Stated, Fate::Sent)), FindingState::Withdrawn) => {
                    Happening::Withdrawn
                }
                _ => return None,
            };
            let before = counts.get(&Told { finding: *number, what }).copied().unwrap_or(0);
            Some(Item { number: *number, finding, what, before })
        })
        .filter(|item| item.what == Happening::Withdrawn || kinds.contains(&item.finding.kind))
        .collect();
    items.sort_by_key(|item| (urgency(item), item.finding.since, item.number));
    items
}

fn urgency(item: &Item<'_>) -> u8 {
    match (item.what, item.finding.kind) {
        (Happening::Withdrawn, _) => 3,
        (_, FindingKind::BelowLimit) => 0,
        (_, FindingKind::Declining | FindingKind::Step) => 1,
        _ => 2,
    }
}

/// Parts what goes out singly from what goes together.
pub(super) fn part<'a>(
    items: Vec<Item<'a>>,
    tellings: &[Telling],
    now: Stamp,
) -> (Vec<Item<'a>>, Vec<Item<'a>>) {
    let fresh = Stamp::from_micros(now.micros().saturating_sub(FRESH_DAYS * DAY_MICROS));
    let mut left = SINGLES.saturating_sub(singles_since(tellings, now));
    items.into_iter().partition(|item| {
        let single = left > 0 && (item.what == Happening::Withdrawn || item.finding.since >= fresh);
        left -= usize::from(single);
        single
    })
}

/// How many messages about one finding each were put into the outbox within the hour.
fn singles_since(tellings: &[Telling], now: Stamp) -> usize {
    let hour_ago = now.micros().saturating_sub(DAY_MICROS / 24);
    let mut seen = HashSet::new();
    let mut several = HashSet::new();
    for telling in tellings.iter().filter(|t| t.posted_at.micros() > hour_ago) {
        if !seen.insert(telling.message) {
            several.insert(telling.message);
        }
    }
    seen.len() - several.len()
}

/// Whether what a message tells of a finding is still so; one that is not is not sent.
pub(super) fn holds(told: Told, finding: Option<&Finding>) -> bool {
    let Some(finding) = finding else { return false };
    match told.what {
        Happening::Stated => {
            matches!(finding.state, FindingState::Open | FindingState::Acknowledged)
        }
        Happening::Withdrawn => finding.state == FindingState::Withdrawn,
    }
}
