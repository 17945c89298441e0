//! Resistances and times in the words of reasons.

/// What the detector's numbers rest on and how well it did where the truth was known; it stands
/// wherever they are read. The rates are those of `fixtures/scores.md`.
pub const ASSUMPTIONS: &str = "Probabilities and intervals hold under the detector's model (a level \
that may start to fall at any time, readings scattered about it, temperature by the class of \
insulation). It was checked on simulated fleets only: there it missed 25 % of the declines that \
reached a limit when tested monthly with a hand-held tester, 31 % with swapped testers and missing \
temperatures, under 1 % when tested weekly on a bench, and raised less than 0.5 false flags in 100 \
healthy machine-years.";

/// An amount of ohms for a person: three significant digits with the prefix of the trade.
pub fn ohms(ohms: f64) -> String {
    let steps = [(1e12, "TΩ"), (1e9, "GΩ"), (1e6, "MΩ"), (1e3, "kΩ")];
    // What rounds up to the next prefix is written with it: 1 MΩ, not 1000 kΩ.
    let fits = |scale: f64| ohms >= scale * 0.9995;
    let (scale, unit) = steps.into_iter().find(|(s, _)| fits(*s)).unwrap_or((1.0, "Ω"));
    let scaled = ohms / scale;
    let digits = match scaled {
        v if v >= 99.95 => 0,
        v if v >= 9.995 => 1,
        _ => 2,
    };
    let text = format!("{scaled:.digits$}");
    let text =
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} {unit}")
}

/// The same from log10 ohm.
pub fn log_ohms(log: f64) -> String {
    ohms(10.0_f64.powf(log))
}

#[cfg(test)]
mod tests {
    use super::ohms;

    #[test]
    fn three_digits_and_a_prefix() {
        let table = [
            (550e6, "550 MΩ"),
            (5e6, "5 MΩ"),
            (999_960.0, "1 MΩ"),
            (1.4e6, "1.4 MΩ"),
            (80e3, "80 kΩ"),
            (2.345e9, "2.35 GΩ"),
            (12.0, "12 Ω"),
            (1e13, "10 TΩ"),
        ];
        for (value, text) in table {
            assert_eq!(ohms(value), text);
        }
    }
}
