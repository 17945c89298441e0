//! Columns of which a row has several: one per phase, duration or test voltage.
//!
//! ```text
//!  Riso  L1-PE  60 s  @ 500 V  [MΩ]
//!   |    |  |    |      |       |
//!   1    2  3    4      5       6
//! ```
//! 1 a word for resistance, or none  2 the phase  3 what the other lead was on  4 after how long
//! 5 at which test voltage  6 the unit. Every part of the name must be one of these.

use super::words;
use crate::header::split_unit;
use crate::piece::unit::{Quantity, Unit, unit};

/// What a column's name says of its readings.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Parts {
    pub(super) phase: Option<String>,
    /// The frame is `case`.
    pub(super) against: Option<String>,
    pub(super) duration_s: Option<f64>,
    pub(super) volts: Option<f64>,
    /// It has a word for resistance, or a unit of it.
    pub(super) is_resistance: bool,
}

/// The families of labels in which a single one says nothing by itself.
const FAMILIES: [&[&str]; 7] = [
    &["U", "V", "W"],
    &["L1", "L2", "L3"],
    &["R", "S", "T"],
    &["A", "B", "C"],
    &["U1", "V1", "W1"],
    &["T1", "T2", "T3"],
    &["HV+", "HV-"],
];

/// Whether a text is a label of a phase.
pub(super) fn is_phase(text: &str) -> bool {
    let upper = text.to_uppercase();
    FAMILIES.iter().any(|family| family.contains(&upper.as_str()))
        || matches!(upper.as_str(), "U2" | "V2" | "W2" | "T4" | "T5" | "T6" | "Y")
}

/// Phase and other lead of a label that names both: `U-V`, `L1/PE`.
pub(super) fn leads(text: &str) -> Option<(String, String)> {
    let marks = ["-", "/", " to ", " vs ", " zu ", " gegen ", "–", " a ", ":", "→", "_"];
    marks.iter().find_map(|mark| {
        let (one, other) = text.split_once(mark)?;
        let (one, other) = (one.trim(), other.trim());
        if !is_phase(one) {
            return None;
        }
        if words::is_case(other) {
            return Some((one.to_owned(), "case".to_owned()));
        }
        is_phase(other).then(|| (one.to_owned(), other.to_owned()))
    })
}

/// The parts of a name, if it has one of phase, duration and voltage, and nothing else.
pub(super) fn parts(cell: &str) -> Option<Parts> {
    let (mut name, behind) = split_unit(cell);
    let mut parts = Parts::default();
    match behind.map(|text| (text, unit(Quantity::Resistance, text))) {
        Some((text, Some(_))) if !matches!(text, "T" | "u" | "m") => parts.is_resistance = true,
        // `R (U-PE)`: the brackets hold a part of the name.
        Some(_) => name = cell,
        None => {}
    }
    let name = name.replace(['(', ')', '[', ']', '@', ','], " ");
    let mut rest = name.trim().to_owned();
    // A word for resistance at either end.
    let words: Vec<&str> = rest.split(' ').filter(|word| !word.is_empty()).collect();
    for taken in (1..=words.len()).rev() {
        let (first, last) = (words[..taken].join(" "), words[words.len() - taken..].join(" "));
        if words::is_resistance(&words::plain(&first)) && taken < words.len() {
            rest = words[taken..].join(" ");
            parts.is_resistance = true;
            break;
        }
        if words::is_resistance(&words::plain(&last)) && taken < words.len() {
            rest = words[..words.len() - taken].join(" ");
            parts.is_resistance = true;
            break;
        }
    }
    for prefix in ["Riso", "Rins", "R_", "R-", "IR-", "IR_", "R"] {
        let Some(behind) = rest.strip_prefix(prefix) else { continue };
        let behind = behind.trim_start_matches(['_', '-', '.']).trim();
        let is_part = leads(behind).is_some() || is_phase(behind) || seconds(behind).is_some();
        if is_part && !is_phase(&rest) {
            rest = behind.to_owned();
            parts.is_resistance = true;
            break;
        }
    }
    if let Some((phase, against)) = leads(&rest) {
        (parts.phase, parts.against) = (Some(phase), Some(against));
        return Some(parts);
    }
    let mut words: Vec<&str> = rest.split([' ', '_']).filter(|word| !word.is_empty()).collect();
    words.retain(|word| {
        let kept = words::plain(word);
        !matches!(
            kept.as_str(),
            "phase"
                | "fase"
                | "faza"
                | "fas"
                | "winding"
                | "wicklung"
                | "leiter"
                | "at"
                | "after"
                | "nach"
                | "bei"
                | "enroulement"
        ) || is_phase(word) && kept.len() > 1
    });
    let mut at = 0;
    while at < words.len() {
        let word = words[at];
        let two = words.get(at + 1).map(|next| format!("{word} {next}"));
        let quantity = |text: &str| {
            (seconds(text).map(|s| (Some(s), None))).or(volts(text).map(|v| (None, Some(v))))
        };
        if let Some((one, other)) = leads(word) {
            (parts.phase, parts.against) = (Some(one), Some(other));
        } else if is_phase(word) {
            if parts.phase.is_some() {
                return None;
            }
            parts.phase = Some(word.to_owned());
        } else if words::is_case(word) && parts.phase.is_some() {
            parts.against = Some("case".to_owned());
        } else if let Some((s, v)) = two.as_deref().and_then(quantity) {
            parts.duration_s = s.or(parts.duration_s);
            parts.volts = v.or(parts.volts);
            at += 1;
        } else if let Some((s, v)) = quantity(word) {
            parts.duration_s = s.or(parts.duration_s);
            parts.volts = v.or(parts.volts);
        } else {
            return None;
        }
        at += 1;
    }
    (parts.phase.is_some() || parts.duration_s.is_some() || parts.volts.is_some()).then_some(parts)
}

