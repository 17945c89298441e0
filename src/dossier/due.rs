//! What is due: tests of assets, proofs and calibrations of testers, retests of gloves. And the one
//! finding that comes with the calendar and not with a reading: not tested in time.
//!
//! Nothing is due that nobody stated an interval or a date for. What was measured counts as tested
//! unless a person voided it; readings that a failed proof leaves out are the tester's finding.

use std::collections::{BTreeMap, BTreeSet};

use super::{Dossier, DossierError, Evidence, Fleet, Records, Settings, Standing};
use crate::model::{
    Asset, AssetId, CorrectionKind, Finding, FindingKind, FindingState, Gear, GearKind, ProofKind,
    Stamp, Text, words,
};
use crate::store::{Reader, When};
use crate::trend::words::ohms;

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

/// The findings that an asset was not tested in time. One stands from the day it was due until the
/// next test, or until it was retired. Only the one that stands now is found: of the past only what
/// `known` says was found then, so that an interval stated today accuses nobody of yesterday.
pub fn overdue(dossier: &Dossier, known: &[Finding], now: Stamp) -> Vec<Finding> {
    let Some(days) = dossier.asset.interval_days else { return Vec::new() };
    let end = match dossier.standing {
        Standing::InService => now,
        Standing::Retired { since, .. } => since,
        Standing::Merged { .. } | Standing::Training => return Vec::new(),
    };
    let counts = dossier.entries.iter().filter(|e| e.judged.corrected.voided.is_none());
    let tests: Vec<_> = counts.map(|entry| &entry.judged.corrected.reading).collect();
    let was_found = |since: Stamp| {
        known.iter().any(|f| {
            f.kind == FindingKind::Overdue && f.since == since && f.state != FindingState::Withdrawn
        })
    };
    let mut out = Vec::new();
    for (i, test) in tests.iter().enumerate() {
        let since = test.taken_at.plus_days(f64::from(days));
        let next = tests.get(i + 1).map(|next| next.taken_at);
        if since >= end || next.is_some_and(|next| next <= since) {
            continue;
        }
        let until = next.or((end != now).then_some(end));
        if until.is_some() && !was_found(since) {
            continue;
        }
        let evidence = Evidence {
            verdict: dossier.verdict().word().into(),
            last_ohm: Some(test.ohms),
            last_bound: test.bound.word().into(),
            last_taken_at: Some(test.taken_at.to_string()),
            ..Evidence::default()
        };
        let reason = format!(
            "last tested on {} ({}{}), to be tested every {days} days",
            test.taken_at.date(),
            test.bound.word().replace('=', ""),
            ohms(test.ohms)
        );
        out.push(Finding {
            asset: dossier.asset.id.clone(),
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
