//! What is due: tests of assets, proofs and calibrations of testers, retests of gloves. And the one
//! finding that comes with the calendar and not with a reading: not tested in time.
//!
//! Nothing is due that nobody stated an interval or a date for. What was measured counts as tested
//! unless a person voided it; readings that a failed proof leaves out are the tester's finding.

use std::collections::{BTreeMap, BTreeSet};

use super::{Brief, DossierError, Evidence, Fleet, Records, Settings, Standing};
use crate::model::{
    Asset, AssetId, Bound, CorrectionKind, Finding, FindingKind, FindingState, Gear, GearKind,
    ProofKind, Stamp, Text, words,
};
use crate::store::{Reader, When};
use crate::trend::words::ohms;
use crate::visits::Corrected;

words!(
    /// What is to be done.
    Task, "task", {
    /// Test an asset.
    Test => "test",
    /// Prove a tester.
    Proof => "proof",
    /// Have a tester or a reference calibrated.
    Calibration => "calibration",
    /// Have gloves, a lead or other gear tested again.
    Retest => "retest",
});

/// Something that is to be done again.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// What.
    pub task: Task,
    /// With which asset or piece of gear.
    pub id: Text,
    /// What that is.
    pub kind: Text,
    /// When it was done last; none: never, or not known.
    pub last: Option<Stamp>,
    /// When it is due; none: since ever, as it was never done.
    pub due: Option<Stamp>,
    /// Days from one time to the next, where that is stated.
    pub every_days: Option<u32>,
}

/// Everything that is due at some time, soonest first: what was never done before all.
pub fn due<R: Reader + ?Sized>(
    reader: &R,
    when: When,
    settings: &Settings,
) -> Result<Vec<Due>, DossierError> {
    let mut all = tests(reader, when, settings)?;
    let mut proved: BTreeMap<Text, Stamp> = BTreeMap::new();
    for row in reader.proofs(None, when)? {
        if row.value.passed && row.value.kind != ProofKind::Contact {
            let last = proved.entry(row.value.tester).or_insert(row.value.at);
            *last = row.value.at.max(*last);
        }
    }
    for row in reader.gear(when)? {
        all.extend(of_gear(&row.value, proved.get(&row.value.id).copied()));
    }
    all.sort_by(|a, b| (a.due, a.task, &a.id).cmp(&(b.due, b.task, &b.id)));
    Ok(all)
}

fn of_gear(gear: &Gear, proved: Option<Stamp>) -> impl Iterator<Item = Due> {
    let of = |task, last, due, every_days| Due {
        task,
        id: gear.id.clone(),
        kind: gear.kind.word().into(),
        last,
        due,
        every_days,
    };
    let proof = gear.proof_days.map(|days| {
        of(Task::Proof, proved, proved.map(|at| at.plus_days(f64::from(days))), Some(days))
    });
    let task = match gear.kind {
        GearKind::Tester | GearKind::KnownSource | GearKind::KnownResistance => Task::Calibration,
        GearKind::Gloves | GearKind::Lead | GearKind::Other => Task::Retest,
    };
    let check = gear.due.map(|due| of(task, None, Some(due), None));
    proof.into_iter().chain(check)
}

/// When each asset in service that has an interval is to be tested next.
pub fn tests<R: Reader + ?Sized>(
    reader: &R,
    when: When,
    settings: &Settings,
) -> Result<Vec<Due>, DossierError> {
    let fleet = Fleet::read(reader, when)?;
    let asked: Vec<(&Asset, u32)> =
        fleet.in_service().filter_map(|asset| Some((asset, asset.interval_days?))).collect();
    if asked.is_empty() {
        return Ok(Vec::new());
    }
    let mut last: BTreeMap<AssetId, Stamp> = BTreeMap::new();
    for (asset, at) in reader.last_taken(when)? {
        let newest = last.entry(fleet.survivor(&asset).clone()).or_insert(at);
        *newest = at.max(*newest);
    }
    // Where people corrected readings, the newest one may not count, or came from elsewhere.
    let records = Records::new(reader, when, settings)?;
    let corrected: BTreeSet<AssetId> =
        corrected(reader, when)?.iter().map(|asset| fleet.survivor(asset).clone()).collect();
    for asset in corrected {
        match records.last_tested(&asset)? {
            Some(at) => last.insert(asset, at),
            None => last.remove(&asset),
        };
    }
    let tests = asked.into_iter().map(|(asset, days)| {
        let last = last.get(&asset.id).copied();
        Due {
            task: Task::Test,
            id: asset.id.as_str().into(),
            kind: asset.kind.clone(),
            last,
            due: last.map(|at| at.plus_days(f64::from(days))),
            every_days: Some(days),
        }
    });
    Ok(tests.collect())
}

