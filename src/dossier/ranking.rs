//! Findings in the order of their urgency, as rows for a list.

use serde::Serialize;
use utoipa::ToSchema;

use super::Evidence;
use crate::model::{Finding, FindingKind};

/// One open finding with its numbers; `phase` is the leading series, empty for an asset-wide one.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Ranked {
    /// The asset.
    pub asset: String,
    /// The leading phase.
    pub phase: String,
    /// The kind of the finding.
    pub finding: &'static str,
    /// The measuring time at which it was first seen.
    pub since: String,
    /// The numbers behind it.
    #[serde(flatten)]
    pub evidence: Evidence,
    /// Where it stands.
    pub state: &'static str,
    /// The reasons in one sentence.
    pub reason: String,
    /// Whether it is about an asset, and not about a tester or a day.
    #[serde(skip)]
    pub of_asset: bool,
    /// Its place among the others: the lower the text, the more urgent.
    #[serde(skip)]
    pub urgency: String,
}

/// The findings that are due, the most urgent first; what is only to be watched with `all`.
pub fn ranked(findings: Vec<Finding>, all: bool) -> Vec<Ranked> {
    let stands = |f: &Finding| f.is_due() && (all || f.kind != FindingKind::Watch);
    let mut rows: Vec<_> = findings.into_iter().filter(stands).map(row).collect();
    rows.sort_by(|a, b| a.urgency.cmp(&b.urgency));
    rows
}

/// A finding as a row.
pub fn row(finding: Finding) -> Ranked {
    let evidence: Evidence = serde_json::from_str(&finding.evidence).unwrap_or_default();
    Ranked {
        of_asset: finding.is_of_asset(),
        urgency: urgency(&finding, &evidence),
        asset: finding.asset.to_string(),
        phase: finding.phase.map(|p| p.to_string()).unwrap_or_default(),
        finding: finding.kind.word(),
        since: finding.since.to_string(),
        evidence,
        state: finding.state.word(),
        reason: finding.reason.into(),
    }
}

/// How many of these findings are to be expected to be false, by the model's own account.
pub fn expected_false<'r>(rows: impl IntoIterator<Item = &'r Ranked>) -> f64 {
    let chances = rows.into_iter().filter_map(|row| row.evidence.probability);
    // The sum of nothing is -0.0.
    chances.fold(0.0, |sum, p| sum + (1.0 - p))
}

/// Below the limit first, then by the earliest credible crossing, then by age.
fn urgency(finding: &Finding, evidence: &Evidence) -> String {
    let rank = match finding.kind {
        FindingKind::BelowLimit => 0,
        FindingKind::Declining | FindingKind::Step => 1,
        FindingKind::Watch => 3,
        _ => 2,
    };
    let crossing = evidence.reaches_limit_lower.as_deref().unwrap_or("9999");
    format!("{rank} {crossing} {} {}", finding.since, finding.asset)
}
