//! How good the data behind an assessment is, as it is told.

use serde::Serialize;
use utoipa::ToSchema;

use crate::dossier::{Quality, TesterUse};

/// One doubt: how many readings it concerns, and what it did.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct QualityStatement {
    /// What is in doubt.
    pub doubt: &'static str,
    /// Readings concerned.
    pub readings: usize,
    /// Of so many, voided ones aside.
    pub of: usize,
    /// What that did to the assessment.
    pub effect: &'static str,
}

impl QualityStatement {
    /// Tells it.
    pub fn of(quality: Quality) -> Self {
        let Quality { doubt, readings, of } = quality;
        QualityStatement { doubt: doubt.word(), readings, of, effect: doubt.effect() }
    }
}

/// A tester as this asset's readings met it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TesterStatement {
    /// Its id; empty: readings that name none.
    pub tester: String,
    /// Readings made with it.
    pub readings: usize,
    /// The first of them.
    pub first: String,
    /// The last of them.
    pub last: String,
    /// When its next calibration is due.
    pub due: Option<String>,
    /// Its newest proof.
    pub last_proof: Option<String>,
    /// Whether that passed.
    pub last_proof_passed: Option<bool>,
    /// What stands against it.
    pub findings: Vec<String>,
}

impl TesterStatement {
    /// Tells it.
    pub fn of(used: &TesterUse) -> Self {
        TesterStatement {
            tester: used.id.to_string(),
            readings: used.readings,
            first: used.first.to_string(),
            last: used.last.to_string(),
            due: used.gear.as_ref().and_then(|gear| gear.due).map(|due| due.to_string()),
            last_proof: used.last_proof.as_ref().map(|proof| proof.at.to_string()),
            last_proof_passed: used.last_proof.as_ref().map(|proof| proof.passed),
            findings: used.findings.iter().map(|finding| finding.reason.to_string()).collect(),
        }
    }

    /// The same in words.
    pub fn words(&self) -> String {
        let day = |time: &str| time[..10].to_owned();
        let name = if self.tester.is_empty() { "not named" } else { &self.tester };
        let due = match &self.due {
            Some(due) => format!("due {}", day(due)),
            None => "no due date known".into(),
        };
        let proof = match (&self.last_proof, self.last_proof_passed) {
            (Some(at), Some(true)) => format!("last proof {} passed", day(at)),
            (Some(at), _) => format!("last proof {} failed", day(at)),
            (None, _) => "no proof known".into(),
        };
        let (first, last) = (day(&self.first), day(&self.last));
        let mut words =
            format!("{name}: {} readings {first} to {last}, {due}, {proof}", self.readings);
        for finding in &self.findings {
            words.push_str("; ");
            words.push_str(finding);
        }
        words
    }
}