/// The assets whose readings people corrected.
fn corrected<R: Reader + ?Sized>(
    reader: &R,
    when: When,
) -> Result<BTreeSet<AssetId>, DossierError> {
    let mut assets = BTreeSet::new();
    for row in reader.all_corrections(when)? {
        if let Some(stored) = reader.find(row.value.reading)?.filter(|stored| !stored.in_tray) {
            assets.insert(stored.reading.series.asset.clone());
        }
        if let CorrectionKind::Move { asset, .. } = row.value.kind {
            assets.insert(asset);
        }
    }
    Ok(assets)
}

/// A test that was not followed by another in time.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Wait {
    taken_at: Stamp,
    ohms: f64,
    bound: Bound,
    /// When it was due again.
    due: Stamp,
    /// The next test; none yet.
    next: Option<Stamp>,
}

/// Finds the waits of an asset, test by test.
pub(super) struct Waits {
    days: Option<u32>,
    last: Option<Wait>,
    all: Vec<Wait>,
}

impl Waits {
    /// Of an asset: there are none where nobody said how often it is to be tested.
    pub(super) fn of(asset: &Asset) -> Self {
        Waits { days: asset.interval_days, last: None, all: Vec::new() }
    }

    /// Takes the next reading, by time; a voided one is no test.
    pub(super) fn add(&mut self, c: &Corrected) {
        let (Some(days), None) = (self.days, &c.voided) else { return };
        let r = &c.reading;
        if let Some(last) = self.last.take()
            && last.due < r.taken_at
        {
            self.all.push(Wait { next: Some(r.taken_at), ..last });
        }
        let due = r.taken_at.plus_days(f64::from(days));
        let (taken_at, ohms, bound) = (r.taken_at, r.ohms, r.bound);
        self.last = Some(Wait { taken_at, ohms, bound, due, next: None });
    }

    /// No more tests.
    pub(super) fn finish(self) -> Vec<Wait> {
        self.all.into_iter().chain(self.last).collect()
    }
}

impl Brief {
    /// The findings that the asset was not tested in time. One stands from the day it was due until
    /// the next test, or until it was retired. Only the one that stands now is found: of the past
    /// only what `known` says was found then, so that an interval stated today accuses nobody of
    /// yesterday.
    pub fn overdue(&self, known: &[Finding], now: Stamp) -> Vec<Finding> {
        let Some(days) = self.asset.interval_days else { return Vec::new() };
        let end = match self.standing {
            Standing::InService => now,
            Standing::Retired { since, .. } => since,
            Standing::Merged { .. } | Standing::Training => return Vec::new(),
        };
        let was_found = |since: Stamp| {
            known.iter().any(|f| {
                f.kind == FindingKind::Overdue
                    && f.since == since
                    && f.state != FindingState::Withdrawn
            })
        };
        let mut out = Vec::new();
        for wait in self.waits.iter().filter(|wait| wait.due < end) {
            let since = wait.due;
            let until = wait.next.or((end != now).then_some(end));
            if until.is_some() && !was_found(since) {
                continue;
            }
            let evidence = Evidence {
                verdict: self.verdict().word().into(),
                last_ohm: Some(wait.ohms),
                last_bound: wait.bound.word().into(),
                last_taken_at: Some(wait.taken_at.to_string()),
                ..Evidence::default()
            };
            let reason = format!(
                "last tested on {} ({}{}), to be tested every {days} days",
                wait.taken_at.date(),
                wait.bound.word().replace('=', ""),
                ohms(wait.ohms)
            );
            out.push(Finding {
                asset: self.asset.id.clone(),
                kind: FindingKind::Overdue,
                phase: None,
                since,
                until,
                state: until.map_or(FindingState::Open, |_| FindingState::Closed),
                reason: reason.into(),
                evidence: serde_json::to_string(&evidence).unwrap_or_default(),
            });
        }
        out
    }
}
