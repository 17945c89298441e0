//! Common causes as they are stored: what fell together on which occasion, and what that leaves out.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};

use crate::model::{AssetId, Finding, FindingKind, FindingState, Invalid, Occasion, Shared, Stamp};
use crate::store::{Reader, Result, When};
use crate::trend::peers::{CommonCause, Residual};

/// The numbers behind a common cause; stored as JSON text.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CauseEvidence {
    /// `tester`, `station` or `day`.
    pub shared: String,
    /// Which tester or station; empty for a day.
    pub name: String,
    /// The UTC day.
    pub day: String,
    /// The median fall of those that fell, decades.
    pub fell_decades: f64,
    /// How many assets were tested there and could be compared with their own past.
    pub tested: usize,
    /// The assets that fell together: their readings of the occasion are left out of the trend.
    pub assets: Vec<String>,
    /// Those that fell much further: their readings count.
    pub apart: Vec<String>,
    /// Those that did not fall: their readings count.
    pub stood: Vec<String>,
}

/// A stored common cause.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// What its finding stands under.
    pub id: AssetId,
    /// What is shared.
    pub occasion: Occasion,
    /// Whether the last assessment still had it.
    pub stands: bool,
    /// Whether it leaves readings out: it stands, and no person closed it.
    pub counts: bool,
    /// The assets that fell together.
    pub fell: Vec<AssetId>,
    /// The other assets it was judged by.
    pub others: Vec<AssetId>,
}

impl Cause {
    /// Whether it explains a fall.
    pub fn explains(&self, r: &Residual) -> bool {
        let shared = match &self.occasion.shared {
            Shared::Tester(tester) => r.tester == *tester,
            Shared::Station(station) => r.station == *station,
            Shared::Day => true,
        };
        self.stands && shared && self.occasion.day == r.at.utc_day() && self.fell.contains(&r.asset)
    }
}

/// The finding about a common cause. It stays open until a person answers it: the readings of one
/// day don't change by themselves.
pub fn finding(cause: &CommonCause) -> std::result::Result<Finding, Invalid> {
    let occasion = cause.occasion();
    let (shared, name) = match &cause.shared {
        Shared::Tester(tester) => ("tester", tester.to_string()),
        Shared::Station(station) => ("station", station.to_string()),
        Shared::Day => ("day", String::new()),
    };
    let names = |ids: &[AssetId]| ids.iter().map(ToString::to_string).collect();
    let evidence = CauseEvidence {
        shared: shared.to_owned(),
        name,
        day: cause.at.date(),
        fell_decades: -cause.fall,
        tested: cause.tested(),
        assets: names(&cause.assets),
        apart: names(&cause.apart),
        stood: names(&cause.stood),
    };
    let words = match &cause.shared {
        Shared::Tester(_) => "the tester",
        Shared::Station(_) => "the station",
        Shared::Day => "the day",
    };
    let reason = format!(
        "{} of {} assets fell together, by {:.1} decades: look at {words} before any winding; \
         these readings are left out of the trend until this is closed",
        evidence.assets.len(),
        evidence.tested,
        evidence.fell_decades
    );
    Ok(Finding {
        asset: occasion.id()?,
        kind: FindingKind::CommonCause,
        phase: None,
        since: cause.at,
        until: None,
        state: FindingState::Open,
        reason: reason.into(),
        evidence: serde_json::to_string(&evidence).unwrap_or_default(),
    })
}

/// The common causes known at a time, those included that stand no longer.
pub fn causes<R: Reader + ?Sized>(reader: &R, when: When) -> Result<Vec<Cause>> {
    let findings = reader.findings_of(FindingKind::CommonCause, when)?;
    Ok(findings.iter().filter_map(cause).collect())
}

/// None where the evidence does not read back.
fn cause(finding: &Finding) -> Option<Cause> {
    let e: CauseEvidence = serde_json::from_str(&finding.evidence).ok()?;
    let shared = match e.shared.as_str() {
        "tester" => Shared::Tester(e.name.into()),
        "station" => Shared::Station(e.name.into()),
        "day" => Shared::Day,
        _ => return None,
    };
    let ids = |names: &[String]| names.iter().filter_map(|n| AssetId::new(n).ok()).collect();
    let stands = finding.state != FindingState::Withdrawn;
    Some(Cause {
        id: finding.asset.clone(),
        occasion: Occasion { day: Stamp::parse(&e.day).ok()?.utc_day(), shared },
        stands,
        counts: stands && finding.state != FindingState::Closed,
        fell: ids(&e.assets),
        others: ids(&[e.apart, e.stood].concat()),
    })
}

/// By asset, the occasions whose readings are left out.
pub(super) fn left_out(causes: Vec<Cause>) -> HashMap<AssetId, Vec<Occasion>> {
    let mut all: HashMap<AssetId, Vec<Occasion>> = HashMap::new();
    for cause in causes.into_iter().filter(|cause| cause.counts) {
        for asset in cause.fell {
            all.entry(asset).or_default().push(cause.occasion.clone());
        }
    }
    all
}
