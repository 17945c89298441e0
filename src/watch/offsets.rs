//! Findings about testers that read off against their peers.
//!
//! Judged by the assets that were measured with the tester on its last day: what they read with it
//! over a year, against what they read with others. Readings that a common cause explains say
//! nothing here. The detector is not told: no simulation has shown yet that it does better so.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::Round;
use super::common::{Judgement, LastDay, of_assets};
use crate::dossier::{DossierError, Records, causes};
use crate::model::{AssetId, Finding, FindingKind, FindingState, Occasion, Shared, Stamp, Text};
use crate::store::{Reader, When};
use crate::trend::peers::tester_offsets;

/// A tester may be off by 30 % (IEC 61557-2): log10 of 0.7, decades.
const ALLOWED: f64 = 0.155;

/// Half the width of a 90 % interval, in standard deviations.
const NINETY: f64 = 1.645;

/// Days back that are looked at.
const SPAN: i64 = 365;

/// Least days with readings: a single one may have a reason of its own.
const LEAST_DAYS: usize = 3;

/// The numbers behind such a finding; stored as JSON text.
#[derive(Serialize, Deserialize)]
struct OffsetEvidence {
    tester: String,
    /// Positive: it reads high.
    offset_decades: f64,
    /// Its 90 % interval.
    offset_lower: f64,
    offset_upper: f64,
    /// What is allowed, on either side.
    allowed_decades: f64,
    /// The last reading it rests on.
    last_taken_at: String,
    days: usize,
    assets: Vec<String>,
}

/// The findings about testers that took part in a round, where their readings look off, or did.
pub(super) fn judge<R: Reader + Send>(
    round: &Round<'_, R>,
    common: &Judgement,
    records: &Records<'_, R>,
) -> Result<Vec<(AssetId, Vec<Finding>)>, DossierError> {
    let reader = (round.readers)()?;
    let mut out = Vec::new();
    for (tester, last) in &common.testers {
        let Ok(id) = AssetId::of_offset(tester) else { continue };
        let mut all = reader.findings(Some(&id), When::ALWAYS)?;
        all.retain(|f| f.kind == FindingKind::Tester && f.state != FindingState::Withdrawn);
        let standing = all.iter().position(|f| f.until.is_none());
        let looks_off = last.mean().abs() > ALLOWED;
        if (!looks_off && standing.is_none()) || reader.asset(&id, When::ALWAYS)?.is_some() {
            continue;
        }
        let standing = standing.map(|i| all.remove(i));
        // A late reading of an earlier day changes nothing.
        if standing.as_ref().is_some_and(|f| last_day(f) > Some(last.day)) {
            continue;
        }
        let Some((at, evidence)) = estimate(round, &reader, records, (tester, *last))? else {
            continue;
        };
        let is_off = evidence.offset_lower > ALLOWED || evidence.offset_upper < -ALLOWED;
        if is_off || standing.is_some() {
            let since = standing.map_or(at, |f| f.since);
            all.push(finding(&id, since, (!is_off).then_some(at), &evidence));
            out.push((id, all));
        }
    }
    Ok(out)
}

fn last_day(finding: &Finding) -> Option<i64> {
    let evidence: OffsetEvidence = serde_json::from_str(&finding.evidence).ok()?;
    Stamp::parse(&evidence.last_taken_at).ok().map(Stamp::utc_day)
}

/// The offset of a tester as its last day's assets tell it; none where that is too little.
fn estimate<R: Reader + Send>(
    round: &Round<'_, R>,
    reader: &R,
    records: &Records<'_, R>,
    (tester, last): (&Text, LastDay),
) -> Result<Option<(Stamp, OffsetEvidence)>, DossierError> {
    let (first, end) = Occasion { day: last.day, shared: Shared::Day }.span();
    let uses = reader.uses_of_tester(tester, first, end)?;
    let assets: BTreeSet<AssetId> =
        uses.iter().map(|(asset, _)| records.survivor(asset).clone()).collect();
    let causes = causes(reader, When::ALWAYS)?;
    let mut residuals = of_assets(round, &assets, last.day - SPAN..=last.day)?;
    residuals.retain(|r| {
        r.tester == *tester && r.from_others.is_some() && !causes.iter().any(|c| c.explains(r))
    });
    let days: BTreeSet<i64> = residuals.iter().map(|r| r.at.utc_day()).collect();
    let estimated = tester_offsets(&residuals).get(tester).copied();
    let (Some((offset, sd)), Some(at)) = (estimated, residuals.iter().map(|r| r.at).max()) else {
        return Ok(None);
    };
    let told_by: BTreeSet<String> = residuals.iter().map(|r| r.asset.to_string()).collect();
    let evidence = OffsetEvidence {
        tester: tester.to_string(),
        offset_decades: offset,
        offset_lower: offset - NINETY * sd,
        offset_upper: offset + NINETY * sd,
        allowed_decades: ALLOWED,
        last_taken_at: at.to_string(),
        days: days.len(),
        assets: told_by.into_iter().collect(),
    };
    Ok((days.len() >= LEAST_DAYS).then_some((at, evidence)))
}

fn finding(id: &AssetId, since: Stamp, until: Option<Stamp>, e: &OffsetEvidence) -> Finding {
    let factor = 10f64.powf(e.offset_decades);
    let reason = format!(
        "reads {factor:.2} times what other testers read on the same {} assets; IEC 61557-2 allows \
         30 % either way: have it checked",
        e.assets.len()
    );
    Finding {
        asset: id.clone(),
        kind: FindingKind::Tester,
        phase: None,
        since,
        until,
        state: until.map_or(FindingState::Open, |_| FindingState::Closed),
        reason: reason.into(),
        evidence: serde_json::to_string(e).unwrap_or_default(),
    }
}
