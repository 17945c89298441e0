//! What proofs of a tester do to the readings made with it.

use std::collections::HashMap;

use super::Settings;
use super::gather::is_low;
use crate::model::{Proof, ProofKind, ProofMoment, Reading, Stamp, Text};

/// A stretch of time in which the readings of a tester don't count.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspicion {
    /// The tester.
    pub tester: Text,
    /// First suspect instant.
    pub from: Stamp,
    /// Last suspect instant.
    pub to: Stamp,
    /// The failed proof.
    pub proof: Proof,
    /// The next good proof of the same function; none yet: it stays in doubt.
    pub proved: Option<Stamp>,
}

impl Suspicion {
    /// Whether it takes the worth from this reading: without contact only from a high one, since
    /// an open clip reads like good insulation and never like bad.
    pub fn spoils(&self, reading: &Reading) -> bool {
        self.proof.kind != ProofKind::Contact || !is_low(reading)
    }
}

/// The stretches of all testers.
#[derive(Clone, Debug, Default)]
pub struct Suspicions(HashMap<Text, Vec<Suspicion>>);

impl Suspicions {
    /// What these proofs make suspect.
    pub fn new(proofs: &[Proof], settings: &Settings) -> Self {
        let mut all: HashMap<Text, Vec<Suspicion>> = HashMap::new();
        for suspicion in suspicions(proofs, settings) {
            all.entry(suspicion.tester.clone()).or_default().push(suspicion);
        }
        for of_tester in all.values_mut() {
            of_tester.sort_by_key(|s| s.from);
        }
        Suspicions(all)
    }

    /// Those of one tester by time.
    pub fn of(&self, tester: &str) -> &[Suspicion] {
        self.0.get(tester).map_or(&[], Vec::as_slice)
    }

    /// Those that cover a reading, by time.
    pub fn covering(&self, reading: &Reading) -> impl Iterator<Item = &Suspicion> {
        let at = reading.taken_at;
        self.of(&reading.tester).iter().filter(move |s| s.from <= at && at <= s.to)
    }
}

/// The stretches that failed proofs make suspect, each at most `proof_span_days` long, and those
/// without confirmed contact at most as long as a visit's gap.
///
/// A failed proof reaches back to the last good one of its function (resistance or voltage) when
/// it was made after the readings, and in any case forward until the next good one. Of the proofs
/// made after the readings only one of the same kind says that it was good: a broken lead passes
/// for open leads, and the shorted leads show it a moment later.
pub fn suspicions(proofs: &[Proof], settings: &Settings) -> Vec<Suspicion> {
    let mut sorted: Vec<&Proof> = proofs.iter().collect();
    sorted.sort_by_key(|p| p.at);
    let mut out = Vec::new();
    for failed in sorted.iter().filter(|p| !p.passed) {
        let good = |p: &&&Proof| {
            p.passed
                && p.tester == failed.tester
                && function(p.kind) == function(failed.kind)
                && (p.kind == failed.kind || p.moment == ProofMoment::Before)
        };
        let span_days = match failed.kind {
            ProofKind::Contact => settings.gap_hours / 24.0,
            _ => settings.proof_span_days,
        };
        let from = match failed.moment {
            ProofMoment::Before => failed.at,
            ProofMoment::After => {
                let earliest = failed.at.plus_days(-span_days);
                let last_good = sorted.iter().filter(|p| p.at < failed.at).rfind(good);
                last_good.map_or(earliest, |p| p.at.max(earliest))
            }
        };
        let latest = failed.at.plus_days(span_days);
        let next_good = sorted.iter().filter(|p| p.at > failed.at).find(good);
        let to = next_good.map_or(latest, |p| p.at.min(latest));
        out.push(Suspicion {
            tester: failed.tester.clone(),
            from,
            to,
            proof: (*failed).clone(),
            proved: next_good.map(|p| p.at),
        });
    }
    out
}

/// What a proof checks, as a number: the resistance function, the voltage function, the contact.
fn function(kind: ProofKind) -> u8 {
    match kind {
        ProofKind::Open | ProofKind::Shorted | ProofKind::KnownResistance => 0,
        ProofKind::KnownSource => 1,
        ProofKind::Contact => 2,
    }
}
