//! Common causes: many assets falling together on one tester, station or day.
//!
//! A day is judged again when a reading that changed takes part in it. Beside the changed assets
//! only those are opened that were measured with the same tester on that day, and those by which
//! the day's causes were found before.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;

use rayon::prelude::*;

use super::Round;
use crate::dossier::{Cause, DossierError, Records, cause_finding, causes};
use crate::model::{AssetId, Finding, Occasion, Shared, Stamp, Text};
use crate::store::{Pending, Reader, Result as StoreResult, When};
use crate::trend::peers::{LEAST_ASSETS, Residual, common_cause, falls, has_fallen, residuals};

/// Up to so many changed assets others are looked for that were measured with the same tester; a
/// larger import brings its own peers.
const FEW: usize = 200;

/// What is to be said of the days that were judged.
#[derive(Debug, Default)]
pub(super) struct Judgement {
    /// The findings to settle, under the ids they stand under; none: it stands no longer.
    pub(super) findings: BTreeMap<AssetId, Vec<Finding>>,
    /// The assets whose readings are left out, or no longer.
    pub(super) concerned: BTreeSet<AssetId>,
    /// By tester, the last day on which it took part.
    pub(super) testers: BTreeMap<Text, LastDay>,
}

/// What the pending assets say of a tester's last day against their values by other testers.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct LastDay {
    pub(super) day: i64,
    n: usize,
    sum: f64,
}

impl LastDay {
    fn add(&mut self, other: LastDay) {
        if self.n == 0 || other.day > self.day {
            *self = other;
        } else if other.day == self.day {
            (self.n, self.sum) = (self.n + other.n, self.sum + other.sum);
        }
    }

    /// The mean distance, decades.
    pub(super) fn mean(&self) -> f64 {
        self.sum / self.n.max(1) as f64
    }
}

/// Judges the days in which pending assets take part.
pub(super) fn judge<R: Reader + Send>(
    round: &Round<'_, R>,
    pending: &[Pending],
    records: &Records<'_, R>,
) -> Result<Judgement, DossierError> {
    let reader = (round.readers)()?;
    let known = causes(&reader, When::ALWAYS)?;
    let tally = tally(round, pending)?;
    let few = pending.len() <= FEW;
    let mut days: BTreeSet<i64> = BTreeSet::new();
    for (occasion, count) in &tally.counts {
        let half = count.fell > 0 && 2 * count.fell >= count.tested;
        let by_tester = few && matches!(occasion.shared, Shared::Tester(_));
        if half && (by_tester || count.fell >= LEAST_ASSETS) {
            days.insert(occasion.day);
        }
    }
    let marked = |asset: &AssetId, day: i64| {
        let at = pending.binary_search_by(|p| p.asset.cmp(asset));
        at.is_ok_and(|i| pending[i].from.utc_day() <= day)
    };
    for cause in &known {
        let (day, answered) = (cause.occasion.day, marked(&cause.id, i64::MAX));
        let touched = cause.stands
            && (tally.counts.contains_key(&cause.occasion)
                || cause.fell.iter().chain(&cause.others).any(|asset| marked(asset, day)));
        if answered || touched {
            days.insert(day);
        }
    }
    let mut out = Judgement::default();
    for day in days {
        let before: Vec<&Cause> = known.iter().filter(|c| c.occasion.day == day).collect();
        let mut assets: BTreeSet<AssetId> = BTreeSet::new();
        assets.extend(before.iter().flat_map(|c| c.fell.iter().chain(&c.others)).cloned());
        let here = tally.days.get(&day).into_iter().flatten();
        assets.extend(here.map(|&i| pending[i].asset.clone()));
        if few {
            let peers = peers(&reader, &tally, day)?;
            assets.extend(peers.iter().map(|asset| records.survivor(asset).clone()));
        }
        let found = match assets.len() >= LEAST_ASSETS {
            true => common_cause(&of_assets(round, &assets, day..=day)?),
            false => Vec::new(),
        };
        for cause in before {
            out.concerned.extend(cause.fell.iter().cloned());
            out.findings.insert(cause.id.clone(), Vec::new());
        }
        for cause in &found {
            // A name too long for an id, or a real asset of that name: its assets speak for
            // themselves.
            let Ok(finding) = cause_finding(cause) else { continue };
            if reader.asset(&finding.asset, When::ALWAYS)?.is_none() {
                out.concerned.extend(cause.assets.iter().cloned());
                out.findings.insert(finding.asset.clone(), vec![finding]);
            }
        }
    }
    out.testers = tally.testers;
    Ok(out)
}

