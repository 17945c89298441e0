//! Changed assets to findings: drains what the store marked as pending.

mod backlog;
mod common;
pub mod messages;
mod offsets;
mod onlooker;
mod task;
mod testers;
mod thin;

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use crate::dossier::{Desk, DossierError, Records, Settings, tests_due};
use crate::model::{AssetId, Finding, FindingKind, FindingState, Stamp, Text};
use crate::store::{Pending, PendingMark, Reader, Result as StoreResult, When, Writer};
use crate::trend::Assessor;
use common::Judgement;

pub use backlog::Backlog;
pub use onlooker::{Onlooker, Seen};
pub use task::{Task, Wake, wake};
pub use thin::thin;

/// Assets assessed between two writes: small enough that findings appear soon, large enough that
/// all cores have work.
const AT_ONCE: usize = 64;

/// Clears no mark: for what is settled beside the marks.
const NO_MARK: PendingMark = PendingMark(0);

/// What one drain works with.
struct Round<'a, R> {
    /// Opens a reader for each thread.
    readers: &'a (dyn Fn() -> StoreResult<R> + Sync),
    settings: &'a Settings,
    assessor: &'a Assessor,
    now: Stamp,
}

/// A mark, the findings that answer it, the testers whose doubtful readings take part, and what was
/// seen.
type Answer = (Pending, Vec<Finding>, BTreeSet<Text>, Seen);

/// Assesses every pending asset, on all cores, and settles its findings. `readers` opens a reader
/// for each thread; `onlooker` is told how many are done, and of how many.
///
/// Common causes are looked for first, so that no asset is blamed for what its readings share with
/// those of many others; the assets of such a cause are assessed with those that changed.
///
/// It can be stopped at any moment: a mark is cleared in the same transaction as the findings that
/// answer it, and after all else that follows from it.
pub fn drain<R: Reader + Send>(
    readers: &(dyn Fn() -> StoreResult<R> + Sync),
    writer: &mut dyn Writer,
    now: Stamp,
    settings: &Settings,
    onlooker: &dyn Onlooker,
) -> Result<usize, DossierError> {
    let pending = readers()?.pending()?;
    if pending.is_empty() {
        return Ok(0);
    }
    let records = readers()?;
    let records = Records::new(&records, When::ALWAYS, settings)?;
    let pending = with_survivors(pending, &records);
    let assessor = Assessor::new(settings.trend.clone());
    let round = Round { readers, settings, assessor: &assessor, now };
    let common = common::judge(&round, &pending, &records)?;
    for (id, findings) in &common.findings {
        writer.settle(now, id, NO_MARK, findings)?;
        onlooker.settled(&Seen::subject(id));
    }
    for (id, findings) in offsets::judge(&round, &common, &records)? {
        writer.settle(now, &id, NO_MARK, &findings)?;
        onlooker.settled(&Seen::subject(&id));
    }
    let work = in_order(pending, &common, &records);
    let mut done = 0;
    onlooker.progress(done, work.len());
    for some in work.chunks(AT_ONCE) {
        let answers = round.assess(some, &common)?;
        let testers: BTreeSet<&Text> =
            answers.iter().flat_map(|(_, _, testers, _)| testers).collect();
        for tester in testers {
            if let Some((id, findings)) = testers::judge(&readers()?, settings, tester)? {
                writer.settle(now, &id, NO_MARK, &findings)?;
                onlooker.settled(&Seen::subject(&id));
            }
        }
        for (pending, findings, _, seen) in answers {
            writer.settle(now, &pending.asset, pending.mark, &findings)?;
            onlooker.settled(&seen);
            done += 1;
        }
        onlooker.progress(done, work.len());
    }
    Ok(done)
}

/// Finds the assets that were not tested in time by now: that comes with the calendar, and no mark
/// tells of it. To be called once a day, and before findings are listed; asks little where nobody
/// stated an interval. Returns how many were found.
///
/// Findings of this kind are the only ones that depend on the day on which they are looked for, so
/// a replay, which knows days with readings only, has none.
pub fn calendar<R: Reader + Send>(
    readers: &(dyn Fn() -> StoreResult<R> + Sync),
    writer: &mut dyn Writer,
    now: Stamp,
    settings: &Settings,
    onlooker: &dyn Onlooker,
) -> Result<usize, DossierError> {
    let reader = readers()?;
    let mut late = tests_due(&reader, When::ALWAYS, settings)?;
    late.retain(|test| test.due.is_some_and(|due| due < now));
    if late.is_empty() {
        return Ok(0);
    }
    let mut known = reader.findings_of(FindingKind::Overdue, When::ALWAYS)?;
    known.retain(|finding| finding.until.is_none() && finding.state != FindingState::Withdrawn);
    let known: BTreeSet<&str> = known.iter().map(|finding| finding.asset.as_str()).collect();
    let work: Vec<Pending> = late
        .iter()
        .filter(|test| !known.contains(test.id.as_str()))
        .filter_map(|test| AssetId::new(&test.id).ok())
        .map(|asset| Pending { asset, from: Stamp::MAX, mark: NO_MARK })
        .collect();
    let assessor = Assessor::new(settings.trend.clone());
    let round = Round { readers, settings, assessor: &assessor, now };
    for some in work.chunks(AT_ONCE) {
        for (pending, findings, _, seen) in round.assess(some, &Judgement::default())? {
            writer.settle(now, &pending.asset, NO_MARK, &findings)?;
            onlooker.settled(&seen);
        }
    }
    Ok(work.len())
}