/// `60 s`, `1min`, `10 min`; the bare 15, 30, 60 and 600 are seconds of the ratios' readings
/// (common practice, no published source), other bare numbers are nothing.
fn seconds(text: &str) -> Option<f64> {
    let (digits, rest) = leading(text)?;
    let rest = rest.trim();
    if rest.is_empty() {
        return matches!(digits, "15" | "30" | "60" | "600").then(|| digits.parse().ok())?;
    }
    let rest = if rest.eq_ignore_ascii_case("min") { "min" } else { rest };
    match unit(Quantity::Duration, rest)? {
        Unit::Scale(factor) => Some(digits.parse::<f64>().ok()? * factor),
        _ => None,
    }
}

fn volts(text: &str) -> Option<f64> {
    let (digits, rest) = leading(text)?;
    match unit(Quantity::TestVoltage, rest.trim())? {
        Unit::Scale(factor) => Some(digits.parse::<f64>().ok()? * factor),
        _ => None,
    }
}

fn leading(text: &str) -> Option<(&str, &str)> {
    let end = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    (end > 0).then(|| text.split_at(end))
}

/// Whether columns with these parts make sense together: different from each other, and with
/// single letters only as a whole family.
pub(super) fn go_together(columns: &[&Parts]) -> bool {
    if columns.len() < 2 {
        return false;
    }
    let differ = columns.iter().enumerate().all(|(n, one)| {
        columns[..n].iter().all(|other| {
            (&one.phase, &one.against, one.duration_s, one.volts)
                != (&other.phase, &other.against, other.duration_s, other.volts)
        })
    });
    let labels: Vec<String> =
        columns.iter().filter_map(|p| p.phase.as_ref()).map(|p| p.to_uppercase()).collect();
    let sure = columns.iter().all(|p| {
        p.is_resistance || p.against.is_some() || p.volts.is_some() || p.duration_s.is_some()
    });
    let family = FAMILIES.iter().any(|family| {
        let of_family = family.iter().all(|label| labels.iter().any(|l| l == label));
        of_family && labels.iter().all(|l| family.contains(&l.as_str()))
    });
    differ && (sure || family)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_parts() {
        let of = |cell: &str| {
            parts(cell).map(|p| {
                (p.phase.unwrap_or_default(), p.against.unwrap_or_default(), p.duration_s, p.volts)
            })
        };
        let text = |phase: &str, against: &str| Some((phase.into(), against.into(), None, None));
        assert_eq!(of("U-PE"), text("U", "case"));
        assert_eq!(of("Riso L1 [MΩ]"), text("L1", ""));
        assert_eq!(of("L1/PE"), text("L1", "case"));
        assert_eq!(of("Phase A"), text("A", ""));
        assert_eq!(of("R(U-V)"), text("U", "V"));
        assert_eq!(of("Insulation resistance W (GΩ)"), text("W", ""));
        assert_eq!(of("R 60 s [MΩ]"), Some(("".into(), "".into(), Some(60.0), None)));
        assert_eq!(of("Riso 10min"), Some(("".into(), "".into(), Some(600.0), None)));
        assert_eq!(of("R@500 V (MΩ)"), Some(("".into(), "".into(), None, Some(500.0))));
        assert_eq!(of("R15"), Some(("".into(), "".into(), Some(15.0), None)));
        for cell in ["Riso", "Motor", "R1", "Temp", "Un [V]", "Note", "Date"] {
            assert_eq!(of(cell), None, "{cell}");
        }
    }
}
