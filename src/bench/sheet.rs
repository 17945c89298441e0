//! A run sheet as its acts have made it: what is answered, what comes next. Nothing here looks at
//! a clock or a store: the same acts always give the same sheet.

use std::collections::BTreeMap;

use super::act::{Act, Entry, GearChosen, Plan, Point, Proved};
use super::proving::NOT_TESTED_FROM_V;
use super::refusal::Refusal;
use crate::model::{AssetId, Joining, Phase, ProofKind, ProofMoment, Stamp, Text};
use crate::store::SheetKey;

/// How a point was answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// As it should be.
    Done,
    /// A check of the tester after the tests failed.
    Failed,
    /// Left out, and why.
    Skipped(Text),
}

/// One stretch of time in which values belonged to a test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attempt {
    /// From when on.
    pub begun: Stamp,
    /// When the voltage was taken off, and after how many seconds.
    pub ended: Option<(Stamp, f64)>,
}

/// One test of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// What the live lead is on.
    pub phase: Phase,
    /// Its attempts, the earlier first.
    pub attempts: Vec<Attempt>,
    /// How many of them came before it was last to be repeated.
    pub repeated: usize,
    /// Volts that remained, as last reported.
    pub residual_v: Option<f64>,
    /// Where its readings were moved, if they were.
    pub moved: Option<(AssetId, Phase)>,
    /// Why its readings were voided, if they were.
    pub voided: Option<Text>,
}

impl Test {
    /// The attempt of this round.
    pub fn attempt(&self) -> Option<&Attempt> {
        self.attempts[self.repeated..].last()
    }
}

/// How a sheet ended.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// When.
    pub at: Stamp,
    /// By whom.
    pub by: Text,
    /// Why, where not all was done.
    pub abandoned: Option<Text>,
}

/// A run sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Which.
    pub key: SheetKey,
    /// The asset chosen.
    pub asset: AssetId,
    /// How its phases were known to be joined.
    pub joining: Joining,
    /// Everything that was done, in order.
    pub log: Vec<Entry>,
    /// What is to be measured.
    pub plan: Option<Plan>,
    /// With what.
    pub gear: Option<GearChosen>,
    /// The checks of the voltage function: moment, read, expected, passed.
    pub sources: Vec<(ProofMoment, f64, f64, bool)>,
    /// The voltage at the part as last reported.
    pub voltage: Option<f64>,
    /// The checks of the resistance function, with the numbers of their steps.
    pub proofs: Vec<(u32, Proved)>,
    /// The tests of the plan.
    pub tests: Vec<Test>,
    /// How it ended; none: it is open.
    pub end: Option<End>,
    answers: BTreeMap<Point, Answer>,
}

impl Sheet {
    /// The sheet that these acts make; none where they don't begin with an opening.
    pub fn of(key: SheetKey, log: Vec<Entry>) -> Option<Sheet> {
        let Some(Act::Opened { asset, joining }) = log.first().map(|entry| &entry.act) else {
            return None;
        };
        let mut sheet = Sheet {
            key,
            asset: asset.clone(),
            joining: *joining,
            log: Vec::new(),
            plan: None,
            gear: None,
            sources: Vec::new(),
            voltage: None,
            proofs: Vec::new(),
            tests: Vec::new(),
            end: None,
            answers: BTreeMap::new(),
        };
        log.iter().filter(|entry| !is_undone(&log, entry.number)).for_each(|entry| {
            sheet.apply(entry);
        });
        sheet.log = log;
        Some(sheet)
    }

    /// The sheet with some more acts.
    pub fn with(&self, more: Vec<Entry>) -> Sheet {
        let log: Vec<Entry> = self.log.iter().cloned().chain(more).collect();
        Sheet::of(self.key.clone(), log).unwrap_or_else(|| self.clone())
    }

    /// The number of its last step: what a command has to have seen.
    pub fn version(&self) -> u32 {
        self.log.last().map_or(0, |entry| entry.number)
    }

    /// When it came to stand as it does.
    pub fn since(&self) -> Stamp {
        self.log.last().map_or(self.key.opened, |entry| entry.at)
    }

