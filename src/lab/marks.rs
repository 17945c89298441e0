//! Marks: each point that is expected of a run, and what the record has of it.

use super::{LabTest, Run};
use crate::model::{Asset, Bound, Fault, Joining, ProofKind, ProofMoment, Training};
use crate::trend::words::ohms;

/// A tester may be off by 30 % (IEC 61557-2): a value nearer than that is the one put in.
const ALLOWED: f64 = 0.3;

/// The checks that belong before and after every run. Common practice, no published source.
const CHECKS: [ProofKind; 2] = [ProofKind::Open, ProofKind::Shorted];

/// Whether a point was met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Met {
    /// As expected.
    Yes,
    /// Not as expected.
    No,
    /// The record does not say.
    NotRecorded,
}

impl Met {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Met::Yes => "met",
            Met::No => "not met",
            Met::NotRecorded => "not recorded",
        }
    }
}

/// One point of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// What is looked at.
    pub point: String,
    /// What is expected.
    pub expected: String,
    /// What the record has.
    pub found: String,
    /// Whether it was met.
    pub met: Met,
}

fn mark(point: impl Into<String>, expected: impl Into<String>, found: String, met: Met) -> Mark {
    Mark { point: point.into(), expected: expected.into(), found, met }
}

/// The points of a run on a part with a known condition, in the order of the work. `rated_s` is
/// the rated duration of a test.
pub fn marks(run: &Run, asset: &Asset, known: &Training, rated_s: f64) -> Vec<Mark> {
    let mut all = Vec::new();
    for step in &run.steps {
        let (found, met) = match step.done {
            true => ("done".to_owned(), Met::Yes),
            false if step.why_not.is_empty() => ("not reached".to_owned(), Met::No),
            false => (format!("left out: {}", step.why_not), Met::No),
        };
        all.push(mark(step.name.as_str(), "done", found, met));
    }
    all.extend(checks(run, ProofMoment::Before));
    all.push(applied(run, rated_s));
    all.extend(discharge(run, asset.discharge_s.map(f64::from)));
    all.extend(checks(run, ProofMoment::After));
    all.extend(known.faults.iter().map(|fault| found(run, fault)));
    all.push(sound_paths(run, asset, known));
    all
}

fn checks(run: &Run, moment: ProofMoment) -> impl Iterator<Item = Mark> {
    CHECKS.into_iter().map(move |kind| {
        let mut of = run.checks.iter().filter(|c| (c.kind, c.moment) == (kind, moment));
        // The last one counts: a check is repeated until it is right.
        let (found, met) = match of.next_back() {
            Some(check) if check.passed => ("passed", Met::Yes),
            Some(_) => ("failed", Met::No),
            None => ("no record of it", Met::No),
        };
        mark(format!("leads {kind}, {moment} the tests"), "passed", found.to_owned(), met)
    })
}

fn applied(run: &Run, rated_s: f64) -> Mark {
    let expected = format!("{rated_s} s each");
    let stated: Vec<f64> = run.tests.iter().filter_map(|t| t.applied_s).collect();
    let point = "voltage applied";
    if stated.is_empty() {
        return mark(point, expected, "the record states no duration".into(), Met::NotRecorded);
    }
    let shortest = stated.iter().copied().fold(f64::INFINITY, f64::min);
    // Half a second is the resolution of a hand on a button.
    let met = if shortest >= rated_s - 0.5 { Met::Yes } else { Met::No };
    mark(point, expected, format!("{shortest} s at the shortest"), met)
}

/// None where nobody says how long it has to be.
fn discharge(run: &Run, asked: Option<f64>) -> Option<Mark> {
    let least = |test: &LabTest| match (test.least_s, asked) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    let longest = run.tests.iter().filter_map(least).reduce(f64::max)?;
    let expected = format!("{longest} s after each test");
    let point = "discharge waited for";
    if run.tests.iter().any(|test| test.waited_s.is_none()) {
        let (found, met) = match run.steps.is_empty() {
            true => ("there was no run sheet", Met::NotRecorded),
            false => ("not recorded after each test", Met::No),
        };
        return Some(mark(point, expected, found.into(), met));
    }
    let shortest = run.tests.iter().filter_map(|t| t.waited_s).fold(f64::INFINITY, f64::min);
    let is_long =
        |test: &LabTest| least(test).is_none_or(|s| test.waited_s.is_some_and(|w| w >= s));
    let met = if run.tests.iter().all(is_long) { Met::Yes } else { Met::No };
    Some(mark(point, expected, format!("{shortest:.0} s at the shortest"), met))
}

/// Whether two leads were on this path, whichever was where.
fn is_on(test: &LabTest, fault: &Fault) -> bool {
    let (phase, against) = (test.phase.as_str(), test.against.as_str());
    let (one, other) = (fault.phase.as_str(), fault.against.as_str());
    (phase, against) == (one, other) || (phase, against) == (other, one)
}

/// The value of a test as it is read.
fn read(test: &LabTest) -> String {
    match test.value {
        Some((value, bound)) => format!("{}{}", bound.word().replace('=', ""), ohms(value)),
        None => "no value".to_owned(),
    }
}

