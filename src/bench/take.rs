//! What a person asks of a run sheet becomes acts, or is refused with the reason. Pure: the time,
//! the registers and what the stream has brought are arguments.

use super::act::{Act, Entry, GearChosen, Plan, Point, Proved, Value};
use super::gear::{self, Load};
use super::proving::{self, NOT_TESTED_FROM_V, Settings};
use super::refusal::Refusal;
use super::sheet::{Answer, Sheet};
use super::words;
use crate::model::{
    Asset, AssetId, Correction, CorrectionKind, Gear, Invalid, Phase, Proof, ProofKind,
    ProofMoment, ReadingId, Stamp, Text, Volts,
};
use crate::store::Change;

/// What a person asks.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// This is to be measured.
    Plan(Plan),
    /// With this.
    Gear {
        /// The tester's id.
        tester: Text,
        /// Leads, gloves, sources.
        parts: Vec<Text>,
    },
    /// It is so.
    Confirm(Point),
    /// The voltage function showed this on the known source.
    Source {
        /// What was read, in volts.
        read_v: f64,
        /// What the source gives, in volts.
        expected_v: f64,
    },
    /// The voltage at the part, as read.
    Voltage(f64),
    /// The tester showed this; none: what the stream has brought.
    Prove {
        /// Read from the display.
        by_hand: Option<Value>,
        /// A known resistance's own value in ohm.
        expected_ohm: Option<f64>,
    },
    /// The voltage goes on.
    Begin,
    /// The voltage is off.
    End,
    /// Discharged; so many volts remain.
    Discharged(f64),
    /// That is left out.
    Skip {
        /// Which point.
        point: Point,
        /// Why.
        reason: Text,
    },
    /// The last step was a mistake.
    Undo,
    /// Make this test again.
    Repeat(usize),
    /// All is done.
    Finish,
    /// It ends here.
    Abandon(Text),
    /// The readings of a test don't count.
    Void {
        /// Which test.
        test: usize,
        /// Why.
        reason: Text,
    },
    /// The readings belong elsewhere.
    Move {
        /// Of which test; none: of all.
        test: Option<usize>,
        /// The asset meant.
        asset: AssetId,
        /// The phase meant; none: as it is.
        phase: Option<Phase>,
        /// Why.
        reason: Text,
    },
}

/// What is known when a command is given.
#[derive(Clone, Copy, Debug)]
pub struct Facts<'a> {
    /// The time.
    pub now: Stamp,
    /// The asset of the sheet as registered.
    pub asset: &'a Asset,
    /// The gear register.
    pub gear: &'a [Gear],
    /// The last value of the stream since the last step.
    pub live: Option<Value>,
    /// Whether the stream itself tells when a test begins.
    pub starts_itself: bool,
    /// Readings of each test, with their seconds.
    pub readings: &'a [Vec<(ReadingId, Option<f64>)>],
    /// Seconds of the test under way, as the stream has told.
    pub applied_s: Option<f64>,
    /// The numbers of the workshop.
    pub settings: &'a Settings,
}

/// What is to be recorded: all of it or nothing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Taken {
    /// The acts, in order.
    pub acts: Vec<Act>,
    /// What they change beside the sheet.
    pub changes: Vec<Change>,
}

/// Longest test that a sheet takes, in seconds: an hour, as for absorption studies.
const LONGEST_S: f64 = 3_600.0;

/// Most tests on one sheet.
const MOST_TESTS: usize = 24;

/// The opening of a sheet for an asset, unless it is one that is never tested with an insulation
/// tester.
pub(super) fn open(asset: &Asset, energised: bool) -> Result<Act, Refusal> {
    let refused = |what: String| Refusal::Energised { asset: asset.id.clone(), what };
    if let Some(word) = proving::brings_energy(asset) {
        return Err(refused(format!("a source of energy (`{word}`)")));
    }
    if energised {
        return Err(refused("said to be energised".into()));
    }
    Ok(Act::Opened { asset: asset.id.clone(), joining: asset.joining })
}