    /// All points of the plan in their order.
    pub fn points(&self) -> Vec<Point> {
        use ProofKind::{KnownResistance, Open, Shorted};
        use ProofMoment::{After, Before};
        let mut points = vec![
            Point::Plan,
            Point::Gear,
            Point::Isolated,
            Point::SourceBefore,
            Point::Voltage,
            Point::SourceAfter,
            Point::Disconnected,
        ];
        points.extend([Open, Shorted, KnownResistance].map(|kind| Point::Proof(Before, kind)));
        for test in 0..self.tests.len() {
            points.extend([Point::Contact(test), Point::Test(test), Point::Discharge(test)]);
        }
        points.extend([Open, Shorted, KnownResistance].map(|kind| Point::Proof(After, kind)));
        points.push(Point::Finish);
        points
    }

    /// How a point was answered.
    pub fn answer(&self, point: Point) -> Option<&Answer> {
        self.answers.get(&point)
    }

    /// Whether a point needs no answer, since the test that it belongs to was left out.
    pub fn is_moot(&self, point: Point) -> bool {
        let skipped = |test| matches!(self.answer(Point::Test(test)), Some(Answer::Skipped(_)));
        match point {
            Point::Contact(test) | Point::Discharge(test) => skipped(test),
            _ => false,
        }
    }

    /// What comes next; none on a sheet that has ended.
    pub fn next(&self) -> Option<Point> {
        let open = |point: &Point| self.answer(*point).is_none() && !self.is_moot(*point);
        match self.end {
            Some(_) => None,
            None => self.points().into_iter().find(open),
        }
    }

    /// The test to which values belong now, and its attempt.
    pub fn under_way(&self) -> Option<(usize, Attempt)> {
        let Some(Point::Test(test)) = self.next() else { return None };
        let attempt = self.tests[test].attempt()?;
        attempt.ended.is_none().then_some((test, *attempt))
    }

    /// Whether any test of it has begun.
    pub fn has_begun(&self) -> bool {
        self.tests.iter().any(|test| !test.attempts.is_empty())
    }

    /// Whether a failed check of the tester stands at the point that comes next.
    pub fn has_failed(&self) -> bool {
        match self.next() {
            Some(Point::Proof(moment, kind)) => {
                let mut last = self.proofs.iter().rev().map(|(_, proved)| proved);
                let here = last.find(|p| (p.moment, p.kind) == (moment, kind));
                here.is_some_and(|proved| !proved.passed)
            }
            Some(Point::SourceBefore) => self.source_failed(ProofMoment::Before),
            Some(Point::SourceAfter) => self.source_failed(ProofMoment::After),
            _ => false,
        }
    }

    fn source_failed(&self, moment: ProofMoment) -> bool {
        let last = self.sources.iter().rev().find(|source| source.0 == moment);
        last.is_some_and(|source| !source.3)
    }

    /// The last act that still stands, and may be taken back.
    pub fn undoable(&self) -> Result<&Entry, Refusal> {
        if self.end.is_some() {
            return Err(Refusal::Ended);
        }
        let mut standing = self.log.iter().rev();
        let last = standing.find(|entry| {
            !is_undone(&self.log, entry.number) && !matches!(entry.act, Act::Undone(_))
        });
        match last.map(|entry| (entry, &entry.act)) {
            None | Some((_, Act::Opened { .. })) => {
                Err(Refusal::NotUndone("there is nothing to take back"))
            }
            Some((_, Act::Ended { .. })) => {
                Err(Refusal::NotUndone("a test that has run is not taken back"))
            }
            Some((_, Act::Voided { .. } | Act::Moved { .. })) => {
                Err(Refusal::NotUndone("what was done to readings is put right at the readings"))
            }
            Some((entry, _)) => Ok(entry),
        }
    }

