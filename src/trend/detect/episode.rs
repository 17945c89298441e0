//! Findings as episodes: when one opened, and when the evidence ended it.

use super::CrossingTimes;
use crate::model::{FindingKind, Phase, Stamp};

/// A finding of the detector, raised at one evaluation.
#[derive(Clone, Debug, PartialEq)]
pub struct Alarm {
    /// What it is: `declining`, `below limit`, `step`, `imbalance`, or `watch`, which is no alarm
    /// but asks for a repeat reading.
    pub kind: FindingKind,
    /// The leading phase; none for an asset-wide one.
    pub phase: Option<Phase>,
    /// The last reading of the day on which it was raised.
    pub first_flagged_at: Stamp,
    /// When it ended; none while it stands.
    pub cleared_at: Option<Stamp>,
    /// The chance that somebody should act, at raising.
    pub chance: f64,
    /// The projection at raising.
    pub crossing: CrossingTimes,
}

/// The projection of one evaluation.
#[derive(Clone, Debug, PartialEq)]
pub struct Projected {
    /// The leading phase; none for an asset-wide finding.
    pub phase: Option<Phase>,
    /// The last reading of the day.
    pub as_of: Stamp,
    /// A finding stood, not only a watch.
    pub flagged: bool,
    /// When the trend reaches the limit.
    pub crossing: CrossingTimes,
}

/// What stands at an evaluation, by kind, each with its phase.
#[derive(Clone, Debug, Default)]
pub(super) struct Stands {
    pub(super) kinds: Vec<(FindingKind, Option<Phase>)>,
}

/// The episodes so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Episodes {
    pub(super) alarms: Vec<Alarm>,
}

impl Episodes {
    /// Ends what no longer stands; returns what is new.
    pub(super) fn update(
        &mut self,
        at: Stamp,
        stands: &Stands,
    ) -> Vec<(FindingKind, Option<Phase>)> {
        for alarm in self.open_mut() {
            if !stands.kinds.iter().any(|(kind, _)| *kind == alarm.kind) {
                alarm.cleared_at = Some(at);
            }
        }
        let is_new = |kind: &FindingKind| !self.open().any(|alarm| alarm.kind == *kind);
        stands.kinds.iter().filter(|(kind, _)| is_new(kind)).cloned().collect()
    }

    /// Ends everything: a new winding or specimen.
    pub(super) fn end_all(&mut self, at: Stamp) {
        self.open_mut().for_each(|alarm| alarm.cleared_at = Some(at));
    }

    /// How often a kind was raised.
    pub(super) fn named(&self, kind: FindingKind) -> usize {
        self.alarms.iter().filter(|alarm| alarm.kind == kind).count()
    }

    /// What stands.
    pub(super) fn open(&self) -> impl Iterator<Item = &Alarm> {
        self.alarms.iter().filter(|alarm| alarm.cleared_at.is_none())
    }

    fn open_mut(&mut self) -> impl Iterator<Item = &mut Alarm> {
        self.alarms.iter_mut().filter(|alarm| alarm.cleared_at.is_none())
    }
}
