//! What the fold of one asset may know of the others: temperatures of earlier days, testers.

use std::collections::HashMap;

use crate::model::{Stamp, Text};
use crate::trend::learn::{Learnt, Quarter};

/// Days back over which temperatures are taken.
const DAYS: i64 = 30;

/// Fewest known temperatures that make an estimate.
const FEWEST: u32 = 5;

/// The spread is taken somewhat larger than found: the days ahead may be unlike those before.
const WIDER: f64 = 1.1;

/// Least spread of an estimate, K.
const LEAST_SPREAD: f64 = 2.0;

/// What is taken where nothing is known at all, °C and K: workshops between cold and warm.
const NOTHING_KNOWN: (f64, f64) = (22.5, 6.5);

/// All that is not of the asset itself; frozen for one evaluation, never learnt within it.
#[derive(Clone, Debug, Default)]
pub struct Context {
    /// Temperatures by station and day.
    pub temperatures: Temperatures,
    /// Offset of a tester against its peers and its uncertainty, decades; an absent one is as good
    /// as its peers.
    pub testers: HashMap<Text, (f64, f64)>,
    /// What the fleet taught, by rising quarter; a visit goes by the latest that is not after its
    /// own. Empty: there is nothing but the shipped priors.
    pub learnt: Vec<Learnt>,
}

impl Context {
    /// What was learnt before a quarter began.
    pub(super) fn learnt(&self, quarter: Quarter) -> Option<&Learnt> {
        let known = self.learnt.partition_point(|learnt| learnt.quarter <= quarter);
        self.learnt.get(known.checked_sub(1)?)
    }
}

/// Known temperatures, summed by station and UTC day. An estimate for a day uses earlier days
/// only, so that it does not depend on the order in which a day's readings arrive.
#[derive(Clone, Debug, Default)]
pub struct Temperatures {
    stations: HashMap<Text, Days>,
    fleet: Days,
}

impl Temperatures {
    /// Adds one known temperature in °C.
    pub fn add(&mut self, at: Stamp, station: &str, celsius: f64) {
        if !celsius.is_finite() {
            return;
        }
        self.fleet.add(at.utc_day(), celsius);
        if !station.is_empty() {
            self.stations.entry(station.into()).or_default().add(at.utc_day(), celsius);
        }
    }

    /// Adds the sums of one station and day: how many, their sum in °C, the sum of their squares.
    pub fn add_day(&mut self, station: &str, day: i64, (n, sum, squares): (u32, f64, f64)) {
        let add = |days: &mut Days| {
            let all = days.0.entry(day).or_default();
            *all = (all.0 + n, all.1 + sum, all.2 + squares);
        };
        add(&mut self.fleet);
        if !station.is_empty() {
            add(self.stations.entry(station.into()).or_default());
        }
    }

    /// Mean in °C and spread in K to be taken at a station on the day of `at`.
    pub fn estimate(&self, at: Stamp, station: &str) -> (f64, f64) {
        let day = at.utc_day();
        let own = self.stations.get(station).and_then(|days| days.before(day));
        own.or_else(|| self.fleet.before(day)).unwrap_or(NOTHING_KNOWN)
    }
}

/// Sums by day, in order of days: number, sum, sum of squares.
#[derive(Clone, Debug, Default)]
struct Days(std::collections::BTreeMap<i64, (u32, f64, f64)>);

impl Days {
    fn add(&mut self, day: i64, celsius: f64) {
        let (n, sum, squares) = self.0.entry(day).or_default();
        *n += 1;
        *sum += celsius;
        *squares += celsius * celsius;
    }

    fn before(&self, day: i64) -> Option<(f64, f64)> {
        let days = self.0.range(day.saturating_sub(DAYS)..day);
        let (n, sum, squares) =
            days.fold((0, 0.0, 0.0), |a, (_, d)| (a.0 + d.0, a.1 + d.1, a.2 + d.2));
        let mean = sum / f64::from(n);
        let spread = (squares / f64::from(n) - mean * mean).max(0.0).sqrt();
        (n >= FEWEST).then_some((mean, (WIDER * spread).max(LEAST_SPREAD)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_earlier_days_count() {
        let mut t = Temperatures::default();
        let at = |day: f64| Stamp::from_micros(0).plus_days(day);
        for i in 0..6 {
            t.add(at(10.0 + f64::from(i) / 10.0), "yard", 10.0);
        }
        assert_eq!(t.estimate(at(10.9), "yard"), NOTHING_KNOWN);
        assert_eq!(t.estimate(at(11.0), "yard"), (10.0, LEAST_SPREAD));
        assert_eq!(t.estimate(at(11.0), "hall"), (10.0, LEAST_SPREAD));
        assert_eq!(t.estimate(at(41.0), "yard"), NOTHING_KNOWN);
    }
}
