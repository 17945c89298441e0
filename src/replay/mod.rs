//! The detector as if live over stored history: every alarm raised, and every projection made.
//!
//! Evaluated after each UTC day with readings on what was measured by its end, events and proofs by
//! their own time. An alarm once raised stays in the list, whatever was learnt later. `overdue` is
//! none: it comes with the calendar and not with a reading. Training parts are left out.

mod learnt;

use rayon::prelude::*;

use crate::dossier::{Desk, Dossier, DossierError, Fleet, Settings, Standing};
use crate::model::{AssetId, DAY_MICROS, FindingKind, Phase, Stamp};
use crate::store::{Reader, Result as StoreResult, When};
use crate::trend::{Assessor, CrossingTimes};

pub use learnt::learnt;

/// An alarm at the moment it was raised.
#[derive(Clone, Debug, PartialEq)]
pub struct Raised {
    /// The asset.
    pub asset: AssetId,
    /// The leading phase; none for an asset-wide alarm.
    pub phase: Option<Phase>,
    /// The last reading of the day on which it was raised.
    pub first_flagged_at: Stamp,
    /// What it was.
    pub kind: FindingKind,
    /// The projection at that moment.
    pub crossing: CrossingTimes,
}

/// A projection at an evaluation while something was flagged.
#[derive(Clone, Debug, PartialEq)]
pub struct Projection {
    /// The asset.
    pub asset: AssetId,
    /// The leading phase; none for an asset-wide finding.
    pub phase: Option<Phase>,
    /// The last reading of the day.
    pub as_of: Stamp,
    /// When the trend was to reach the limit.
    pub crossing: CrossingTimes,
}

/// What a replay found, by time, then asset.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Replayed {
    /// Every alarm raised. A `watch` is none.
    pub raised: Vec<Raised>,
    /// Every projection.
    pub projections: Vec<Projection>,
}

/// Replays all assets on all cores; `progress` is told how many are done, and of how many.
pub fn replay<R: Reader + Send>(
    readers: &(dyn Fn() -> StoreResult<R> + Sync),
    when: When,
    settings: &Settings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Replayed, DossierError> {
    const AT_ONCE: usize = 64;
    let assets: Vec<_> = Fleet::read(&readers()?, when)?.teaching().cloned().collect();
    let assessor = Assessor::new(settings.trend.clone());
    let done = std::sync::atomic::AtomicUsize::new(0);
    let parts: Vec<Result<Replayed, DossierError>> = assets
        .par_chunks(AT_ONCE)
        .map(|part| {
            let reader = readers()?;
            let desk = Desk::new(&reader, when, settings, &assessor)?;
            let mut out = Replayed::default();
            for asset in part {
                let dossier = desk.open(&asset.id)?;
                one(&reader, &dossier, settings, &assessor, &mut out)?;
            }
            let before = done.fetch_add(part.len(), std::sync::atomic::Ordering::Relaxed);
            progress(before + part.len(), assets.len());
            Ok(out)
        })
        .collect();
    let mut all = Replayed::default();
    for part in parts {
        let part = part?;
        all.raised.extend(part.raised);
        all.projections.extend(part.projections);
    }
    all.raised.sort_by(|a, b| (a.first_flagged_at, &a.asset).cmp(&(b.first_flagged_at, &b.asset)));
    all.projections.sort_by(|a, b| (a.as_of, &a.asset).cmp(&(b.as_of, &b.asset)));
    Ok(all)
}

/// One asset. A proof that failed takes readings out from its own day on; what was said before that
/// day was said with them.
fn one(
    reader: &dyn Reader,
    dossier: &Dossier,
    settings: &Settings,
    assessor: &Assessor,
    out: &mut Replayed,
) -> Result<(), DossierError> {
    let mut days: Vec<i64> = dossier.suspicions.iter().map(|s| s.proof.at.utc_day()).collect();
    days.sort_unstable();
    days.dedup();
    let mut from = Stamp::MIN;
    for day in days {
        let start = Stamp::from_micros(day * DAY_MICROS);
        let as_of = Stamp::from_micros(start.micros() - 1);
        let when = When { as_of, ..dossier.when };
        let known = Desk::new(reader, when, settings, assessor)?.open(&dossier.asset.id)?;
        collect(&known, from, start, out);
        from = start;
    }
    collect(dossier, from, Stamp::MAX, out);
    Ok(())
}

/// What was said from `from` on and before `until`.
fn collect(dossier: &Dossier, from: Stamp, until: Stamp, out: &mut Replayed) {
    let asset = &dossier.asset.id;
    // What is measured after an asset was retired raises no alarm.
    let until = match dossier.standing {
        Standing::Retired { since, .. } => until.min(since),
        _ => until,
    };
    let within = |at: Stamp| from <= at && at < until;
    for group in &dossier.groups {
        let detection = &group.assessment.detection;
        let alarms = detection.alarms.iter().filter(|a| a.kind != FindingKind::Watch);
        out.raised.extend(alarms.filter(|a| within(a.first_flagged_at)).map(|a| Raised {
            asset: asset.clone(),
            phase: a.phase.clone(),
            first_flagged_at: a.first_flagged_at,
            kind: a.kind,
            crossing: a.crossing,
        }));
        out.projections.extend(
            detection.projections.iter().filter(|p| p.flagged && within(p.as_of)).map(|p| {
                Projection {
                    asset: asset.clone(),
                    phase: p.phase.clone(),
                    as_of: p.as_of,
                    crossing: p.crossing,
                }
            }),
        );
    }
}