/// What a command makes of a sheet.
pub fn take(sheet: &Sheet, command: &Command, facts: &Facts<'_>) -> Result<Taken, Refusal> {
    if let Command::Void { test, reason } = command {
        return void(sheet, *test, reason, facts);
    }
    if let Command::Move { test, asset, phase, reason } = command {
        return moved(sheet, *test, (asset, phase.as_ref()), reason, facts);
    }
    let next = sheet.next().ok_or(Refusal::Ended)?;
    let not_next = || Refusal::NotNext { next: words::point(sheet, next) };
    let one = |act: Act| Ok(Taken { acts: vec![act], changes: Vec::new() });
    let turn = |point: Point| if next == point { Ok(()) } else { Err(not_next()) };
    match command {
        Command::Plan(plan) => {
            turn(Point::Plan)?;
            one(Act::Planned(checked(plan)?))
        }
        Command::Gear { tester, parts } => {
            turn(Point::Gear)?;
            one(Act::Geared(geared(sheet, tester, parts, facts)?))
        }
        Command::Confirm(point) => {
            turn(*point)?;
            confirm(sheet, *point, facts)
        }
        Command::Source { read_v, expected_v } => {
            let moment = match next {
                Point::SourceBefore => ProofMoment::Before,
                Point::SourceAfter => ProofMoment::After,
                _ => return Err(not_next()),
            };
            let (read_v, expected_v) = (volts(*read_v)?, volts(*expected_v)?);
            let passed = proving::source_passes(read_v, expected_v);
            let act = Act::Source { moment, read_v, expected_v, passed };
            proof(sheet, facts, act)
        }
        Command::Voltage(read) => {
            turn(Point::Voltage)?;
            let read = volts(*read)?;
            if read.abs() >= NOT_TESTED_FROM_V {
                let least = NOT_TESTED_FROM_V;
                return Err(Refusal::Voltage { volts: read, least });
            }
            one(Act::Voltage(read))
        }
        Command::Prove { by_hand, expected_ohm } => {
            let Point::Proof(moment, kind) = next else { return Err(not_next()) };
            let value = by_hand.or(facts.live).ok_or(Refusal::NoValue)?;
            let tester = sheet.gear.as_ref().map(|gear| &gear.tester);
            let tester = facts.gear.iter().find(|gear| Some(&gear.id) == tester);
            let expected_ohm = expected_ohm.filter(|_| kind == ProofKind::KnownResistance);
            let passed = proving::passes(kind, value, expected_ohm, tester, facts.settings);
            let by_hand = by_hand.is_some();
            let proved = Proved { kind, moment, value, expected_ohm, passed, by_hand };
            if kind == ProofKind::KnownResistance && expected_ohm.is_none() {
                let expected = "the known resistance's own value";
                return Err(Invalid::new("expected_ohm", expected, "").into());
            }
            proof(sheet, facts, Act::Proved(proved))
        }
        Command::Begin => {
            let Point::Test(test) = next else { return Err(not_next()) };
            match sheet.under_way() {
                Some(_) => Err(Refusal::UnderWay(sheet.tests[test].phase.to_string())),
                None => one(Act::Begun(test)),
            }
        }
        Command::End => {
            let (test, attempt) = sheet.under_way().ok_or_else(not_next)?;
            let longest = facts.readings.get(test).into_iter().flatten().filter_map(|r| r.1);
            let told = longest
                .chain(facts.applied_s)
                .fold(None, |a: Option<f64>, b| Some(a.map_or(b, |a| a.max(b))));
            let applied_s = told.unwrap_or_else(|| seconds(attempt.begun, facts.now));
            one(Act::Ended { test, applied_s })
        }
        Command::Discharged(residual_v) => {
            let Point::Discharge(test) = next else { return Err(not_next()) };
            let residual_v = volts(*residual_v)?;
            let (waited_s, least_s) = wait(sheet, test, facts).ok_or_else(not_next)?;
            if waited_s < least_s {
                return Err(Refusal::TooSoon(words::seconds(least_s - waited_s)));
            }
            one(Act::Discharged { test, waited_s, least_s, residual_v })
        }
        Command::Skip { point, reason } => skip(sheet, next, *point, reason, facts),
        Command::Undo => undo(sheet, facts),
        Command::Repeat(test) => {
            if let Some((under_way, _)) = sheet.under_way() {
                return Err(Refusal::UnderWay(sheet.tests[under_way].phase.to_string()));
            }
            match sheet.tests.get(*test) {
                Some(of) if !of.attempts.is_empty() => one(Act::Repeated(*test)),
                _ => Err(Refusal::NoReadings),
            }
        }
        Command::Finish => {
            turn(Point::Finish)?;
            one(Act::Finished)
        }
        Command::Abandon(reason) => {
            if let Some((test, _)) = sheet.under_way() {
                return Err(Refusal::UnderWay(sheet.tests[test].phase.to_string()));
            }
            one(Act::Abandoned(reasoned(reason)?))
        }
        Command::Void { .. } | Command::Move { .. } => Err(Refusal::Ended),
    }
}

/// Seconds since the voltage of a test was taken off, and those that it has to discharge.
pub(super) fn wait(sheet: &Sheet, test: usize, facts: &Facts<'_>) -> Option<(f64, f64)> {
    let (at, applied_s) = sheet.tests.get(test)?.attempt()?.ended?;
    let least_s = proving::discharge_s(facts.asset.discharge_s, applied_s, facts.settings);
    Some((seconds(at, facts.now), least_s))
}