    fn apply(&mut self, entry: &Entry) {
        let done = |ok: bool| ok.then_some(Answer::Done);
        let (point, answer) = match &entry.act {
            Act::Opened { .. } | Act::Undone(_) => return,
            Act::Planned(plan) => {
                self.tests = plan.phases.iter().map(test_of).collect();
                self.plan = Some(plan.clone());
                (Point::Plan, Some(Answer::Done))
            }
            Act::Geared(gear) => {
                self.gear = Some(gear.clone());
                (Point::Gear, Some(Answer::Done))
            }
            Act::Confirmed(point) => (*point, Some(Answer::Done)),
            Act::Source { moment, read_v, expected_v, passed } => {
                self.sources.push((*moment, *read_v, *expected_v, *passed));
                let point = match moment {
                    ProofMoment::Before => Point::SourceBefore,
                    ProofMoment::After => Point::SourceAfter,
                };
                (point, done(*passed))
            }
            Act::Voltage(volts) => {
                self.voltage = Some(*volts);
                (Point::Voltage, done(volts.abs() < NOT_TESTED_FROM_V))
            }
            Act::Proved(proved) => {
                self.proofs.push((entry.number, proved.clone()));
                let answer = match (proved.passed, proved.moment) {
                    (true, _) => Some(Answer::Done),
                    (false, ProofMoment::After) => Some(Answer::Failed),
                    (false, ProofMoment::Before) => None,
                };
                (Point::Proof(proved.moment, proved.kind), answer)
            }
            Act::Begun(test) => {
                let Some(test) = self.tests.get_mut(*test) else { return };
                test.attempts.push(Attempt { begun: entry.at, ended: None });
                return;
            }
            Act::Ended { test, applied_s } => {
                let Some(of) = self.tests.get_mut(*test) else { return };
                if let Some(attempt) = of.attempts.last_mut() {
                    attempt.ended = Some((entry.at, *applied_s));
                }
                (Point::Test(*test), Some(Answer::Done))
            }
            Act::Discharged { test, residual_v, .. } => {
                let Some(of) = self.tests.get_mut(*test) else { return };
                of.residual_v = Some(*residual_v);
                (Point::Discharge(*test), done(residual_v.abs() < NOT_TESTED_FROM_V))
            }
            Act::Skipped { point, reason } => (*point, Some(Answer::Skipped(reason.clone()))),
            Act::Repeated(test) => {
                let points = [Point::Contact(*test), Point::Test(*test), Point::Discharge(*test)];
                points.iter().for_each(|point| drop(self.answers.remove(point)));
                if let Some(test) = self.tests.get_mut(*test) {
                    test.repeated = test.attempts.len();
                    test.residual_v = None;
                }
                return;
            }
            Act::Finished => {
                self.ended(entry, None);
                (Point::Finish, Some(Answer::Done))
            }
            Act::Abandoned(reason) => return self.ended(entry, Some(reason.clone())),
            Act::Voided { test, reason, .. } => {
                if let Some(test) = self.tests.get_mut(*test) {
                    test.voided = Some(reason.clone());
                }
                return;
            }
            Act::Moved { test: which, asset, phase, .. } => {
                for (i, test) in self.tests.iter_mut().enumerate() {
                    if which.is_none_or(|which| which == i) && !test.attempts.is_empty() {
                        let own = || test.moved.as_ref().map_or(&test.phase, |moved| &moved.1);
                        let phase = phase.clone().unwrap_or_else(|| own().clone());
                        test.moved = Some((asset.clone(), phase));
                    }
                }
                return;
            }
        };
        match answer {
            Some(answer) => self.answers.insert(point, answer),
            None => self.answers.remove(&point),
        };
    }

    fn ended(&mut self, entry: &Entry, abandoned: Option<Text>) {
        self.end = Some(End { at: entry.at, by: entry.by.clone(), abandoned });
    }
}

fn test_of(phase: &Phase) -> Test {
    Test {
        phase: phase.clone(),
        attempts: Vec::new(),
        repeated: 0,
        residual_v: None,
        moved: None,
        voided: None,
    }
}

fn is_undone(log: &[Entry], number: u32) -> bool {
    log.iter().any(|entry| entry.act == Act::Undone(number))
}
