//! What proofs of a tester do to the readings made with it.

use crate::model::{Proof, ProofKind, ProofMoment, Stamp, Text};

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
    /// Whether it covers a reading of a tester at an instant.
    pub fn covers(&self, tester: &str, at: Stamp) -> bool {
        self.tester == tester && self.from <= at && at <= self.to
    }
}

/// The stretches that failed proofs make suspect, each at most `span_days` long.
///
/// A failed proof reaches back to the last good one of its function (resistance or voltage) when
/// it was made after the readings, and in any case forward until the next good one. Of the proofs
/// made after the readings only one of the same kind says that it was good: a broken lead passes
/// for open leads, and the shorted leads show it a moment later.
pub fn suspicions(proofs: &[Proof], span_days: f64) -> Vec<Suspicion> {
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

/// The function of the tester that a proof checks.
fn function(kind: ProofKind) -> bool {
    matches!(kind, ProofKind::KnownSource)
}
