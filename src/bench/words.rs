//! The points of the sheet in words.

use super::act::{Act, Entry, Point, Value};
use super::sheet::Sheet;
use crate::model::{Bound, ProofKind, ProofMoment};
use crate::trend::words::ohms;

/// What a point is called, in a phrase that can stand in a sentence.
pub fn point(sheet: &Sheet, point: Point) -> String {
    let phase = |test: usize| sheet.tests.get(test).map_or("?", |test| test.phase.as_str());
    match point {
        Point::Plan => "what is to be measured".into(),
        Point::Gear => "the gear".into(),
        Point::Isolated => "isolating and locking".into(),
        Point::SourceBefore => "the known source, before".into(),
        Point::Voltage => "the voltage at the part".into(),
        Point::SourceAfter => "the known source, after".into(),
        Point::Disconnected => "disconnecting what the test voltage can harm".into(),
        Point::Proof(moment, kind) => {
            let when = match moment {
                ProofMoment::Before => "before",
                ProofMoment::After => "after",
            };
            let what = match kind {
                ProofKind::Open => "open leads",
                ProofKind::Shorted => "shorted leads",
                ProofKind::KnownResistance => "the known resistance",
                ProofKind::KnownSource => "the known source",
                ProofKind::Contact => "contact",
            };
            format!("{what}, {when} the tests")
        }
        Point::Contact(test) => format!("contact at {}", phase(test)),
        Point::Test(test) => format!("the test of {}", phase(test)),
        Point::Discharge(test) => format!("discharging {}", phase(test)),
        Point::Finish => "finishing".into(),
    }
}

/// Seconds as people say them: `45 s`, `4 min`, `3 min 20 s`.
pub fn seconds(seconds: f64) -> String {
    let whole = seconds.max(0.0).ceil() as u64;
    match (whole / 60, whole % 60) {
        (0, s) => format!("{s} s"),
        (m, 0) => format!("{m} min"),
        (m, s) => format!("{m} min {s} s"),
    }
}

/// A step in words, with who did it: `Ines: contact at U confirmed`.
pub fn entry(sheet: &Sheet, entry: &Entry) -> String {
    format!("{}: {}", entry.by, act(sheet, &entry.act))
}

/// An act in words.
pub fn act(sheet: &Sheet, act: &Act) -> String {
    let point = |of: Point| point(sheet, of);
    let phase = |test: &usize| sheet.tests.get(*test).map_or("?", |test| test.phase.as_str());
    let verdict = |passed: &bool| if *passed { "passed" } else { "failed" };
    match act {
        Act::Opened { asset, .. } => format!("opened for {asset}"),
        Act::Planned(plan) => {
            let phases: Vec<&str> = plan.phases.iter().map(|phase| phase.as_str()).collect();
            let (volts, rated) = (plan.test_voltage_v, seconds(plan.rated_s));
            let setup = match plan.setup.as_str() {
                "" => String::new(),
                setup => format!(", {setup}"),
            };
            format!("to be measured: {} at {volts} V for {rated}{setup}", phases.join(", "))
        }
        Act::Geared(gear) => format!("gear: {}; the set: {}", gear.tester, gear.weakest),
        Act::Confirmed(of) => format!("{} confirmed", point(*of)),
        Act::Source { moment, read_v, expected_v, passed } => format!(
            "known source of {expected_v} V {moment} the look at the part: {read_v} V read, {}",
            verdict(passed)
        ),
        Act::Voltage(volts) => format!("{volts} V reported at the part"),
        Act::Proved(proved) => {
            let of = point(Point::Proof(proved.moment, proved.kind));
            let by = if proved.by_hand { " (from the display)" } else { "" };
            format!("{of}: {}{by}, {}", value(&proved.value), verdict(&proved.passed))
        }
        Act::Begun(test) => format!("test of {} may begin", phase(test)),
        Act::Ended { test, applied_s } => {
            format!("test of {} ended after {}", phase(test), seconds(*applied_s))
        }
        Act::Discharged { test, waited_s, residual_v, .. } => format!(
            "{} discharged for {}; {} V reported",
            phase(test),
            seconds(*waited_s),
            residual_v
        ),
        Act::Skipped { point: of, reason } => format!("{} left out: {reason}", point(*of)),
        Act::Undone(number) => format!("step {number} taken back"),
        Act::Repeated(test) => format!("{} is to be tested again", phase(test)),
        Act::Finished => "finished".into(),
        Act::Abandoned(reason) => format!("ended before all was done: {reason}"),
        Act::Voided { test, readings, reason } => {
            format!("{readings} readings of {} voided: {reason}", phase(test))
        }
        Act::Moved { test, asset, phase: to, readings, reason } => {
            let what = test.as_ref().map_or("all tests", |test| phase(test));
            let to = to.as_ref().map(|to| format!(" {to}")).unwrap_or_default();
            format!("{readings} readings of {what} moved to {asset}{to}: {reason}")
        }
    }
}

/// A value as an instrument shows it: `> 550 MΩ`.
pub fn value(value: &Value) -> String {
    let mark = match value.bound {
        Bound::Measured => "",
        Bound::Over => "> ",
        Bound::Under => "< ",
    };
    format!("{mark}{}", ohms(value.ohms))
}
