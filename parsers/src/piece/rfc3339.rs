//! An instant as RFC 3339 writes it, and its two coarser forms.
//!
//! ```text
//!  2026-03-02 T 08:15 :30 .250 +01:00
//!      |      |   |    |    |     |
//!      1      2   3    4    5     6
//! ```
//! 1 date; alone it means that day in UTC  2 `T`, `t` or a space  3 hour and minute
//! 4 second; without it the time is known to the minute  5 fraction, kept to microseconds
//! 6 `Z`, `z` or the offset; never left out. A leap second (`:60`) is refused: no tester writes it,
//! and it has no place in a count of seconds since 1970.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::Offset;

use crate::raw::{Doubt, Precision, Taken};

/// What a person is told to write.
pub(crate) const EXPECTED: &str =
    "an RFC 3339 time with offset such as `2026-03-02T08:15:00Z`, to the minute, or a date alone";

/// The instant that a whole cell says.
pub(crate) fn instant(cell: &str) -> Option<Taken> {
    let text = cell.as_bytes();
    let date = Date::new(
        i16::try_from(digits(text, 0, 4)?).ok()?,
        small(text, dash(text, 4)?)?,
        small(text, dash(text, 7)?)?,
    )
    .ok()?;
    if text.len() == 10 {
        return Some(taken(date.at(0, 0, 0, 0), Offset::UTC, Precision::Day));
    }
    if !matches!(text[10], b'T' | b't' | b' ') || *text.get(13)? != b':' {
        return None;
    }
    let (hour, minute) = (small(text, 11)?, small(text, 14)?);
    let (mut second, mut nanos, mut at) = (0, 0, 16);
    let mut precision = Precision::Minute;
    if *text.get(16)? == b':' {
        second = small(text, 17)?;
        at = 19;
        precision = Precision::Fine;
        if *text.get(19)? == b'.' {
            (nanos, at) = fraction(text, 20)?;
        }
    }
    let time = Time::new(hour, minute, second, nanos).ok()?;
    Some(taken(date.to_datetime(time), offset(text, at)?, precision))
}

/// Microseconds of a civil time at an offset. Years 0 to 9999 at any offset are well within range.
fn taken(time: DateTime, offset: Offset, precision: Precision) -> Taken {
    let day = i64::from(days_since_1970(time.date()));
    let clock = time.time();
    let seconds =
        i64::from(clock.hour()) * 3600 + i64::from(clock.minute()) * 60 + i64::from(clock.second())
            - i64::from(offset.seconds());
    let micros = (day * 86_400 + seconds) * 1_000_000 + i64::from(clock.subsec_nanosecond()) / 1000;
    Taken { micros, precision, doubt: Doubt::None }
}

/// Days since 1970-01-01 of a date in the Gregorian calendar.
///
/// Source: H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", `days_from_civil`.
fn days_since_1970(date: Date) -> i32 {
    let (year, month, day) = (i32::from(date.year()), i32::from(date.month()), date.day());
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let of_era = year.rem_euclid(400);
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + i32::from(day) - 1;
    era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468
}

/// `Z`, `+01:00`, `-03:30` up to the end of the text.
fn offset(text: &[u8], at: usize) -> Option<Offset> {
    let sign = match text.get(at)? {
        b'Z' | b'z' if text.len() == at + 1 => return Some(Offset::UTC),
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    if text.len() != at + 6 || text[at + 3] != b':' {
        return None;
    }
    let (hours, minutes) = (digits(text, at + 1, 2)?, digits(text, at + 4, 2)?);
    if hours > 23 || minutes > 59 {
        return None;
    }
    Offset::from_seconds(sign * (hours * 3600 + minutes * 60)).ok()
}

/// One to nine digits as nanoseconds, and where they end.
fn fraction(text: &[u8], from: usize) -> Option<(i32, usize)> {
    let count = text[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    if !(1..=9).contains(&count) {
        return None;
    }
    let scale = 10_i32.pow(9 - u32::try_from(count).ok()?);
    Some((digits(text, from, count)? * scale, from + count))
}

/// The number in exactly `count` digits.
fn digits(text: &[u8], from: usize, count: usize) -> Option<i32> {
    text.get(from..from + count)?
        .iter()
        .try_fold(0, |sum, byte| byte.is_ascii_digit().then(|| sum * 10 + i32::from(byte - b'0')))
}

fn small(text: &[u8], from: usize) -> Option<i8> {
    i8::try_from(digits(text, from, 2)?).ok()
}

fn dash(text: &[u8], at: usize) -> Option<usize> {
    (*text.get(at)? == b'-').then_some(at + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_examples_of_rfc_3339() {
        // RFC 3339, section 5.8; the Unix times by GNU date.
        let micros = |text| instant(text).map(|taken| taken.micros);
        assert_eq!(micros("1985-04-12T23:20:50.52Z"), Some(482_196_050_520_000));
        assert_eq!(micros("1996-12-19T16:39:57-08:00"), Some(851_042_397_000_000));
        assert_eq!(micros("1937-01-01T12:00:27.87+00:20"), Some(-1_041_337_172_130_000));
        assert_eq!(micros("1990-12-31T23:59:60Z"), None, "a leap second is refused");
    }

    #[test]
    fn coarser_forms_say_so() {
        let precision = |text| instant(text).map(|taken| taken.precision);
        assert_eq!(precision("2026-03-02T08:15:00Z"), Some(Precision::Fine));
        assert_eq!(precision("2026-03-02T08:15Z"), Some(Precision::Minute));
        assert_eq!(precision("2026-03-02"), Some(Precision::Day));
    }

    #[test]
    fn what_is_no_instant() {
        for text in [
            "",
            "2026-03-02T08:15:00",
            "2026-02-29T08:15:00Z",
            "2026-03-02T24:00:00Z",
            "2026-03-02T08:15:00+1:00",
            "2026-03-02T08:15:00.Z",
            "26-03-02T08:15:00Z",
            "2026-03-02T08:15:00ZZ",
            "2026-03-02T",
            "2026-03-02T08Z",
            "02.03.2026",
            "2026-3-2T08:15:00Z",
        ] {
            assert_eq!(instant(text), None, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn agrees_with_jiff(second in -62_000_000_000_i64..250_000_000_000, offset in -86_000..86_000) {
            let stamp = jiff::Timestamp::from_second(second).expect("in range");
            let offset = Offset::from_seconds(offset / 60 * 60).expect("in range");
            let text = stamp.display_with_offset(offset).to_string();
            proptest::prop_assert_eq!(instant(&text).map(|t| t.micros), Some(second * 1_000_000), "{}", text);
        }
    }
}
