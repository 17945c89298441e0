//! Training parts: what a part on the training bench is known to have, so that a learner's run can
//! be held against it.

use std::fmt;

use super::{CASE, Invalid, Phase, Text, text};

/// What is known of a training part: its faults, put in on purpose. None: it is sound.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Training {
    /// The faults; empty: a sound part.
    pub faults: Vec<Fault>,
    /// Free text, such as `inserted on purpose`.
    pub remark: Text,
}

/// A path of leakage between two points.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// One end: the phase a live lead is put on.
    pub phase: Phase,
    /// The other end: `case`, or another phase.
    pub against: Text,
    /// What it was made to measure, in ohm; none: not stated.
    pub ohms: Option<f64>,
}

/// Prefixes of ohms; anything larger is no fault.
const PREFIXES: [(char, f64); 4] = [('K', 1e3), ('k', 1e3), ('M', 1e6), ('G', 1e9)];

impl Training {
    /// Reads a known condition: `sound`, or faults such as `V to case 200 kΩ; U to V 1 MΩ`, each
    /// with a remark behind a comma if need be.
    pub fn parse(written: &str) -> Result<Self, Invalid> {
        let written = text("training", written)?;
        let (faults, remark) = match written.split_once(',') {
            Some((faults, remark)) => (faults.trim(), text("training", remark)?),
            None => (written.trim(), Text::default()),
        };
        if faults.eq_ignore_ascii_case("sound") {
            return Ok(Training { faults: Vec::new(), remark });
        }
        let faults = faults.split(';').map(fault).collect::<Result<_, _>>()?;
        Ok(Training { faults, remark })
    }

    /// Whether nothing was put in.
    pub fn is_sound(&self) -> bool {
        self.faults.is_empty()
    }
}

fn fault(written: &str) -> Result<Fault, Invalid> {
    let wrong = || {
        let expected =
            "`sound`, or faults such as `V to case 200 kΩ; U to V 1 MΩ, put in on purpose`";
        Invalid::new("training", expected, written)
    };
    let (phase, rest) = written.split_once(" to ").ok_or_else(wrong)?;
    let phase = phase.trim();
    let phase = Phase::new(phase.strip_prefix("phase ").unwrap_or(phase))?;
    let rest = rest.trim();
    // A number stands by itself: the digits of `core-7` belong to its name.
    let number = rest.match_indices(' ').map(|(i, _)| i + 1);
    let mut number = number.filter(|i| rest[*i..].starts_with(|c: char| c.is_ascii_digit()));
    let (against, ohms) = match number.next() {
        Some(i) => (rest[..i].trim(), Some(ohms(&rest[i..]).ok_or_else(wrong)?)),
        None => (rest, None),
    };
    let against = against.strip_prefix("phase ").unwrap_or(against);
    let against = if against.eq_ignore_ascii_case(CASE) { CASE } else { against };
    if against.is_empty() {
        return Err(wrong());
    }
    Ok(Fault { phase, against: against.into(), ohms })
}

fn ohms(written: &str) -> Option<f64> {
    let bare = written.trim().trim_end_matches("ohm").trim_end_matches(['Ω', 'Ω']).trim_end();
    let (number, scale) = match PREFIXES.iter().find(|(prefix, _)| bare.ends_with(*prefix)) {
        Some((prefix, scale)) => (bare.trim_end_matches(*prefix).trim_end(), *scale),
        None => (bare, 1.0),
    };
    let value = number.parse::<f64>().ok()? * scale;
    (value > 0.0 && value.is_finite()).then_some(value)
}

/// Ohms with the largest prefix that loses nothing: 200 kΩ, but 212345 Ω.
fn shortest(ohms: f64) -> String {
    let exact = |(prefix, scale): &(char, f64)| {
        let written = ohms / scale;
        (written >= 1.0 && written * scale == ohms).then(|| format!("{written} {prefix}Ω"))
    };
    let short = PREFIXES.iter().rev().find_map(exact);
    short.filter(|text| text.len() < 10).unwrap_or_else(|| format!("{ohms} Ω"))
}

/// As [`Training::parse`] reads it.
impl fmt::Display for Training {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_sound() {
            f.write_str("sound")?;
        }
        for (i, fault) in self.faults.iter().enumerate() {
            let apart = if i == 0 { "" } else { "; " };
            write!(f, "{apart}{} to {}", fault.phase, fault.against)?;
            if let Some(ohms) = fault.ohms {
                write!(f, " {}", shortest(ohms))?;
            }
        }
        if !self.remark.is_empty() {
            write!(f, ", {}", self.remark)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_condition_reads_back_as_it_is_written() {
        for (written, canonical) in [
            ("sound", "sound"),
            ("Sound, checked in May", "sound, checked in May"),
            (
                "phase V to case 200 kΩ, inserted on purpose",
                "V to case 200 kΩ, inserted on purpose",
            ),
            ("U to V 1M; W to case", "U to V 1 MΩ; W to case"),
            ("HV+ to core-7 4.7 Mohm", "HV+ to core-7 4.7 MΩ"),
            ("U to case 212345.5", "U to case 212345.5 Ω"),
            ("core-7 to Case 12", "core-7 to case 12 Ω"),
        ] {
            let training = Training::parse(written).unwrap();
            assert_eq!(training.to_string(), canonical);
            assert_eq!(Training::parse(canonical).unwrap(), training);
        }
        for wrong in ["", "bad", "V case 2", "V to case 0", "V to case 2 kV", " to case"] {
            assert!(Training::parse(wrong).is_err(), "{wrong}");
        }
    }
}
