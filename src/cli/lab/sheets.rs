//! A run sheet as a run of the lab: its steps, checks and waits, with what its tests have read.

use crate::bench::{Act, Answer, Point, Sheet, TestResult, words};
use crate::lab::{Check, LabTest, Run, Step};
use crate::model::{CASE, Outcome, ProofKind};

/// The run of a sheet; none where nothing was planned yet.
pub(super) fn run(sheet: &Sheet, results: &[TestResult]) -> Option<Run> {
    let plan = sheet.plan.as_ref()?;
    let checks = sheet.proofs.iter().map(|(_, proved)| Check {
        kind: proved.kind,
        moment: proved.moment,
        passed: proved.passed,
    });
    let last = sheet.log.last().map_or(sheet.key.opened, |entry| entry.at);
    Some(Run {
        asset: sheet.asset.clone(),
        station: sheet.key.station.clone(),
        operator: plan.operator.clone(),
        tester: sheet.gear.as_ref().map(|gear| gear.tester.clone()).unwrap_or_default(),
        began: sheet.key.opened,
        ended: last,
        steps: steps(sheet),
        checks: checks.collect(),
        tests: (0..sheet.tests.len()).filter_map(|test| tested(sheet, results, test)).collect(),
    })
}

/// The steps that are no test and none of the checks that a lab sheet marks for themselves. The
/// sheet asks for them one after the other, so what is done was done in order.
fn steps(sheet: &Sheet) -> Vec<Step> {
    let is_own = |point: &Point| {
        !matches!(
            point,
            Point::Test(_)
                | Point::Proof(_, ProofKind::Open | ProofKind::Shorted)
                | Point::Plan
                | Point::Gear
        ) && !sheet.is_moot(*point)
    };
    let step = |point: Point| {
        let (done, why_not) = match sheet.answer(point) {
            Some(Answer::Done) => (true, "".into()),
            Some(Answer::Failed) => (false, "it failed".into()),
            Some(Answer::Skipped(why)) => (false, why.clone()),
            None if point == Point::Finish => finish(sheet),
            None => (false, "".into()),
        };
        Step { name: words::point(sheet, point).into(), done, why_not }
    };
    sheet.points().into_iter().filter(is_own).map(step).collect()
}

/// A sheet is finished by its end, unless it was given up.
fn finish(sheet: &Sheet) -> (bool, crate::model::Text) {
    match &sheet.end {
        Some(end) => (end.abandoned.is_none(), end.abandoned.clone().unwrap_or_default()),
        None => (false, "".into()),
    }
}

/// A test that was begun; none for one that was left out.
fn tested(sheet: &Sheet, results: &[TestResult], which: usize) -> Option<LabTest> {
    let test = &sheet.tests[which];
    let attempt = test.attempt()?;
    let result = results.iter().find(|result| result.test == which);
    let waited = sheet.log.iter().rev().find_map(|entry| match entry.act {
        Act::Discharged { test, waited_s, least_s, .. } if test == which => {
            Some((waited_s, least_s))
        }
        _ => None,
    });
    Some(LabTest {
        phase: test.phase.clone(),
        against: CASE.into(),
        value: result.map(|result| (result.shown.value.ohms, result.shown.value.bound)),
        is_below: result
            .is_some_and(|result| result.outcomes.iter().any(|(_, o)| *o == Outcome::Below)),
        applied_s: attempt.ended.map(|(_, seconds)| seconds),
        waited_s: waited.map(|(waited, _)| waited),
        least_s: waited.map(|(_, least)| least),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Entry, GearChosen, Plan, Proved, Value};
    use crate::model::{AssetId, Bound, Joining, Phase, ProofMoment, Stamp, Text};
    use crate::store::SheetKey;

    /// A sheet on which the voltage at the part was skipped, U tested, and V left out.
    fn sheet() -> Sheet {
        let proved = |moment, kind| {
            let value = Value { ohms: 1e6, bound: Bound::Over };
            Act::Proved(Proved {
                kind,
                moment,
                value,
                expected_ohm: None,
                passed: true,
                by_hand: false,
            })
        };
        let why: Text = "no known source in class".into();
        let acts = vec![
            Act::Opened { asset: AssetId::new("TP-1").unwrap(), joining: Joining::Separable },
            Act::Planned(Plan {
                phases: ["U", "V"].map(|p| Phase::new(p).unwrap()).into(),
                setup: "".into(),
                test_voltage_v: 500.0,
                rated_s: 60.0,
                operator: "Ines".into(),
                temperature: None,
                humidity_pct: None,
            }),
            Act::Geared(GearChosen {
                tester: "T-1".into(),
                parts: Vec::new(),
                weakest: "".into(),
                warnings: Vec::new(),
            }),
            Act::Confirmed(Point::Isolated),
            Act::Skipped { point: Point::SourceBefore, reason: why },
            proved(ProofMoment::Before, ProofKind::Open),
            Act::Begun(0),
            Act::Ended { test: 0, applied_s: 61.0 },
            Act::Discharged { test: 0, waited_s: 250.0, least_s: 244.0, residual_v: 0.0 },
            Act::Skipped { point: Point::Test(1), reason: "time was up".into() },
            Act::Abandoned("time was up".into()),
        ];
        let log = acts.into_iter().zip(1..).map(|(act, number)| Entry {
            number,
            at: Stamp::from_micros(i64::from(number) * 1_000_000),
            by: "Ines".into(),
            act,
        });
        let key = SheetKey { station: "B1".into(), opened: Stamp::from_micros(1_000_000) };
        Sheet::of(key, log.collect()).unwrap()
    }

    #[test]
    fn a_sheet_tells_its_steps_checks_and_waits() {
        let run = run(&sheet(), &[]).unwrap();
        assert_eq!((run.operator.as_str(), run.tester.as_str()), ("Ines", "T-1"));
        assert_eq!(run.checks.len(), 1);
        let not_done: Vec<_> = run.steps.iter().filter(|s| !s.done).collect();
        let told = |name: &str| not_done.iter().find(|s| s.name == name).map(|s| &*s.why_not);
        assert_eq!(told("the known source, before"), Some("no known source in class"));
        assert_eq!(told("the voltage at the part"), Some(""));
        assert_eq!(told("finishing"), Some("time was up"));
        assert!(run.steps.iter().any(|s| s.name == "isolating and locking" && s.done));
        assert!(run.steps.iter().all(|s| s.name != "contact at V"), "V was left out");
        assert_eq!(run.tests.len(), 1);
        let test = &run.tests[0];
        assert_eq!((test.applied_s, test.waited_s), (Some(61.0), Some(250.0)));
        assert_eq!((test.value, test.least_s), (None, Some(244.0)));
    }
}
