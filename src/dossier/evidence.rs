//! What stands behind a finding, as numbers that travel with it, and the findings of a dossier.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Brief, Dossier, Group, Standing};
use crate::model::{AssetId, Finding, FindingKind, FindingState, Stamp, Text, Verdict};
use crate::trend::{Alarm, LineAssessment};

/// The numbers behind a finding; stored as JSON text and printed by `declining`. What an earlier
/// version did not write is as if not known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct Evidence {
    /// The phase of the leading series, also where the finding is worded for the asset.
    pub leading_phase: String,
    /// What the other lead was on.
    pub against: String,
    /// The setup.
    pub setup: String,
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// The verdict of the leading series.
    pub verdict: String,
    /// The limit it is held against, in ohm.
    pub limit_ohm: Option<f64>,
    /// Resistance at 40 °C as the trend has it now, in ohm.
    pub r40_ohm: Option<f64>,
    /// Lower end of its 90 % interval.
    pub r40_lower_ohm: Option<f64>,
    /// Upper end of its 90 % interval.
    pub r40_upper_ohm: Option<f64>,
    /// Decades a year, negative when falling.
    pub decades_per_year: Option<f64>,
    /// Lower end of its 90 % interval.
    pub decades_per_year_lower: Option<f64>,
    /// Upper end of its 90 % interval.
    pub decades_per_year_upper: Option<f64>,
    /// First credible time at the limit (5 %); none: not within the horizon.
    pub reaches_limit_lower: Option<String>,
    /// Middle time at the limit.
    pub reaches_limit: Option<String>,
    /// Last credible time at the limit (95 %); none: open.
    pub reaches_limit_upper: Option<String>,
    /// The chance that somebody should act, under the model.
    pub probability: Option<f64>,
    /// Points on scale, over-range and under-range behind it.
    pub n_measured: usize,
    /// Over-range points.
    pub n_over: usize,
    /// Under-range points.
    pub n_under: usize,
    /// Readings of the asset that were left out of the trend.
    pub n_left_out: usize,
    /// The last value, as read, in ohm.
    pub last_ohm: Option<f64>,
    /// What it means: `=`, `>`, `<`.
    pub last_bound: String,
    /// When it was taken.
    pub last_taken_at: Option<String>,
}

impl Dossier {
    /// Its findings, as episodes over its whole history. A training part has none, and those of a
    /// retired asset end when it was retired.
    pub fn episodes(&self) -> Vec<Finding> {
        episodes(&self.asset.id, &self.standing, &self.groups, self.left_out().count())
    }
}

impl Brief {
    /// Its findings, as [`Dossier::episodes`].
    pub fn episodes(&self) -> Vec<Finding> {
        episodes(&self.asset.id, &self.standing, &self.groups, self.left_out)
    }
}

fn episodes(
    asset: &AssetId,
    standing: &Standing,
    groups: &[Group],
    left_out: usize,
) -> Vec<Finding> {
    let mut out = Vec::new();
    if *standing == Standing::Training {
        return out;
    }
    for group in groups {
        for alarm in &group.assessment.detection.alarms {
            let line = leading(group, alarm);
            let evidence = evidence(left_out, group, line);
            out.push(Finding {
                asset: asset.clone(),
                kind: alarm.kind,
                phase: alarm.phase.clone(),
                since: alarm.first_flagged_at,
                until: alarm.cleared_at,
                state: match alarm.cleared_at {
                    None => FindingState::Open,
                    Some(_) => FindingState::Closed,
                },
                reason: reason(alarm, &evidence),
                evidence: serde_json::to_string(&evidence).unwrap_or_default(),
            });
        }
    }
    if let Standing::Retired { since, .. } = *standing {
        out.retain(|finding| finding.since < since);
        for finding in &mut out {
            if finding.until.is_none_or(|until| until > since) {
                (finding.until, finding.state) = (Some(since), FindingState::Closed);
            }
        }
    }
    out
}

/// The line that an alarm is about: that of its phase, else the worst one.
fn leading<'g>(group: &'g Group, alarm: &Alarm) -> Option<&'g LineAssessment> {
    let lines = &group.assessment.lines;
    let of_phase =
        alarm.phase.as_ref().and_then(|phase| lines.iter().find(|l| l.series.phase == *phase));
    of_phase.or_else(|| lines.iter().max_by_key(|l| l.verdict))
}

fn evidence(left_out: usize, group: &Group, line: Option<&LineAssessment>) -> Evidence {
    let mut out = Evidence {
        setup: group.setup.to_string(),
        test_voltage_v: group.test_voltage.map(|v| v.get()),
        verdict: group.assessment.verdict.word().into(),
        n_left_out: left_out,
        ..Evidence::default()
    };
    let Some(line) = line else { return out };
    let time = |t: Option<Stamp>| t.map(|t| t.to_string());
    out.leading_phase = line.series.phase.to_string();
    out.against = line.series.against.to_string();
    out.verdict = line.verdict.word().into();
    out.limit_ohm = line.limit.map(|l| l.ohms);
    out.probability = line.probability;
    if let Some(level) = line.level {
        out.r40_ohm = Some(10f64.powf(level.mid));
        out.r40_lower_ohm = Some(10f64.powf(level.lower));
        out.r40_upper_ohm = Some(10f64.powf(level.upper));
    }
    if let Some(slope) = line.decades_per_year {
        out.decades_per_year = Some(slope.mid);
        out.decades_per_year_lower = Some(slope.lower);
        out.decades_per_year_upper = Some(slope.upper);
    }
    // What is below the limit does not reach it any more.
    if line.verdict != Verdict::BelowLimit {
        out.reaches_limit_lower = time(line.crossing.lower);
        out.reaches_limit = time(line.crossing.mid);
        out.reaches_limit_upper = time(line.crossing.upper);
    }
    out.n_measured = line.n_measured;
    out.n_over = line.n_over;
    out.n_under = line.n_under;
    if let Some(last) = &line.last {
        out.last_ohm = Some(10f64.powf(last.log_ohm));
        out.last_bound = last.bound.word().into();
        out.last_taken_at = Some(last.taken_at.to_string());
    }
    out
}

/// Why, in one sentence for a person.
fn reason(alarm: &Alarm, e: &Evidence) -> Text {
    let text = match alarm.kind {
        FindingKind::BelowLimit => "two values running are below the limit".to_owned(),
        FindingKind::Declining => match e.decades_per_year {
            Some(slope) if slope < 0.0 => {
                format!("falls by {:.1} decades a year towards the limit", -slope)
            }
            _ => "falls towards the limit".to_owned(),
        },
        FindingKind::Step => "dropped by more than a decade and stayed there".to_owned(),
        FindingKind::Imbalance => "one phase lies apart from the others, twice running".to_owned(),
        FindingKind::Watch => "may be falling: repeat this test".to_owned(),
        other => other.word().to_owned(),
    };
    text.into()
}