/// The marks, and one for each asset into which a marked one was merged: what changes in the one
/// changes the other. It clears nothing, unless that asset has a mark itself.
fn with_survivors<R: Reader>(pending: Vec<Pending>, records: &Records<'_, R>) -> Vec<Pending> {
    let mut all: BTreeMap<AssetId, Pending> = BTreeMap::new();
    for p in &pending {
        let asset = records.survivor(&p.asset).clone();
        let survivor = Pending { asset: asset.clone(), from: p.from, mark: NO_MARK };
        let known = all.entry(asset).or_insert(survivor);
        known.from = p.from.min(known.from);
    }
    for p in pending {
        let known = all.entry(p.asset.clone()).or_insert(p.clone());
        known.mark = p.mark;
    }
    all.into_values().collect()
}

/// First the assets that have no mark, then those whose marks led to them, then those merged into
/// others, then the causes a person answered.
fn in_order<R: Reader>(
    pending: Vec<Pending>,
    common: &Judgement,
    records: &Records<'_, R>,
) -> Vec<Pending> {
    let is_marked = |asset| pending.binary_search_by(|p| p.asset.cmp(asset)).is_ok();
    let others = common.concerned.iter().filter(|asset| !is_marked(asset));
    let mut work: Vec<Pending> = others
        .map(|asset| Pending { asset: asset.clone(), from: Stamp::MAX, mark: NO_MARK })
        .collect();
    let (causes, assets): (Vec<_>, Vec<_>) =
        pending.into_iter().partition(|p| common.findings.contains_key(&p.asset));
    let (merged, assets): (Vec<_>, Vec<_>) =
        assets.into_iter().partition(|p| records.is_merged(&p.asset));
    work.extend(assets);
    work.extend(merged);
    work.extend(causes);
    work
}

impl<R: Reader + Send> Round<'_, R> {
    fn assess(&self, some: &[Pending], common: &Judgement) -> Result<Vec<Answer>, DossierError> {
        let share = some.len().div_ceil(rayon::current_num_threads().max(1)).max(1);
        let parts: Vec<Result<Vec<Answer>, DossierError>> = some
            .par_chunks(share)
            .map(|part| {
                let reader = (self.readers)()?;
                let desk = Desk::new(&reader, When::ALWAYS, self.settings, self.assessor)?;
                part.iter().map(|p| self.answer(&reader, &desk, p, common)).collect()
            })
            .collect();
        let mut all = Vec::with_capacity(some.len());
        for part in parts {
            all.extend(part?);
        }
        Ok(all)
    }

    fn answer(
        &self,
        reader: &R,
        desk: &Desk<'_, R>,
        pending: &Pending,
        common: &Judgement,
    ) -> Result<Answer, DossierError> {
        let mut testers = BTreeSet::new();
        let mut seen = Seen::subject(&pending.asset);
        // Its history is that of another asset, which is assessed beside it.
        if desk.is_merged(&pending.asset) {
            return Ok((pending.clone(), Vec::new(), testers, seen));
        }
        let findings = match desk.brief(&pending.asset) {
            Ok(brief) => {
                let doubtful = brief.failed.iter().filter(|(_, last)| **last >= pending.from);
                testers.extend(doubtful.map(|(tester, _)| tester.clone()));
                let mut findings = brief.episodes();
                if brief.asset.interval_days.is_some() {
                    let known = reader.findings(Some(&brief.asset.id), When::ALWAYS)?;
                    findings.extend(brief.overdue(&known, self.now));
                }
                seen = Seen::of(brief);
                findings
            }
            Err(DossierError::NoAsset(id)) => match (common.findings.get(&id), id.as_tester()) {
                (Some(findings), _) => findings.clone(),
                (None, Some(tester)) => testers::judge(reader, self.settings, tester)?
                    .map(|(_, findings)| findings)
                    .unwrap_or_default(),
                // Marked by a correction that moved its only readings away before it was
                // registered.
                (None, None) => Vec::new(),
            },
            Err(e) => return Err(e),
        };
        Ok((pending.clone(), findings, testers, seen))
    }
}
