//! An instant: microseconds since 1970-01-01T00:00:00Z, read and written as RFC 3339.

use std::fmt;

/// Microseconds in a day.
pub const DAY_MICROS: i64 = 86_400_000_000;

/// An instant in UTC, to the microsecond.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stamp(i64);

impl Stamp {
    /// The earliest instant that is told apart; sorts before every reading.
    pub const MIN: Stamp = Stamp(i64::MIN);
    /// The latest instant; sorts after every reading.
    pub const MAX: Stamp = Stamp(i64::MAX);

    /// From microseconds since the epoch.
    pub const fn from_micros(micros: i64) -> Self {
        Stamp(micros)
    }

    /// Microseconds since the epoch.
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Days since the epoch, with fraction: the time axis of every fit.
    pub fn days(self) -> f64 {
        self.0 as f64 / DAY_MICROS as f64
    }

    /// The UTC day this instant lies in, counted from the epoch.
    pub const fn utc_day(self) -> i64 {
        self.0.div_euclid(DAY_MICROS)
    }

    /// The instant `days` later (earlier when negative), held inside the range.
    pub fn plus_days(self, days: f64) -> Self {
        Stamp(self.0.saturating_add((days * DAY_MICROS as f64) as i64))
    }

    /// Reads RFC 3339 (`2026-03-02T08:15:00Z`, with any offset), or a bare date as its first
    /// instant in UTC. The error says what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Ok(stamp) = text.parse::<jiff::Timestamp>() {
            return Ok(Stamp(stamp.as_microsecond()));
        }
        if let Ok(date) = text.parse::<jiff::civil::Date>()
            && text.len() == 10
            && let Ok(start) = date.to_datetime(jiff::civil::Time::midnight()).in_tz("UTC")
        {
            return Ok(Stamp(start.timestamp().as_microsecond()));
        }
        Err(format!(
            "expected a time like `2026-03-02T08:15:00Z` or a date like `2026-03-02`, found `{text}`"
        ))
    }

    /// A time up to which something is asked: a bare date means to the end of that day in UTC.
    pub fn until(text: &str) -> Result<Self, String> {
        let at = Stamp::parse(text)?;
        let bare = text.trim().len() == 10;
        Ok(if bare { Stamp(at.0 + DAY_MICROS - 1) } else { at })
    }

    /// The UTC date alone, `2026-03-02`: for people, where the hour does not matter.
    pub fn date(self) -> String {
        self.to_string().chars().take(10).collect()
    }
}

/// RFC 3339 with `Z` and the fewest of 0, 3 or 6 digits.
impl fmt::Display for Stamp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Ok(t) = jiff::Timestamp::from_microsecond(self.0) else {
            return f.write_str(if self.0 < 0 { "the beginning" } else { "the end" });
        };
        let digits = match self.0.rem_euclid(1_000_000) {
            0 => 0,
            m if m % 1_000 == 0 => 3,
            _ => 6,
        };
        write!(f, "{t:.digits$}")
    }
}