/// Seconds from one instant to another; 0 where a clock was set back.
fn seconds(from: Stamp, to: Stamp) -> f64 {
    to.micros().saturating_sub(from.micros()).max(0) as f64 / 1e6
}

fn checked(plan: &Plan) -> Result<Plan, Refusal> {
    let n = plan.phases.len();
    if n == 0 || n > MOST_TESTS {
        let expected = format!("1 to {MOST_TESTS} phases to test");
        return Err(Invalid::new("phases", expected, n).into());
    }
    if let Some(twice) = plan.phases.iter().enumerate().find(|(i, p)| plan.phases[..*i].contains(p))
    {
        return Err(Invalid::new("phases", "each phase once", twice.1).into());
    }
    Volts::new("test_voltage_v", plan.test_voltage_v)?;
    if !(plan.rated_s > 0.0 && plan.rated_s <= LONGEST_S) {
        let expected = format!("seconds above 0 and up to {LONGEST_S}");
        return Err(Invalid::new("rated_s", expected, plan.rated_s).into());
    }
    if plan.operator.is_empty() {
        return Err(Invalid::new("operator", "the name of who tests", "").into());
    }
    let within = |value: f64, low: f64, high: f64| (low..=high).contains(&value);
    match plan.temperature {
        Some((celsius, _)) if !within(celsius, -90.0, 400.0) => {
            Err(Invalid::new("temperature_c", "a number from -90 to 400", celsius).into())
        }
        _ => match plan.humidity_pct {
            Some(pct) if !within(pct, 0.0, 100.0) => {
                Err(Invalid::new("humidity_pct", "a number from 0 to 100", pct).into())
            }
            _ => Ok(plan.clone()),
        },
    }
}

fn geared(
    sheet: &Sheet,
    tester: &Text,
    parts: &[Text],
    facts: &Facts<'_>,
) -> Result<GearChosen, Refusal> {
    let test_v = sheet.plan.as_ref().map_or(0.0, |plan| plan.test_voltage_v);
    let load = Load { test_v, asset_v: facts.asset.rated_voltage_v };
    gear::choose(tester, parts, facts.gear, load, facts.now)
}

fn confirm(sheet: &Sheet, point: Point, facts: &Facts<'_>) -> Result<Taken, Refusal> {
    let acts = match point {
        Point::Isolated | Point::Disconnected => vec![Act::Confirmed(point)],
        // Where the stream tells when a test begins, the first value after this is of it.
        Point::Contact(test) if facts.starts_itself => {
            vec![Act::Confirmed(point), Act::Begun(test)]
        }
        Point::Contact(_) => vec![Act::Confirmed(point)],
        _ => return Err(Refusal::NotNext { next: words::point(sheet, point) }),
    };
    let changes = row(sheet, facts.now, &acts[0]).map(Change::Proof).into_iter().collect();
    Ok(Taken { acts, changes })
}

/// A check of the tester, with its row in the register of proofs.
fn proof(sheet: &Sheet, facts: &Facts<'_>, act: Act) -> Result<Taken, Refusal> {
    let row = row(sheet, facts.now, &act).map(Change::Proof);
    Ok(Taken { acts: vec![act], changes: row.into_iter().collect() })
}

/// The row that a check has in the register of proofs.
fn row(sheet: &Sheet, at: Stamp, act: &Act) -> Option<Proof> {
    let tester = sheet.gear.as_ref()?.tester.clone();
    let (kind, value, unit, passed, moment) = match act {
        Act::Source { moment, read_v, passed, .. } => {
            (ProofKind::KnownSource, Some(*read_v), "V", *passed, *moment)
        }
        Act::Proved(p) => (p.kind, Some(p.value.ohms), "Ω", p.passed, p.moment),
        // It holds for the readings that follow, up to the next contact.
        Act::Confirmed(Point::Contact(_)) => {
            (ProofKind::Contact, None, "", true, ProofMoment::Before)
        }
        Act::Skipped { point: Point::Contact(_), .. } => {
            (ProofKind::Contact, None, "", false, ProofMoment::Before)
        }
        _ => return None,
    };
    let remark = format!("run sheet of {}, {}", sheet.key.station, sheet.asset);
    let (unit, remark) = (unit.into(), remark.into());
    Some(Proof { at, tester, kind, value, unit, passed, moment, remark })
}

