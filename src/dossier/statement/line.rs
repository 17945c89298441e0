//! One series of a dossier as it is told.

use serde::Serialize;
use utoipa::ToSchema;

use super::FitStatement;
use crate::dossier::Group;
use crate::model::Stamp;
use crate::trend::LineAssessment;
use crate::trend::evidence::LineEvidence;

/// The state of one series. Ends of intervals are those of 90 %.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LineStatement {
    /// What the live lead was on.
    #[schema(example = "V")]
    pub phase: String,
    /// What the other lead was on.
    #[schema(example = "case")]
    pub against: String,
    /// What else defines comparability.
    pub setup: String,
    /// Nominal test voltage in volts.
    #[schema(example = 500.0)]
    pub test_voltage_v: Option<f64>,
    /// What the detector says.
    #[schema(example = "declining")]
    pub verdict: &'static str,
    /// The limit it is held against, in ohm.
    pub limit_ohm: Option<f64>,
    /// What that limit is a limit of.
    pub limit_meaning: Option<&'static str>,
    /// Resistance at 40 °C as the trend has it now, in ohm.
    pub r40_ohm: Option<f64>,
    /// Its lower end.
    pub r40_lower_ohm: Option<f64>,
    /// Its upper end.
    pub r40_upper_ohm: Option<f64>,
    /// Decades a year, negative when falling.
    pub decades_per_year: Option<f64>,
    /// Its lower end.
    pub decades_per_year_lower: Option<f64>,
    /// Its upper end.
    pub decades_per_year_upper: Option<f64>,
    /// First credible time at the limit; none: not within the horizon.
    pub reaches_limit_lower: Option<String>,
    /// Middle time at the limit.
    pub reaches_limit: Option<String>,
    /// Last credible time at the limit; none: open.
    pub reaches_limit_upper: Option<String>,
    /// The chance that somebody should act, under the model.
    pub probability: Option<f64>,
    /// Healthy visits that would end the finding.
    pub clears_after_visits: Option<u32>,
    /// Points on scale.
    pub n_measured: usize,
    /// Over-range points.
    pub n_over: usize,
    /// Under-range points.
    pub n_under: usize,
    /// The last value as read, in ohm.
    pub last_ohm: Option<f64>,
    /// What it means: `=`, `>`, `<`.
    pub last_bound: Option<&'static str>,
    /// When it was taken.
    pub last_taken_at: Option<String>,
    /// The regression beside the verdict.
    pub fit: Option<FitStatement>,
}

impl LineStatement {
    /// Tells a line of a group, and the regression beside it.
    pub fn of(group: &Group, line: &LineAssessment, beside: &LineEvidence) -> Self {
        let power = |v: f64| 10f64.powf(v);
        let time = |t: Option<Stamp>| t.map(|t| t.to_string());
        LineStatement {
            phase: line.series.phase.to_string(),
            against: line.series.against.to_string(),
            setup: group.setup.to_string(),
            test_voltage_v: group.test_voltage.map(|v| v.get()),
            verdict: line.verdict.word(),
            limit_ohm: line.limit.map(|l| l.ohms),
            limit_meaning: line.limit.map(|l| l.meaning.word()),
            r40_ohm: line.level.map(|l| power(l.mid)),
            r40_lower_ohm: line.level.map(|l| power(l.lower)),
            r40_upper_ohm: line.level.map(|l| power(l.upper)),
            decades_per_year: line.decades_per_year.map(|d| d.mid),
            decades_per_year_lower: line.decades_per_year.map(|d| d.lower),
            decades_per_year_upper: line.decades_per_year.map(|d| d.upper),
            reaches_limit_lower: time(line.crossing.lower),
            reaches_limit: time(line.crossing.mid),
            reaches_limit_upper: time(line.crossing.upper),
            probability: line.probability,
            clears_after_visits: line.clears_after,
            n_measured: line.n_measured,
            n_over: line.n_over,
            n_under: line.n_under,
            last_ohm: line.last.as_ref().map(|p| power(p.log_ohm)),
            last_bound: line.last.as_ref().map(|p| p.bound.word()),
            last_taken_at: line.last.as_ref().map(|p| p.taken_at.to_string()),
            fit: Some(FitStatement::of(beside)),
        }
    }
}
