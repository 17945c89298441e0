//! How good the data behind an assessment is, in words and as JSON.

use std::io;

use serde::Serialize;

use super::output;
use crate::dossier::{Dossier, Quality, TesterUse};

/// One doubt: how many readings it concerns, and what it did.
#[derive(Serialize)]
pub(super) struct QualityOut {
    doubt: &'static str,
    readings: usize,
    of: usize,
    effect: &'static str,
}

impl QualityOut {
    pub(super) fn of(quality: Quality) -> Self {
        let Quality { doubt, readings, of } = quality;
        QualityOut { doubt: doubt.word(), readings, of, effect: doubt.effect() }
    }
}

/// A tester as this asset's readings met it.
#[derive(Serialize)]
pub(super) struct TesterOut {
    tester: String,
    readings: usize,
    first: String,
    last: String,
    due: Option<String>,
    last_proof: Option<String>,
    last_proof_passed: Option<bool>,
    findings: Vec<String>,
}

impl TesterOut {
    pub(super) fn of(used: &TesterUse) -> Self {
        TesterOut {
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

    fn words(&self) -> String {
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

/// Prints what is in doubt and the testers.
pub(super) fn print(dossier: &Dossier, testers: &[TesterUse]) -> io::Result<()> {
    if dossier.entries.is_empty() {
        return Ok(());
    }
    let quality = dossier.quality();
    output::line("\ndata quality")?;
    if quality.is_empty() {
        output::line("  nothing is in doubt")?;
    }
    for Quality { doubt, readings, of } in quality {
        output::line(format!("  {doubt}: {readings} of {of} readings; {}", doubt.effect()))?;
    }
    output::line("testers")?;
    for used in testers {
        output::line(format!("  {}", TesterOut::of(used).words()))?;
    }
    Ok(())
}
