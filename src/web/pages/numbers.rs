//! Numbers, bounds and times as pages write them.

use crate::model::Stamp;
use crate::trend::words::ohms;

/// A resistance with what it means: `53 MΩ`, `> 550 MΩ`, `< 10 kΩ`.
pub(in crate::web) fn bounded(bound: &str, value: f64) -> String {
    match bound {
        ">" | "<" => format!("{bound} {}", ohms(value)),
        _ => ohms(value),
    }
}

/// The date of an RFC 3339 time.
pub(in crate::web) fn date(time: &str) -> &str {
    time.get(..10).unwrap_or(time)
}

/// Ohms from log10 ohm.
pub(in crate::web) fn power(log_ohm: f64) -> f64 {
    10f64.powf(log_ohm)
}

/// A time to the minute: `2026-03-02 08:15`, in UTC.
pub(in crate::web) fn minute(at: Stamp) -> String {
    let text = at.to_string();
    match text.get(..16) {
        Some(minute) => minute.replace('T', " "),
        None => text,
    }
}

/// A time as people write it, `2026-03-02 08:15`, in UTC as a machine reads it; anything else as it
/// is.
pub(in crate::web) fn utc(written: &str) -> String {
    let written = written.trim().replacen(' ', "T", 1);
    match written.len() {
        16 if written.contains('T') => format!("{written}:00Z"),
        19 if written.contains('T') => format!("{written}Z"),
        _ => written,
    }
}

/// What templates may say after a bar.
#[expect(unreachable_pub, reason = "the macro makes every filter public")]
pub(super) mod filters {
    use std::fmt::Display;

    use askama::{Result, Values};

    /// The date of an RFC 3339 time.
    #[askama::filter_fn]
    pub fn date(time: impl Display, _: &dyn Values) -> Result<String> {
        Ok(super::date(&time.to_string()).to_owned())
    }

    /// A sentence with what it quotes between quotation marks, as pages have them.
    #[askama::filter_fn]
    pub fn quoted(sentence: impl Display, _: &dyn Values) -> Result<String> {
        Ok(super::quoted(&sentence.to_string()))
    }

    /// A whole number with its thousands apart: `10,000`.
    #[askama::filter_fn]
    pub fn thousands(number: impl Display, _: &dyn Values) -> Result<String> {
        Ok(super::thousands(&number.to_string()))
    }
}

fn quoted(sentence: &str) -> String {
    let mut parts = sentence.split('`');
    let mut out = parts.next().unwrap_or_default().to_owned();
    for (i, part) in parts.enumerate() {
        out.push(if i % 2 == 0 { '“' } else { '”' });
        out.push_str(part);
    }
    out
}

fn thousands(digits: &str) -> String {
    let mut out = String::new();
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_as_people_read_them() {
        let table = [("7", "7"), ("999", "999"), ("1000", "1,000"), ("1234567", "1,234,567")];
        for (digits, text) in table {
            assert_eq!(thousands(digits), text);
        }
        assert_eq!(utc("2026-03-02 08:15"), "2026-03-02T08:15:00Z");
        assert_eq!(utc("2026-03-02T08:15:30"), "2026-03-02T08:15:30Z");
        assert_eq!(utc("2026-03-02"), "2026-03-02");
        assert_eq!(quoted("`a`: expected `b`, found c"), "“a”: expected “b”, found c");
        assert_eq!(bounded(">", 550e6), "> 550 MΩ");
        assert_eq!(bounded("=", 53e6), "53 MΩ");
        assert_eq!(date("2026-03-02T08:15:00Z"), "2026-03-02");
    }
}