fn skip(
    sheet: &Sheet,
    next: Point,
    point: Point,
    reason: &Text,
    facts: &Facts<'_>,
) -> Result<Taken, Refusal> {
    let whole_test = matches!((next, point), (Point::Contact(a), Point::Test(b)) if a == b);
    if point != next && !whole_test {
        return Err(Refusal::NotNext { next: words::point(sheet, next) });
    }
    match point {
        Point::Plan | Point::Gear | Point::Isolated | Point::Voltage | Point::Finish => {
            return Err(Refusal::Needed(words::point(sheet, point)));
        }
        _ if sheet.has_failed() => return Err(Refusal::ProofFailed),
        Point::Test(test) if sheet.under_way().is_some() => {
            return Err(Refusal::UnderWay(sheet.tests[test].phase.to_string()));
        }
        _ => {}
    }
    let act = Act::Skipped { point, reason: reasoned(reason)? };
    proof(sheet, facts, act)
}

fn undo(sheet: &Sheet, facts: &Facts<'_>) -> Result<Taken, Refusal> {
    let Entry { number, at, act, .. } = sheet.undoable()?;
    if let Act::Begun(test) = act
        && (facts.applied_s.is_some() || facts.readings.get(*test).is_some_and(|r| !r.is_empty()))
    {
        return Err(Refusal::NotUndone("values of this test have come already"));
    }
    let changes = row(sheet, *at, act).map(Change::ProofVoid).into_iter().collect();
    Ok(Taken { acts: vec![Act::Undone(*number)], changes })
}

fn void(sheet: &Sheet, test: usize, reason: &Text, facts: &Facts<'_>) -> Result<Taken, Refusal> {
    let reason = reasoned(reason)?;
    let ids = ids(sheet, Some(test), facts)?;
    let changes = corrections(&ids, &reason, |_| CorrectionKind::Void);
    let act = Act::Voided { test, readings: ids.len(), reason };
    Ok(Taken { acts: vec![act], changes })
}

fn moved(
    sheet: &Sheet,
    test: Option<usize>,
    (asset, phase): (&AssetId, Option<&Phase>),
    reason: &Text,
    facts: &Facts<'_>,
) -> Result<Taken, Refusal> {
    let reason = reasoned(reason)?;
    let ids = ids(sheet, test, facts)?;
    let changes = corrections(&ids, &reason, |test| CorrectionKind::Move {
        asset: asset.clone(),
        phase: phase.cloned().unwrap_or_else(|| match &sheet.tests[test].moved {
            Some((_, phase)) => phase.clone(),
            None => sheet.tests[test].phase.clone(),
        }),
    });
    let (asset, phase) = (asset.clone(), phase.cloned());
    let act = Act::Moved { test, asset, phase, readings: ids.len(), reason };
    Ok(Taken { acts: vec![act], changes })
}

/// The readings of a test, or of all.
fn ids(
    sheet: &Sheet,
    test: Option<usize>,
    facts: &Facts<'_>,
) -> Result<Vec<(usize, ReadingId)>, Refusal> {
    if let Some((under_way, _)) = sheet.under_way() {
        return Err(Refusal::UnderWay(sheet.tests[under_way].phase.to_string()));
    }
    let all = facts.readings.iter().take(sheet.tests.len()).enumerate();
    let of = all.filter(|(i, _)| test.is_none_or(|test| test == *i));
    let ids: Vec<_> = of.flat_map(|(i, ids)| ids.iter().map(move |(id, _)| (i, *id))).collect();
    if ids.is_empty() { Err(Refusal::NoReadings) } else { Ok(ids) }
}

fn corrections(
    ids: &[(usize, ReadingId)],
    reason: &Text,
    kind: impl Fn(usize) -> CorrectionKind,
) -> Vec<Change> {
    let correction = |&(test, reading): &(usize, ReadingId)| {
        Change::Correction(Correction { reading, kind: kind(test), reason: reason.clone() })
    };
    ids.iter().map(correction).collect()
}

fn reasoned(reason: &Text) -> Result<Text, Refusal> {
    if reason.is_empty() { Err(Refusal::NoReason) } else { Ok(reason.clone()) }
}

fn volts(volts: f64) -> Result<f64, Refusal> {
    match volts.is_finite() && volts.abs() <= 1e6 {
        true => Ok(volts),
        false => Err(Invalid::new("volts", "a voltage up to 1000000 V", volts).into()),
    }
}

impl Sheet {
    /// The checks after the tests that failed.
    pub fn failed_after(&self) -> impl Iterator<Item = &Proved> {
        let after = |p: &&Proved| p.moment == ProofMoment::After && !p.passed;
        let failed =
            |p: &&Proved| self.answer(Point::Proof(p.moment, p.kind)) == Some(&Answer::Failed);
        self.proofs.iter().map(|(_, proved)| proved).filter(after).filter(failed)
    }
}
