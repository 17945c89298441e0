//! How good the data behind an assessment is, in words.

use std::io;

use super::output;
use crate::dossier::{Dossier, Quality, TesterStatement, TesterUse};

fn words(tester: &TesterStatement) -> String {
    let day = |time: &str| time[..10].to_owned();
    let name = if tester.tester.is_empty() { "not named" } else { &tester.tester };
    let due = match &tester.due {
        Some(due) => format!("due {}", day(due)),
        None => "no due date known".into(),
    };
    let proof = match (&tester.last_proof, tester.last_proof_passed) {
        (Some(at), Some(true)) => format!("last proof {} passed", day(at)),
        (Some(at), _) => format!("last proof {} failed", day(at)),
        (None, _) => "no proof known".into(),
    };
    let (first, last) = (day(&tester.first), day(&tester.last));
    let mut words =
        format!("{name}: {} readings {first} to {last}, {due}, {proof}", tester.readings);
    for finding in &tester.findings {
        words.push_str("; ");
        words.push_str(finding);
    }
    words
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
        output::line(format!("  {}", words(&TesterStatement::of(used))))?;
    }
    Ok(())
}
