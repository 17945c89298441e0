//! A run: one person's tests of one part, with the checks of the tester around them.

use crate::dossier::{Dossier, Entry};
use crate::model::{AssetId, Bound, Outcome, Phase, Proof, ProofKind, ProofMoment, Stamp, Text};
use crate::store::{Reader, Result};

/// A check of the tester within a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What was checked.
    pub kind: ProofKind,
    /// Before or after the tests.
    pub moment: ProofMoment,
    /// Whether it passed.
    pub passed: bool,
}

/// A step of a run sheet that was confirmed, left out or never reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// What was to be done.
    pub name: Text,
    /// Whether it was done.
    pub done: bool,
    /// Why not, where a reason was given.
    pub why_not: Text,
}

/// One test of a run.
#[derive(Clone, Debug, PartialEq)]
pub struct LabTest {
    /// What the live lead was on.
    pub phase: Phase,
    /// What the other one was on.
    pub against: Text,
    /// Ohms as read, and what they mean; none: no value came.
    pub value: Option<(f64, Bound)>,
    /// Whether it reads below a limit of the part.
    pub is_below: bool,
    /// Seconds for which the voltage was applied, where that is known.
    pub applied_s: Option<f64>,
    /// Seconds waited for the discharge, where that is known.
    pub waited_s: Option<f64>,
    /// Seconds that the run sheet asked for, where there was one.
    pub least_s: Option<f64>,
}

/// What one person did on one part, as recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The part.
    pub asset: AssetId,
    /// Where.
    pub station: Text,
    /// By whom.
    pub operator: Text,
    /// With which tester.
    pub tester: Text,
    /// When it began.
    pub began: Stamp,
    /// The last thing that was recorded of it.
    pub ended: Stamp,
    /// The steps of its run sheet; empty: there was none, and readings and proofs are all there is.
    pub steps: Vec<Step>,
    /// The checks of the tester.
    pub checks: Vec<Check>,
    /// The tests in their order.
    pub tests: Vec<LabTest>,
}

impl Run {
    /// Whether another run is part of this one: the same part at the same station, begun within it.
    pub fn holds(&self, other: &Run) -> bool {
        self.asset == other.asset
            && self.station == other.station
            && (self.began..=self.ended).contains(&other.began)
    }
}

/// The runs that readings and proofs tell of, by time: readings of one person at one station with
/// one tester, no gap longer than `gap_hours`, and the proofs of that tester within the same span
/// around them. Voided readings are left out.
pub fn runs<R: Reader + ?Sized>(reader: &R, dossier: &Dossier, gap_hours: f64) -> Result<Vec<Run>> {
    let gap = gap_hours / 24.0;
    let mut runs: Vec<Run> = Vec::new();
    for entry in dossier.entries.iter().filter(|e| e.judged.corrected.voided.is_none()) {
        let r = &entry.judged.corrected.reading;
        let same = |run: &&mut Run| {
            run.operator == r.operator
                && run.station == r.station
                && run.tester == r.tester
                && r.taken_at <= run.ended.plus_days(gap)
        };
        match runs.iter_mut().rev().find(same) {
            Some(run) => {
                run.ended = r.taken_at;
                run.tests.push(test(entry));
            }
            None => runs.push(Run {
                asset: dossier.asset.id.clone(),
                station: r.station.clone(),
                operator: r.operator.clone(),
                tester: r.tester.clone(),
                began: r.taken_at,
                ended: r.taken_at,
                steps: Vec::new(),
                checks: Vec::new(),
                tests: vec![test(entry)],
            }),
        }
    }
    let proofs: Vec<Proof> =
        reader.proofs(None, dossier.when)?.into_iter().map(|row| row.value).collect();
    // What was checked between two runs belongs to both: the end of one, the start of the next.
    for run in &mut runs {
        let (from, to) = (run.began.plus_days(-gap), run.ended.plus_days(gap));
        let near = |p: &&Proof| p.tester == run.tester && (from..=to).contains(&p.at);
        let fits = |p: &&Proof| match p.moment {
            ProofMoment::Before => p.at <= run.began,
            ProofMoment::After => p.at >= run.ended,
        };
        let of_tester = proofs.iter().filter(near).filter(fits);
        run.checks = of_tester
            .filter(|p| p.kind != ProofKind::Contact)
            .map(|p| Check { kind: p.kind, moment: p.moment, passed: p.passed })
            .collect();
    }
    Ok(runs)
}

fn test(entry: &Entry) -> LabTest {
    let r = &entry.judged.corrected.reading;
    LabTest {
        phase: r.series.phase.clone(),
        against: r.series.against.clone(),
        value: Some((r.ohms, r.bound)),
        is_below: entry.outcomes.iter().any(|(_, outcome)| *outcome == Outcome::Below),
        applied_s: r.duration_s,
        waited_s: None,
        least_s: None,
    }
}
