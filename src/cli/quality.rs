//! How good the data behind an assessment is, printed.

use std::io;

use super::output;
use crate::dossier::{Dossier, Quality, TesterStatement, TesterUse};

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
        output::line(format!("  {}", TesterStatement::of(used).words()))?;
    }
    Ok(())
}
