//! Ratios of one test's timed readings: the polarization index and shorter absorption ratios.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Judged;
use crate::model::{Bound, Reading, Series, Stamp};
use crate::standards::machine::{self, absorption};

/// A ratio with the times it was formed at.
#[derive(Clone, Debug, PartialEq)]
pub struct Ratio {
    /// The series.
    pub series: Arc<Series>,
    /// When the later reading was taken.
    pub at: Stamp,
    /// Seconds of the later reading.
    pub later_s: f64,
    /// Seconds of the earlier reading.
    pub earlier_s: f64,
    /// What came out.
    pub value: RatioValue,
}

/// What a ratio came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RatioValue {
    /// Both readings were on scale.
    Is(f64),
    /// The later reading was over-range: at least this.
    AtLeast(f64),
    /// Withheld, because the one-minute resistance is so high that the ratio says nothing
    /// (IEEE Std 43: above 5 GΩ).
    Withheld,
}

/// Pairs of seconds that the trade forms ratios of: 10 min / 1 min is the polarization index; for
/// random-wound windings the 2013 text of IEEE Std 43 prefers shorter ones, 60 s / 30 s; 60 s / 15 s
/// is common practice, no published source.
const PAIRS: [(f64, f64); 3] = [(600.0, 60.0), (60.0, 30.0), (60.0, 15.0)];

/// How far a reading's duration may be from the one asked for, as a part of it.
const TOLERANCE: f64 = 0.1;

/// Whether a ratio can be formed of a reading, by its duration. One that states none may be any.
pub(super) fn is_of_ratio(reading: &Reading) -> bool {
    let near =
        |asked: f64| reading.duration_s.is_none_or(|s| (s - asked).abs() <= TOLERANCE * asked);
    PAIRS.iter().any(|(later, earlier)| near(*later) || near(*earlier))
}

/// All ratios that the timed readings of an asset give, by time. Readings left out give none.
pub fn ratios(judged: &[Judged]) -> Vec<Ratio> {
    let mut tests: BTreeMap<(&Series, usize, usize), Vec<&Reading>> = BTreeMap::new();
    for j in judged {
        if let Some(visit) = j.visit {
            let reading = &j.corrected.reading;
            tests.entry((&reading.series, visit, j.test)).or_default().push(reading);
        }
    }
    let mut out = Vec::new();
    for readings in tests.values() {
        for (later, earlier) in PAIRS {
            if let (Some(a), Some(b)) = (at(readings, later), at(readings, earlier)) {
                out.extend(ratio(a, b, readings));
            }
        }
    }
    out.sort_by_key(|r| r.at);
    out
}

/// The reading nearest to a duration, within the tolerance.
fn at<'r>(readings: &[&'r Reading], seconds: f64) -> Option<&'r Reading> {
    let off = |r: &Reading| (r.duration_s.unwrap_or(f64::INFINITY) - seconds).abs();
    let nearest = readings.iter().copied().min_by(|a, b| off(a).total_cmp(&off(b)))?;
    (off(nearest) <= TOLERANCE * seconds).then_some(nearest)
}

fn ratio(later: &Reading, earlier: &Reading, test: &[&Reading]) -> Option<Ratio> {
    let minute = at(test, 60.0).unwrap_or(earlier);
    let value = match absorption(earlier.ohms, later.ohms, minute.ohms) {
        machine::Ratio::Withheld => RatioValue::Withheld,
        machine::Ratio::Is(ratio) => match (later.bound, earlier.bound) {
            (Bound::Measured, Bound::Measured) => RatioValue::Is(ratio),
            (Bound::Over, Bound::Measured) => RatioValue::AtLeast(ratio),
            // A bound below the line says nothing about the ratio.
            _ => return None,
        },
    };
    Some(Ratio {
        series: later.series.clone(),
        at: later.taken_at,
        later_s: later.duration_s?,
        earlier_s: earlier.duration_s?,
        value,
    })
}