fn found(run: &Run, fault: &Fault) -> Mark {
    let point = format!("{} to {}", fault.phase, fault.against);
    let expected = match fault.ohms {
        Some(value) => format!("the fault of {}", ohms(value)),
        None => "the fault, below the limit".to_owned(),
    };
    let on_it: Vec<&LabTest> = run.tests.iter().filter(|test| is_on(test, fault)).collect();
    let Some(last) = on_it.last() else {
        return mark(point, expected, "not measured".into(), Met::No);
    };
    let near = |value: f64, of: f64| (value - of).abs() <= ALLOWED * of;
    let is_found = match (fault.ohms, last.value) {
        (Some(of), Some((value, Bound::Measured))) => near(value, of),
        (Some(of), Some((value, Bound::Under))) => of <= value,
        (Some(_), _) => false,
        (None, _) => last.is_below,
    };
    mark(point, expected, format!("read {}", read(last)), if is_found { Met::Yes } else { Met::No })
}

/// That nothing else reads low. Phases joined inside all see the same fault, so there nothing can
/// be said of the others.
fn sound_paths(run: &Run, asset: &Asset, known: &Training) -> Mark {
    let point = if known.is_sound() { "every path" } else { "every other path" };
    let expected = "not below a limit";
    let others: Vec<&LabTest> = run
        .tests
        .iter()
        .filter(|test| !known.faults.iter().any(|fault| is_on(test, fault)))
        .collect();
    if !known.is_sound() && asset.joining != Joining::Separable {
        let found = "its phases may be joined inside: all see the fault".to_owned();
        return mark(point, expected, found, Met::NotRecorded);
    }
    if others.is_empty() {
        return mark(point, expected, "not measured".into(), Met::No);
    }
    let low: Vec<String> = others
        .iter()
        .filter(|test| test.is_below)
        .map(|test| format!("{} to {} read {}", test.phase, test.against, read(test)))
        .collect();
    match low.is_empty() {
        true => mark(point, expected, format!("{} measured, none below", others.len()), Met::Yes),
        false => mark(point, expected, low.join("; "), Met::No),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lab::{Check, Step};
    use crate::model::{AssetId, Phase, Stamp};

    fn test(phase: &str, against: &str, ohms: f64, bound: Bound) -> LabTest {
        LabTest {
            phase: Phase::new(phase).unwrap(),
            against: against.into(),
            value: Some((ohms, bound)),
            is_below: ohms < 5e6,
            applied_s: Some(60.0),
            waited_s: Some(130.0),
            least_s: None,
        }
    }

    fn part(known: &str) -> Asset {
        Asset {
            joining: Joining::Separable,
            discharge_s: Some(120),
            training: Some(Training::parse(known).unwrap()),
            ..Asset::first_met(AssetId::new("TP-1").unwrap())
        }
    }

    fn run(tests: Vec<LabTest>) -> Run {
        let check = |moment, kind| Check { kind, moment, passed: true };
        let both = |moment| CHECKS.map(|kind| check(moment, kind));
        Run {
            asset: AssetId::new("TP-1").unwrap(),
            station: "B1".into(),
            operator: "Ines".into(),
            tester: "T-1".into(),
            began: Stamp::MIN,
            ended: Stamp::MAX,
            steps: vec![Step { name: "isolated".into(), done: true, why_not: "".into() }],
            checks: [both(ProofMoment::Before), both(ProofMoment::After)].concat(),
            tests,
        }
    }

    fn unmet(run: &Run, known: &str) -> Vec<String> {
        let asset = part(known);
        let known = asset.training.clone().unwrap();
        let all = marks(run, &asset, &known, 60.0).into_iter();
        all.filter(|m| m.met != Met::Yes).map(|m| format!("{}: {}", m.point, m.found)).collect()
    }

    #[test]
    fn a_run_that_finds_the_fault_and_nothing_else_meets_every_point() {
        use Bound::{Measured, Over};
        let known = "V to case 200 kΩ, put in on purpose";
        let tests = ["U", "V", "W"].map(|phase| match phase {
            "V" => test("V", "case", 230e3, Measured),
            other => test(other, "case", 550e6, Over),
        });
        assert_eq!(unmet(&run(tests.to_vec()), known), Vec::<String>::new());
        // The same record says of a sound part that something else was measured.
        let told = unmet(&run(tests.to_vec()), "sound");
        assert_eq!(told, ["every path: V to case read 230 kΩ"]);
    }

    #[test]
    fn what_is_missing_in_the_record_is_named() {
        use Bound::Over;
        let known = "V to case 200 kΩ; U to V 1 MΩ";
        let mut short = test("V", "case", 550e6, Over);
        (short.applied_s, short.waited_s) = (Some(10.0), Some(5.0));
        let mut run = run(vec![short]);
        run.checks.retain(|check| check.moment == ProofMoment::Before);
        run.checks[0].passed = false;
        run.steps[0] = Step { name: "isolated".into(), done: false, why_not: "no lock".into() };
        assert_eq!(
            unmet(&run, known),
            [
                "isolated: left out: no lock",
                "leads open, before the tests: failed",
                "voltage applied: 10 s at the shortest",
                "discharge waited for: 5 s at the shortest",
                "leads open, after the tests: no record of it",
                "leads shorted, after the tests: no record of it",
                "V to case: read >550 MΩ",
                "U to V: not measured",
                "every other path: not measured",
            ]
        );
    }
}
