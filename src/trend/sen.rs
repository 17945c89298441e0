//! The robust slope: median of the slopes of all pairs (Theil 1950; Sen 1968, JASA 63:1379-1389).

use super::normal;
use super::straight::Datum;
use crate::model::Bound;

/// The slopes of all pairs at different times, in rising order, and what the interval needs.
#[derive(Clone, Debug, PartialEq)]
pub struct TheilSen {
    /// Median slope, decades per day.
    pub slope: f64,
    /// median(y) − slope·median(day).
    pub intercept: f64,
    slopes: Vec<f64>,
    /// Variance of Kendall's S with ties.
    variance: f64,
}

/// Median of values in rising order.
fn median_sorted(v: &[f64]) -> f64 {
    let half = v.len() / 2;
    if v.len() % 2 == 1 { v[half] } else { 0.5 * (v[half - 1] + v[half]) }
}

/// Values in rising order, with Σ k(k−1)(2k+5) over groups of k equal ones.
fn sorted_with_ties(values: impl Iterator<Item = f64>) -> (Vec<f64>, f64) {
    let mut v: Vec<f64> = values.collect();
    v.sort_unstable_by(f64::total_cmp);
    let ties = v
        .chunk_by(|a, b| a == b)
        .map(|group| group.len() as f64)
        .map(|k| k * (k - 1.0) * (2.0 * k + 5.0))
        .sum();
    (v, ties)
}

/// Fits readings that are all on scale; bounds must be left to [`slope_with_bounds`].
/// `None` when no two readings differ in time.
pub fn theil_sen(days: &[f64], y: &[f64]) -> Option<TheilSen> {
    let n = days.len().min(y.len());
    let mut slopes = Vec::with_capacity(n * n.saturating_sub(1) / 2);
    for i in 0..n {
        for j in i + 1..n {
            let dt = days[j] - days[i];
            if dt != 0.0 {
                slopes.push((y[j] - y[i]) / dt);
            }
        }
    }
    if slopes.is_empty() {
        return None;
    }
    slopes.sort_unstable_by(f64::total_cmp);
    let (sorted_days, day_ties) = sorted_with_ties(days.iter().copied());
    let (sorted_y, y_ties) = sorted_with_ties(y.iter().copied());
    let m = n as f64;
    let slope = median_sorted(&slopes);
    Some(TheilSen {
        slope,
        intercept: median_sorted(&sorted_y) - slope * median_sorted(&sorted_days),
        slopes,
        variance: (m * (m - 1.0) * (2.0 * m + 5.0) - day_ties - y_ties) / 18.0,
    })
}

impl TheilSen {
    /// Interval of the slope at a two-sided level, after Sen 1968.
    pub fn ci(&self, level: f64) -> (f64, f64) {
        let n = self.slopes.len();
        let half = normal::two_sided(level) * self.variance.max(0.0).sqrt();
        let low = (0.5 * (n as f64 - half)).round_ties_even() - 1.0;
        let high = (0.5 * (n as f64 + half)).round_ties_even();
        (self.slopes[(low.max(0.0) as usize).min(n - 1)], self.slopes[(high as usize).min(n - 1)])
    }
}

/// The slope b at which the readings less b·day show no monotone trend by Kendall's S with bounds
/// (Akritas, Murphy & LaValley 1995, JASA 90:170-177). Without bounds it is the median slope.
/// `None` where no slope is singled out.
///
/// A pair of exact readings tells rise from fall on both sides of its slope, so S falls by 2 there;
/// a pair with one bound tells on one side only, and S falls by 1. The answer is where the falls
/// have used up the S of a line going steeply down.
pub fn slope_with_bounds(data: &[Datum]) -> Option<f64> {
    let mut steps: Vec<(f64, i32)> = Vec::new();
    let mut at_start = 0_i64;
    for (i, a) in data.iter().enumerate() {
        for b in &data[i + 1..] {
            let (a, b) = if a.day <= b.day { (a, b) } else { (b, a) };
            if a.day == b.day {
                continue;
            }
            // Which slopes are possible: below, above or exactly that of the two numbers.
            let slope = (b.y - a.y) / (b.day - a.day);
            let (fall, rise_below) = match (a.bound, b.bound) {
                (Bound::Measured, Bound::Measured) => (2, true),
                // The later one may be higher, or the earlier one lower: a rise against any
                // slope below.
                (Bound::Measured, Bound::Over)
                | (Bound::Under, Bound::Measured)
                | (Bound::Under, Bound::Over) => (1, true),
                (Bound::Measured, Bound::Under)
                | (Bound::Over, Bound::Measured)
                | (Bound::Over, Bound::Under) => (1, false),
                (Bound::Over, Bound::Over) | (Bound::Under, Bound::Under) => continue,
            };
            steps.push((slope, fall));
            at_start += i64::from(rise_below);
        }
    }
    steps.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut s = at_start;
    if s <= 0 {
        return None;
    }
    for (k, (slope, fall)) in steps.iter().enumerate() {
        s -= i64::from(*fall);
        if s < 0 {
            return Some(*slope);
        }
        if s == 0 {
            // Level at 0 until the next step: the middle, as for the median of an even number.
            return steps.get(k + 1).map(|next| 0.5 * (slope + next.0));
        }
    }
    None
}
