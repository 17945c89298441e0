//! Phase labels by rule: what a published standard settles, and what has to be told.

use crate::model::{Invalid, Phase, text};

/// What a label says by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PhaseRule {
    /// The phase meant.
    Phase(Phase),
    /// Not to be known from the label alone, and why.
    Unmapped(&'static str),
}

/// Reads a phase label.
///
/// `u`, `V` … are the windings themselves, and `U1`, `V2` … their ends (IEC 60034-8: 1 is the
/// start, 2 the end). `L1`, `A`, `R`, `T1` … name the supply or a terminal order that says nothing
/// of the winding: profile or asset has to map them. Any other label stands for itself.
pub fn phase_of(written: &str) -> Result<PhaseRule, Invalid> {
    let label = text("phase", written)?;
    let upper = label.to_ascii_uppercase();
    let winding = match upper.as_str() {
        "" => return Ok(PhaseRule::Unmapped("no phase stated")),
        "U" | "U1" | "U2" => "U",
        "V" | "V1" | "V2" => "V",
        "W" | "W1" | "W2" => "W",
        "L1" | "L2" | "L3" | "A" | "B" | "C" | "R" | "S" | "T" | "Y" | "T1" | "T2" | "T3"
        | "T4" | "T5" | "T6" => {
            return Ok(PhaseRule::Unmapped(
                "the phase label names the supply's order, not a winding",
            ));
        }
        _ => return Ok(PhaseRule::Phase(Phase::new(&label)?)),
    };
    Ok(PhaseRule::Phase(Phase::new(winding)?))
}
