//! Units in all the spellings that instruments and spreadsheets give them.

/// What is measured, as far as units go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Quantity {
    /// In ohms.
    Resistance,
    /// In volts.
    TestVoltage,
    /// In volts.
    DeliveredVoltage,
    /// In seconds.
    Duration,
    /// In degrees Celsius.
    Temperature,
    /// In per cent.
    Humidity,
}

/// What makes a printed number a value in the unit of its quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Unit {
    /// Times this.
    Scale(f64),
    /// (value − 32) / 1.8; exact by definition of the Fahrenheit scale (NIST SP 811, B.8).
    Fahrenheit,
    /// value − 273.15; exact by definition (SI Brochure, 9th edition, 2.3.1).
    Kelvin,
    /// `m:ss`, as a display shows a running test.
    MinutesSeconds,
}

impl Unit {
    pub(crate) fn apply(self, value: f64) -> f64 {
        match self {
            Unit::Scale(1.0) => value,
            Unit::Scale(factor) => round_15(value * factor),
            Unit::Fahrenheit => (value - 32.0) / 1.8,
            Unit::Kelvin => value - 273.15,
            Unit::MinutesSeconds => value,
        }
    }
}

/// The nearest double to the first 15 significant digits: 1.003 kV is 1003 V, where the product of
/// two doubles is 1002.9999999999999. Nothing prints more digits, and 15 survive in a double.
fn round_15(value: f64) -> f64 {
    format!("{value:.14e}").parse().unwrap_or(value)
}

/// Ohm: GREEK CAPITAL OMEGA, OHM SIGN, and UTF-8 bytes of them read as windows-1252 (`Î©`, `â„¦`),
/// Mac Roman (`Œ©`) and code page 437 (`╬⌐`).
const OHM_SIGNS: [&str; 6] = ["\u{3a9}", "\u{2126}", "Î©", "â„¦", "Œ©", "╬⌐"];

/// Spelt out, compared without regard to case.
const OHM_WORDS: [&str; 2] = ["ohms", "ohm"];

/// Prefixes of resistance. Case matters: `m` is a thousandth, `M` a million.
const PREFIXES: [(&str, f64); 17] = [
    ("µ", 1e-6),
    ("μ", 1e-6),
    ("u", 1e-6),
    ("m", 1e-3),
    ("k", 1e3),
    ("K", 1e3),
    ("kilo", 1e3),
    ("Kilo", 1e3),
    ("M", 1e6),
    ("Meg", 1e6),
    ("meg", 1e6),
    ("MEG", 1e6),
    ("mega", 1e6),
    ("Mega", 1e6),
    ("G", 1e9),
    ("giga", 1e9),
    ("T", 1e12),
];

const VOLTS: [(&str, f64); 10] = [
    ("V", 1.0),
    ("v", 1.0),
    ("Volt", 1.0),
    ("volt", 1.0),
    ("volts", 1.0),
    ("VDC", 1.0),
    ("Vdc", 1.0),
    ("kV", 1e3),
    ("KV", 1e3),
    ("mV", 1e-3),
];

const SECONDS: [(&str, f64); 8] = [
    ("s", 1.0),
    ("S", 1.0),
    ("sec", 1.0),
    ("Sec", 1.0),
    ("min", 60.0),
    ("Min", 60.0),
    ("ms", 1e-3),
    ("h", 3600.0),
];

const CELSIUS: [&str; 7] = ["°C", "C", "degC", "deg C", "℃", "Â°C", "ºC"];
const FAHRENHEIT: [&str; 6] = ["°F", "F", "degF", "deg F", "℉", "Â°F"];
const PER_CENT: [&str; 6] = ["%", "%RH", "% RH", "%rH", "% rH", "%rF"];

/// The unit that a text names; none: not a unit of this quantity.
pub(crate) fn unit(quantity: Quantity, text: &str) -> Option<Unit> {
    let text = text.trim();
    let of = |table: &[(&str, f64)]| {
        table.iter().find(|(name, _)| *name == text).map(|&(_, factor)| Unit::Scale(factor))
    };
    match quantity {
        Quantity::Resistance => ohms(text).map(Unit::Scale),
        Quantity::TestVoltage | Quantity::DeliveredVoltage => of(&VOLTS),
        Quantity::Duration if text == "m:ss" => Some(Unit::MinutesSeconds),
        Quantity::Duration => of(&SECONDS),
        Quantity::Temperature if CELSIUS.contains(&text) => Some(Unit::Scale(1.0)),
        Quantity::Temperature if FAHRENHEIT.contains(&text) => Some(Unit::Fahrenheit),
        Quantity::Temperature => (text == "K").then_some(Unit::Kelvin),
        Quantity::Humidity => PER_CENT.contains(&text).then_some(Unit::Scale(1.0)),
    }
}

