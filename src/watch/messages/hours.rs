//! Quiet hours and the time of the daily digest, by the clock on the wall.

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

use crate::model::Stamp;

/// When people are to be left alone, and when they are to be told everything.
#[derive(Clone, Debug, PartialEq)]
pub struct Hours {
    zone: TimeZone,
    quiet: Option<(Time, Time)>,
    digest_at: Option<Time>,
}

impl Default for Hours {
    /// No quiet hours, no digest.
    fn default() -> Self {
        Hours { zone: TimeZone::UTC, quiet: None, digest_at: None }
    }
}

impl Hours {
    /// Checks times of the day in a time zone; the error says what was expected. Quiet hours may
    /// reach over midnight; their end belongs to them no more.
    pub fn new(
        zone: TimeZone,
        quiet: Option<(Time, Time)>,
        digest_at: Option<Time>,
    ) -> Result<Self, String> {
        if quiet.is_some_and(|(from, until)| from == until) {
            return Err("`quiet_until`: expected another time than `quiet_from`".to_owned());
        }
        let hours = Hours { zone, quiet, digest_at };
        match digest_at.filter(|at| hours.is_quiet_at(*at)) {
            Some(at) => {
                Err(format!("`digest_at`: expected a time outside quiet hours, found {at}"))
            }
            None => Ok(hours),
        }
    }

    /// Whether a digest is asked for at all.
    pub fn have_digest(&self) -> bool {
        self.digest_at.is_some()
    }

    fn local(&self, at: Stamp) -> Option<DateTime> {
        let at = jiff::Timestamp::from_microsecond(at.micros()).ok()?;
        Some(self.zone.to_datetime(at))
    }

    /// Whether only what is urgent may go out now.
    pub fn is_quiet(&self, now: Stamp) -> bool {
        self.local(now).is_some_and(|local| self.is_quiet_at(local.time()))
    }

    fn is_quiet_at(&self, time: Time) -> bool {
        self.quiet.is_some_and(|(from, until)| match from < until {
            true => from <= time && time < until,
            false => from <= time || time < until,
        })
    }

    /// The day whose digest should have gone out by now.
    pub(super) fn digest_day(&self, now: Stamp) -> Option<Date> {
        let local = self.local(now)?;
        match self.digest_at? <= local.time() {
            true => Some(local.date()),
            false => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::{date, time};

    use super::*;

    fn at(text: &str) -> Stamp {
        Stamp::parse(text).unwrap()
    }

    fn berlin(quiet: Option<(Time, Time)>, digest_at: Option<Time>) -> Result<Hours, String> {
        Hours::new(TimeZone::get("Europe/Berlin").unwrap(), quiet, digest_at)
    }

    #[test]
    fn quiet_hours_follow_the_clock_on_the_wall() {
        let night = berlin(Some((time(22, 0, 0, 0), time(6, 0, 0, 0))), None).unwrap();
        // In winter an hour, in summer two hours before UTC.
        for (now, quiet) in [
            ("2026-01-15T20:59:59Z", false),
            ("2026-01-15T21:00:00Z", true),
            ("2026-01-16T04:59:59Z", true),
            ("2026-01-16T05:00:00Z", false),
            ("2026-07-15T20:00:00Z", true),
            ("2026-07-16T04:00:00Z", false),
            // The clock is put back: the hour from two to three comes twice.
            ("2026-10-25T04:59:59Z", true),
            ("2026-10-25T05:00:00Z", false),
        ] {
            assert_eq!(night.is_quiet(at(now)), quiet, "{now}");
        }
        let noon = berlin(Some((time(12, 0, 0, 0), time(13, 0, 0, 0))), None).unwrap();
        assert!(noon.is_quiet(at("2026-01-15T11:30:00Z")));
        assert!(!noon.is_quiet(at("2026-01-15T12:00:00Z")));
        assert!(!Hours::default().is_quiet(at("2026-01-15T00:00:00Z")));
    }

    #[test]
    fn a_digest_is_due_from_its_time_to_midnight() {
        let hours = berlin(None, Some(time(7, 0, 0, 0))).unwrap();
        assert_eq!(hours.digest_day(at("2026-03-02T05:59:59Z")), None);
        assert_eq!(hours.digest_day(at("2026-03-02T06:00:00Z")), Some(date(2026, 3, 2)));
        assert_eq!(hours.digest_day(at("2026-03-02T22:59:59Z")), Some(date(2026, 3, 2)));
        assert_eq!(hours.digest_day(at("2026-03-02T23:00:00Z")), None);
        // A time that the clock skips counts from where the clock goes on.
        let skipped = berlin(None, Some(time(2, 30, 0, 0))).unwrap();
        assert_eq!(skipped.digest_day(at("2026-03-29T00:59:59Z")), None);
        assert_eq!(skipped.digest_day(at("2026-03-29T01:00:00Z")), Some(date(2026, 3, 29)));
    }

    #[test]
    fn hours_that_make_no_sense_are_refused() {
        let six = time(6, 0, 0, 0);
        assert!(berlin(Some((six, six)), None).unwrap_err().contains("`quiet_until`"));
        let night = Some((time(22, 0, 0, 0), six));
        assert!(berlin(night, Some(time(23, 0, 0, 0))).unwrap_err().contains("`digest_at`"));
        assert!(berlin(night, Some(six)).is_ok());
    }
}
