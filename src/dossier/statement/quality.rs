//! How good the data behind a dossier is, as it is told.

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
    /// Readings that stand for a visit or were left out, voided ones aside.
    pub of: usize,
    /// What the doubt did to the assessment.
    pub effect: &'static str,
}

impl QualityStatement {
    /// Tells a doubt.
    pub fn of(quality: Quality) -> Self {
        let Quality { doubt, readings, of } = quality;
        QualityStatement { doubt: doubt.word(), readings, of, effect: doubt.effect() }
    }
}

/// A tester as an asset's readings met it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TesterStatement {
    /// Its id; empty: readings that name none.
    #[schema(example = "HT-5")]
    pub tester: String,
    /// Readings made with it.
    pub readings: usize,
    /// When the first was taken.
    pub first: String,
    /// When the last was taken.
    pub last: String,
    /// When its next test or calibration is due.
    pub due: Option<String>,
    /// When its newest proof was made.
    pub last_proof: Option<String>,
    /// Whether that passed.
    pub last_proof_passed: Option<bool>,
    /// What stands against it.
    pub findings: Vec<String>,
}

impl TesterStatement {
    /// Tells a tester.
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
}