/// How many assets were tested on an occasion, and how many of them fell.
#[derive(Clone, Copy, Debug, Default)]
struct Count {
    tested: usize,
    fell: usize,
}

/// The pending assets on the days from their marks on.
#[derive(Default)]
struct Tally {
    counts: BTreeMap<Occasion, Count>,
    /// By day, the places in the list of pending assets.
    days: BTreeMap<i64, Vec<usize>>,
    testers: BTreeMap<Text, LastDay>,
}

fn tally<R: Reader + Send>(
    round: &Round<'_, R>,
    pending: &[Pending],
) -> Result<Tally, DossierError> {
    let share = pending.len().div_ceil(4 * rayon::current_num_threads().max(1)).max(1);
    let parts: Vec<Result<Tally, DossierError>> = pending
        .par_chunks(share)
        .enumerate()
        .map(|(n, part)| {
            let reader = (round.readers)()?;
            let records = Records::new(&reader, When::ALWAYS, round.settings)?;
            let mut tally = Tally::default();
            for (i, p) in part.iter().enumerate() {
                let mut all = of_asset(&records, &p.asset)?;
                all.retain(|r| r.at >= p.from);
                for r in all.iter().filter(|r| !r.tester.is_empty()) {
                    if let Some(sum) = r.from_others {
                        let last = LastDay { day: r.at.utc_day(), n: 1, sum };
                        tally.testers.entry(r.tester.clone()).or_default().add(last);
                    }
                }
                for (occasion, fall) in falls(&all) {
                    if occasion.shared == Shared::Day {
                        tally.days.entry(occasion.day).or_default().push(n * share + i);
                    }
                    let count = tally.counts.entry(occasion).or_default();
                    count.tested += 1;
                    count.fell += usize::from(has_fallen(fall));
                }
            }
            Ok(tally)
        })
        .collect();
    let mut whole = Tally::default();
    for part in parts {
        let part = part?;
        for (occasion, count) in part.counts {
            let sum = whole.counts.entry(occasion).or_default();
            (sum.tested, sum.fell) = (sum.tested + count.tested, sum.fell + count.fell);
        }
        for (day, places) in part.days {
            whole.days.entry(day).or_default().extend(places);
        }
        for (tester, last) in part.testers {
            whole.testers.entry(tester).or_default().add(last);
        }
    }
    Ok(whole)
}

/// The assets that were measured on a day with a tester on which a changed asset fell.
fn peers<R: Reader>(reader: &R, tally: &Tally, day: i64) -> StoreResult<BTreeSet<AssetId>> {
    let mut all = BTreeSet::new();
    for (occasion, count) in &tally.counts {
        if let Shared::Tester(tester) = &occasion.shared
            && occasion.day == day
            && count.fell > 0
        {
            let (first, last) = occasion.span();
            let uses = reader.uses_of_tester(tester, first, last)?;
            all.extend(uses.into_iter().map(|(asset, _)| asset));
        }
    }
    Ok(all)
}

/// The residuals of assets on some days.
pub(super) fn of_assets<R: Reader + Send>(
    round: &Round<'_, R>,
    assets: &BTreeSet<AssetId>,
    days: RangeInclusive<i64>,
) -> Result<Vec<Residual>, DossierError> {
    let assets: Vec<&AssetId> = assets.iter().collect();
    let share = assets.len().div_ceil(rayon::current_num_threads().max(1)).max(1);
    let parts: Vec<Result<Vec<Residual>, DossierError>> = assets
        .par_chunks(share)
        .map(|part| {
            let reader = (round.readers)()?;
            let as_of = Occasion { day: *days.end(), shared: Shared::Day }.span().1;
            let when = When { as_of, known_at: Stamp::MAX };
            let records = Records::new(&reader, when, round.settings)?;
            let mut all = Vec::new();
            for asset in part {
                let of_asset = of_asset(&records, asset)?.into_iter();
                all.extend(of_asset.filter(|r| days.contains(&r.at.utc_day())));
            }
            Ok(all)
        })
        .collect();
    let mut all = Vec::new();
    for part in parts {
        all.extend(part?);
    }
    Ok(all)
}

fn of_asset<R: Reader + ?Sized>(
    records: &Records<'_, R>,
    asset: &AssetId,
) -> Result<Vec<Residual>, DossierError> {
    Ok(records.cases(asset)?.iter().flat_map(residuals).collect())
}
