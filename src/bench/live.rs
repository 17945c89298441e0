//! What a station's stream has brought lately: for whoever watches, and for closing a test in time.
//! It lives in memory; what counts is in the store.

use super::act::Value;
use crate::model::{Reading, Stamp};

/// A value as it came.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiveValue {
    /// When it arrived.
    pub at: Stamp,
    /// Seconds of applied voltage, where known.
    pub seconds: Option<f64>,
    /// What was shown.
    pub value: Value,
    /// Volts that the tester delivered.
    pub delivered_v: Option<f64>,
}

/// Values of one test that are kept for the page: at one a second a quarter of an hour.
const MOST: usize = 900;

/// How much longer than rated a value still belongs to its test: half as long again, as far as a
/// value still counts as rated.
const LATE: f64 = 1.5;

/// The latest values of a station.
#[derive(Clone, Debug, Default)]
pub(super) struct Live {
    /// The last value, whatever it belonged to.
    pub(super) last: Option<LiveValue>,
    /// Those of the test under way.
    pub(super) test: Vec<LiveValue>,
    /// When the test's first value came, less the seconds it told.
    started: Option<Stamp>,
    /// The longest duration that the test has told.
    longest: Option<f64>,
    /// The test's values have ended: what comes is of something else.
    closed: bool,
    /// Its seconds began anew before the rated time.
    restarted: bool,
}

impl Live {
    /// A test begins.
    pub(super) fn begin(&mut self) {
        *self = Live { last: self.last, ..Live::default() };
    }

    /// Whether a value still belongs to the test, which takes `rated_s`. Seconds that fall back
    /// after the rated time mean that the tester measures something else; and what comes much
    /// later than rated is of a test that nobody has told us of.
    pub(super) fn belongs(&mut self, at: Stamp, seconds: Option<f64>, rated_s: f64) -> bool {
        let since = |from: Stamp| at.micros().saturating_sub(from.micros()) as f64 / 1e6;
        let told = seconds.unwrap_or(0.0);
        let started = *self.started.get_or_insert(at.plus_days(-told / 86_400.0));
        let fell_back = matches!(
            (self.longest, seconds), (Some(longest), Some(s)) if s < longest && longest >= rated_s
        );
        let restarted = matches!((self.longest, seconds), (Some(longest), Some(s)) if s < longest);
        if restarted && !fell_back {
            // It was broken off before the rated time and begun again.
            self.started = Some(at.plus_days(-told / 86_400.0));
            self.longest = None;
            self.restarted = true;
        }
        let elapsed = seconds.unwrap_or_else(|| since(started));
        self.closed |= fell_back || elapsed > LATE * rated_s;
        if !self.closed {
            self.longest = seconds.map(|s| self.longest.map_or(s, |longest| longest.max(s)));
        }
        !self.closed
    }

    pub(super) fn saw(&mut self, at: Stamp, reading: &Reading, of_test: bool) {
        let value = Value { ohms: reading.ohms, bound: reading.bound };
        let (seconds, delivered_v) = (reading.duration_s, reading.delivered_voltage_v);
        let value = LiveValue { at, seconds, value, delivered_v };
        self.last = Some(value);
        if of_test && self.test.len() < MOST {
            self.test.push(value);
        }
    }

    /// A test was under way whose beginning nobody remembers: its seconds cannot be counted on, so
    /// no value belongs to it any more.
    pub(super) fn interrupted() -> Self {
        Live { closed: true, restarted: true, ..Live::default() }
    }

    /// Whether the seconds of the test are in doubt.
    pub(super) fn is_in_doubt(&self) -> bool {
        self.restarted
    }

    /// When the voltage of the test went on, as the stream tells.
    pub(super) fn started(&self) -> Option<Stamp> {
        self.started.filter(|_| !self.test.is_empty())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: f64) -> Stamp {
        Stamp::from_micros(1_700_000_000_000_000).plus_days(seconds / 86_400.0)
    }

    fn belong(values: &[(f64, Option<f64>)]) -> Vec<bool> {
        let mut live = Live::default();
        values.iter().map(|&(t, s)| live.belongs(at(t), s, 60.0)).collect()
    }

    #[test]
    fn a_test_closes_when_it_is_long_over() {
        let bare = [(0.0, None), (60.0, None), (89.0, None), (91.0, None), (92.0, None)];
        assert_eq!(belong(&bare), [true, true, true, false, false]);
        let told = [(0.0, Some(5.0)), (55.0, Some(60.0)), (90.0, Some(95.0))];
        assert_eq!(belong(&told), [true, true, false]);
    }

    #[test]
    fn seconds_that_fall_back_after_the_rated_time_are_of_something_else() {
        let next = [(0.0, Some(5.0)), (55.0, Some(60.0)), (58.0, Some(1.0)), (60.0, Some(3.0))];
        assert_eq!(belong(&next), [true, true, false, false]);
    }

    #[test]
    fn a_test_broken_off_may_begin_again() {
        let again = [(0.0, Some(5.0)), (9.0, Some(14.0)), (30.0, Some(0.0)), (90.0, Some(60.0))];
        assert_eq!(belong(&again), [true; 4]);
        let mut live = Live::interrupted();
        assert!(!live.belongs(at(0.0), Some(0.0), 60.0) && live.is_in_doubt());
        live.begin();
        assert!(live.belongs(at(0.0), Some(0.0), 60.0) && !live.is_in_doubt());
    }
}