/// What a person is told to write.
pub(crate) fn expected(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Resistance => {
            "a unit such as `Ω`, `kΩ`, `MΩ`, `GOhm` (in cell, header or profile)"
        }
        Quantity::TestVoltage | Quantity::DeliveredVoltage => "`V`, `kV` or `mV`",
        Quantity::Duration => "`s`, `min`, `ms` or `h`",
        Quantity::Temperature => "`°C`, `°F` or `K`",
        Quantity::Humidity => "`%`",
    }
}

/// Ohms per unit. A prefix alone will do: on an insulation tester `M` can only be MΩ.
fn ohms(text: &str) -> Option<f64> {
    let prefix = strip_ohm(text).map(str::trim_end);
    match prefix {
        Some("") => Some(1.0),
        // `megohm`, `kilohm`, `gigohm` lose a vowel.
        Some("kil" | "Kil") => Some(1e3),
        Some("gig" | "Gig") => Some(1e9),
        Some("ter" | "tera" | "Tera") => Some(1e12),
        Some("Giga") => Some(1e9),
        prefix => {
            let prefix = prefix.unwrap_or(text);
            PREFIXES.iter().find(|(name, _)| *name == prefix).map(|&(_, factor)| factor)
        }
    }
}

/// What stands before the ohm in a unit; none: it does not end in one.
fn strip_ohm(text: &str) -> Option<&str> {
    if let Some(prefix) = OHM_SIGNS.iter().find_map(|sign| text.strip_suffix(sign)) {
        return Some(prefix);
    }
    OHM_WORDS.iter().find_map(|word| {
        let at = text.len().checked_sub(word.len())?;
        let (prefix, end) = text.split_at_checked(at)?;
        end.eq_ignore_ascii_case(word).then_some(prefix)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ohms_in_every_spelling() {
        // Omega and ohm sign: Unicode code charts, U+03A9 and U+2126 (canonically equivalent).
        // Garbled forms: UTF-8 CE A9 and E2 84 A6 read as windows-1252, Mac Roman and code page 437.
        let cases = [
            ("Ω", 1.0),
            ("\u{2126}", 1.0),
            ("Ohm", 1.0),
            ("OHMS", 1.0),
            ("kΩ", 1e3),
            ("K", 1e3),
            ("MΩ", 1e6),
            ("M\u{2126}", 1e6),
            ("M", 1e6),
            ("Mohm", 1e6),
            ("MOhm", 1e6),
            ("MOHM", 1e6),
            ("M Ohm", 1e6),
            ("megohms", 1e6),
            ("Megohm", 1e6),
            ("MÎ©", 1e6),
            ("MŒ©", 1e6),
            ("M╬⌐", 1e6),
            ("Mâ„¦", 1e6),
            ("GΩ", 1e9),
            ("G", 1e9),
            ("gigohm", 1e9),
            ("TΩ", 1e12),
            ("mΩ", 1e-3),
            ("mohm", 1e-3),
            ("µΩ", 1e-6),
        ];
        for (text, factor) in cases {
            assert_eq!(unit(Quantity::Resistance, text), Some(Unit::Scale(factor)), "{text}");
        }
        for text in ["", "g", "V", "MV", "Mhm", "Ωm", "MM", "%"] {
            assert_eq!(unit(Quantity::Resistance, text), None, "{text}");
        }
    }

    #[test]
    fn a_scaled_number_is_the_one_that_was_meant() {
        for (value, factor, meant) in [(1.003, 1e3, 1003.0), (4.35, 1e9, 4.35e9), (0.07, 60.0, 4.2)]
        {
            assert_eq!(Unit::Scale(factor).apply(value), meant);
        }
    }

    #[test]
    fn temperatures_convert() {
        // NIST SP 811, B.8: 32 °F is 0 °C; 104 °F is 40 °C. SI Brochure: 273.15 K is 0 °C.
        let of = |text| unit(Quantity::Temperature, text);
        assert_eq!(of("°F").map(|u| u.apply(32.0)), Some(0.0));
        assert!(of("F").is_some_and(|u| (u.apply(104.0) - 40.0).abs() < 1e-12));
        assert_eq!(of("K").map(|u| u.apply(273.15)), Some(0.0));
        assert_eq!(of("°C"), Some(Unit::Scale(1.0)));
    }
}
