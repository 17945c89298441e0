//! A dossier as it is told to a program: the verdict with all its evidence, and the readings with
//! what was done with each. Command and API give the same.

mod findings;
mod fit;
mod line;
mod quality;
mod reading;

use serde::Serialize;
use utoipa::ToSchema;

use super::words::{CAUTION, limit_words, notices, role_words};
use super::{Dossier, Group, Ranked, TesterUse, row};
use crate::trend::evidence::{LineEvidence, Settings, evidence};
use crate::trend::words::ASSUMPTIONS;
use crate::visits::{Ratio, RatioValue};

pub use findings::{FindingStatement, findings_at, told};
pub use fit::FitStatement;
pub use line::LineStatement;
pub use quality::{QualityStatement, TesterStatement};
pub use reading::{ReadingStatement, SourceNames};

/// The verdict on one asset with its evidence.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct Statement {
    /// The asset's id.
    #[schema(example = "YT-014/drive")]
    pub asset: String,
    /// What it is.
    #[schema(example = "traction motor")]
    pub kind: String,
    /// The worst verdict of its lines.
    #[schema(example = "declining")]
    pub verdict: &'static str,
    /// Whether it is retired, a training part, or has the history of others: a sentence each.
    pub standing: Vec<String>,
    /// Its insulation system.
    pub insulation: &'static str,
    /// How its phases are joined inside.
    pub phases: &'static str,
    /// Its limits, in words.
    pub limits: Vec<String>,
    /// One for each series.
    pub lines: Vec<LineStatement>,
    /// The findings over its whole history.
    pub findings: Vec<Ranked>,
    /// What a person should know or do.
    pub notices: Vec<String>,
    /// Ratios of timed readings.
    pub ratios: Vec<RatioStatement>,
    /// How many readings it has.
    pub readings: usize,
    /// Those that are left out of the trend.
    pub left_out: Vec<LeftOutStatement>,
    /// What is in doubt about its readings, and what that did.
    pub quality: Vec<QualityStatement>,
    /// The testers they were made with.
    pub testers: Vec<TesterStatement>,
    /// What the numbers rest on.
    pub assumptions: &'static str,
    /// What they do not say.
    pub caution: &'static str,
}

/// A ratio of timed readings, with its times.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RatioStatement {
    /// The phase.
    pub phase: String,
    /// When the later one was taken.
    pub at: String,
    /// Seconds of the later one.
    pub later_s: f64,
    /// Seconds of the earlier one.
    pub earlier_s: f64,
    /// `=`, or `>` where the later one was over-range.
    pub bound: &'static str,
    /// Later over earlier.
    pub ratio: Option<f64>,
    /// Whether it is withheld: above 5 GΩ it says nothing (IEEE Std 43).
    pub withheld: bool,
}

/// A reading that is left out of the trend.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct LeftOutStatement {
    /// Its id.
    pub reading: String,
    /// When it was taken.
    pub taken_at: String,
    /// Its phase.
    pub phase: String,
    /// Why.
    pub why: String,
}

impl Statement {
    /// Tells a dossier; `testers` are those it was measured with.
    pub fn of(dossier: &Dossier, testers: &[TesterUse]) -> Self {
        let asset = &dossier.asset;
        Statement {
            asset: asset.id.to_string(),
            kind: asset.kind.to_string(),
            verdict: dossier.verdict().word(),
            standing: dossier.standing_words(),
            insulation: asset.insulation.word(),
            phases: asset.joining.word(),
            limits: asset.limits().map(|l| limit_words(&l)).collect(),
            lines: dossier.groups.iter().flat_map(Group::statements).collect(),
            findings: dossier.episodes().into_iter().map(row).collect(),
            notices: dossier.groups.iter().flat_map(notices).collect(),
            ratios: dossier.ratios.iter().map(RatioStatement::of).collect(),
            readings: dossier.entries.len(),
            left_out: dossier
                .left_out()
                .map(|e| LeftOutStatement {
                    reading: e.judged.corrected.id.to_string(),
                    taken_at: e.judged.corrected.reading.taken_at.to_string(),
                    phase: e.judged.corrected.reading.series.phase.to_string(),
                    why: role_words(&e.judged.role),
                })
                .collect(),
            quality: dossier.quality().into_iter().map(QualityStatement::of).collect(),
            testers: testers.iter().map(TesterStatement::of).collect(),
            assumptions: ASSUMPTIONS,
            caution: CAUTION,
        }
    }
}

impl Group {
    /// The regression beside the verdicts, one entry per line of the chart.
    pub fn fits(&self) -> Vec<LineEvidence> {
        evidence(&self.case, &Settings::default()).lines
    }

    /// Its lines as they are told.
    pub fn statements(&self) -> Vec<LineStatement> {
        let lines = self.assessment.lines.iter().zip(self.fits());
        lines.map(|(line, beside)| LineStatement::of(self, line, &beside)).collect()
    }
}

impl RatioStatement {
    /// Tells a ratio.
    pub fn of(ratio: &Ratio) -> Self {
        let (bound, value) = match ratio.value {
            RatioValue::Is(value) => ("=", Some(value)),
            RatioValue::AtLeast(value) => (">", Some(value)),
            RatioValue::Withheld => ("", None),
        };
        RatioStatement {
            phase: ratio.series.phase.to_string(),
            at: ratio.at.to_string(),
            later_s: ratio.later_s,
            earlier_s: ratio.earlier_s,
            bound,
            ratio: value,
            withheld: value.is_none(),
        }
    }

    /// The same in words.
    pub fn words(&self) -> String {
        let name = if self.later_s >= 500.0 { "polarization index" } else { "absorption ratio" };
        let value = match self.ratio {
            Some(value) => format!("{}{value:.2}", self.bound.replace('=', "")),
            None => "withheld: above 5 GΩ it says nothing".into(),
        };
        let (later, earlier) = (self.later_s, self.earlier_s);
        format!("{} {} {name} {later} s / {earlier} s: {value}", &self.at[..10], self.phase)
    }
}
