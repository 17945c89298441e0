//! How findings follow their episodes from one assessment to the next: rules every store shares.

use std::collections::BTreeMap;

use super::{Act, FindingAct};
use crate::model::{Finding, FindingState, Stamp};

/// A stored finding as last assessed.
#[derive(Clone, Debug)]
pub(crate) struct Episode {
    pub(crate) finding: Finding,
    /// Whether the last assessment still had it.
    pub(crate) stands: bool,
    /// Whether a person answered it.
    pub(crate) answered: bool,
}

impl Episode {
    /// Whether it says the same as an episode of a new assessment.
    pub(crate) fn says(&self, other: &Finding) -> bool {
        let Finding { phase, since, until, reason, evidence, kind, .. } = &self.finding;
        *kind == other.kind
            && *phase == other.phase
            && *since == other.since
            && *until == other.until
            && *reason == other.reason
            && *evidence == other.evidence
    }

    fn overlaps(&self, other: &Finding) -> bool {
        let end = |finding: &Finding| finding.until.unwrap_or(Stamp::MAX);
        self.finding.kind == other.kind
            && self.finding.since <= end(other)
            && other.since <= end(&self.finding)
    }

    /// The finding as it was at a measuring time; none when it had not begun.
    pub(crate) fn shown(mut self, as_of: Stamp, last_act: Option<Act>) -> Option<Finding> {
        if self.finding.since > as_of {
            return None;
        }
        self.finding.until = self.finding.until.filter(|&until| until <= as_of);
        self.finding.state = match (self.stands, self.finding.until, last_act) {
            (false, _, _) => FindingState::Withdrawn,
            (true, Some(_), _) | (true, None, Some(Act::Close)) => FindingState::Closed,
            (true, None, Some(Act::Acknowledge)) => FindingState::Acknowledged,
            (true, None, None) => FindingState::Open,
        };
        Some(self.finding)
    }
}

/// For each new episode the stored finding it continues. First those that say exactly the same, so
/// that the same assessment twice changes nothing; then those of one kind that overlap in time: one
/// that people answered first, then one of the same phase, then the oldest.
pub(crate) fn match_episodes(
    known: &BTreeMap<i64, Episode>,
    episodes: &[Finding],
) -> Vec<Option<i64>> {
    let mut free: BTreeMap<i64, &Episode> = known.iter().map(|(&no, e)| (no, e)).collect();
    let mut matches: Vec<Option<i64>> = episodes
        .iter()
        .map(|episode| {
            let (&no, _) = free.iter().find(|(_, old)| old.says(episode))?;
            free.remove(&no).map(|_| no)
        })
        .collect();
    for (episode, matched) in episodes.iter().zip(&mut matches) {
        if matched.is_some() {
            continue;
        }
        let best = free
            .iter()
            .filter(|(_, old)| old.overlaps(episode))
            .min_by_key(|&(&no, old)| {
                let other_phase = old.finding.phase != episode.phase;
                (!old.answered, other_phase, old.finding.since, no)
            })
            .map(|(&no, _)| no);
        if let Some(no) = best {
            free.remove(&no);
            *matched = Some(no);
        }
    }
    matches
}

/// The finding that a person answers: of that kind at that instant; one that stands before one
/// that was withdrawn, then the newest.
pub(crate) fn answered(known: &BTreeMap<i64, Episode>, act: &FindingAct) -> Option<i64> {
    let at = |finding: &Finding| {
        finding.since <= act.since && act.since <= finding.until.unwrap_or(Stamp::MAX)
    };
    known
        .iter()
        .filter(|(_, e)| e.finding.asset == act.asset && e.finding.kind == act.kind)
        .filter(|(_, e)| at(&e.finding))
        .max_by_key(|&(&no, e)| (e.stands, e.finding.since, no))
        .map(|(&no, _)| no)
}

/// By `since` from the newest, then by asset, kind and phase.
pub(crate) fn newest_first(mut findings: Vec<Finding>) -> Vec<Finding> {
    findings.sort_by(|a, b| {
        let rest = |f: &Finding| (f.asset.clone(), f.kind, f.phase.clone(), f.until);
        b.since.cmp(&a.since).then_with(|| rest(a).cmp(&rest(b)))
    });
    findings
}
