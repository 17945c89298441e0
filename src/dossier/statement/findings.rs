//! Findings as they are told: with who answered them, and as they were at another time.

use serde::Serialize;
use utoipa::ToSchema;

use crate::dossier::{Desk, DossierError, Fleet, Settings};
use crate::model::{AssetId, Finding, FindingKind};
use crate::store::{Reader, Result, When};
use crate::trend::Assessor;

/// A finding with its life: open, acknowledged, closed or withdrawn.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FindingStatement {
    /// The asset; for a finding about a tester or a day, what it calls that.
    #[schema(example = "YT-014/drive")]
    pub asset: String,
    /// The leading phase; empty for an asset-wide one.
    #[schema(example = "V")]
    pub phase: String,
    /// Its kind.
    #[schema(example = "declining")]
    pub finding: &'static str,
    /// The measuring time at which it was first seen.
    #[schema(example = "2026-02-10T09:02:00Z")]
    pub since: String,
    /// The measuring time at which it ended; none: it stands.
    pub until: Option<String>,
    /// Where it stands.
    #[schema(example = "open")]
    pub state: &'static str,
    /// Why, in one sentence.
    pub reason: String,
    /// The numbers behind it.
    #[schema(value_type = Object)]
    pub evidence: serde_json::Value,
    /// Who answered last.
    pub answered_by: Option<String>,
    /// What they said.
    pub remark: Option<String>,
}

/// The findings of an asset, or of all, newest first, each with the last answer to it.
pub fn told<R: Reader + ?Sized>(
    reader: &R,
    asset: Option<&AssetId>,
    when: When,
) -> Result<Vec<FindingStatement>> {
    let acts = reader.acts(asset, when)?;
    let statement = |f: Finding| {
        let last = acts
            .iter()
            .rev()
            .find(|a| (&a.value.asset, a.value.kind, a.value.since) == (&f.asset, f.kind, f.since));
        FindingStatement {
            asset: f.asset.to_string(),
            phase: f.phase.as_ref().map(ToString::to_string).unwrap_or_default(),
            finding: f.kind.word(),
            since: f.since.to_string(),
            until: f.until.map(|t| t.to_string()),
            state: f.state.word(),
            reason: f.reason.into(),
            evidence: serde_json::from_str(&f.evidence).unwrap_or_default(),
            answered_by: last.map(|a| a.mark.by.to_string()),
            remark: last.map(|a| a.value.remark.to_string()),
        }
    };
    Ok(reader.findings(asset, when)?.into_iter().map(statement).collect())
}

/// The findings as they would have been at another time: assessed anew from what was there. Of
/// testers and days, what is stored tells how it was. `progress` is told how many assets of how
/// many are done, and stops it by answering false: then what was found so far is of no use.
pub fn findings_at<R: Reader + ?Sized>(
    reader: &R,
    when: When,
    settings: &Settings,
    progress: &dyn Fn(usize, usize) -> bool,
) -> std::result::Result<Vec<Finding>, DossierError> {
    let assessor = Assessor::new(settings.trend.clone());
    let desk = Desk::new(reader, when, settings, &assessor)?;
    let fleet = Fleet::read(reader, when)?;
    let assets: Vec<_> = fleet.in_service().collect();
    // What was to be tested by then.
    let now = when.as_of.min(when.known_at);
    let mut out = Vec::new();
    for (done, asset) in assets.iter().enumerate() {
        if !progress(done, assets.len()) {
            return Ok(out);
        }
        let brief = desk.brief(&asset.id)?;
        out.extend(brief.episodes());
        out.extend(brief.overdue(&[], now));
    }
    for kind in [FindingKind::CommonCause, FindingKind::Tester] {
        out.extend(reader.findings_of(kind, when)?);
    }
    Ok(out)
}
