//! The robust slope: median of the slopes of all pairs (Theil 1950; Sen 1968, JASA 63:1379-1389).

use super::normal;
use super::straight::Datum;
use crate::model::Bound;

/// The slopes of all pairs at different times, and what the interval needs.
#[derive(Clone, Debug, PartialEq)]
pub struct TheilSen {
    /// Median slope, decades per day.
    pub slope: f64,
    /// median(y) − slope·median(day).
    pub intercept: f64,
    /// Keys of the slopes, the lower half before the upper.
    keys: Vec<i64>,
    /// Variance of Kendall's S with ties.
    variance: f64,
}

/// A whole number that sorts as the double does: picking the k-th of many is three times quicker.
fn key(v: f64) -> i64 {
    let bits = v.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// The double of a key; the same change undoes itself.
fn value(key: i64) -> f64 {
    f64::from_bits((key ^ (((key >> 63) as u64) >> 1) as i64) as u64)
}

/// Median; leaves the lower half before the upper.
fn median(keys: &mut [i64]) -> f64 {
    let half = keys.len() / 2;
    let even = keys.len().is_multiple_of(2);
    let (below, middle, _) = keys.select_nth_unstable(half);
    let middle = value(*middle);
    match below.iter().max() {
        Some(before) if even => 0.5 * (value(*before) + middle),
        _ => middle,
    }
}

/// Values in rising order, with Σ k(k−1)(2k+5) over groups of k equal ones.
fn sorted_with_ties(values: &[f64]) -> (Vec<f64>, f64) {
    let mut v = values.to_vec();
    v.sort_unstable_by(f64::total_cmp);
    let ties = v
        .chunk_by(|a, b| a == b)
        .map(|group| group.len() as f64)
        .map(|k| k * (k - 1.0) * (2.0 * k + 5.0))
        .sum();
    (v, ties)
}

fn median_sorted(v: &[f64]) -> f64 {
    let half = v.len() / 2;
    if v.len() % 2 == 1 { v[half] } else { 0.5 * (v[half - 1] + v[half]) }
}

/// Fits readings that are all on scale; bounds must be left to [`slope_with_bounds`].
/// `None` when no two readings differ in time.
pub fn theil_sen(days: &[f64], y: &[f64]) -> Option<TheilSen> {
    let n = days.len().min(y.len());
    let (days, y) = (&days[..n], &y[..n]);
    let mut keys = Vec::with_capacity(n * n.saturating_sub(1) / 2);
    for i in 0..n {
        let later = days[i + 1..].iter().zip(&y[i + 1..]);
        keys.extend(later.map(|(d, v)| key((v - y[i]) / (d - days[i]))));
    }
    let (sorted_days, day_ties) = sorted_with_ties(days);
    if day_ties > 0.0 {
        // Pairs at one time have no slope.
        keys.clear();
        for i in 0..n {
            let later = days[i + 1..].iter().zip(&y[i + 1..]).filter(|(d, _)| **d != days[i]);
            keys.extend(later.map(|(d, v)| key((v - y[i]) / (d - days[i]))));
        }
    }
    if keys.is_empty() {
        return None;
    }
    let (sorted_y, y_ties) = sorted_with_ties(y);
    let m = n as f64;
    let slope = median(&mut keys);
    Some(TheilSen {
        slope,
        intercept: median_sorted(&sorted_y) - slope * median_sorted(&sorted_days),
        keys,
        variance: (m * (m - 1.0) * (2.0 * m + 5.0) - day_ties - y_ties) / 18.0,
    })
}

impl TheilSen {
    /// Interval of the slope at a two-sided level, after Sen 1968.
    pub fn ci(&self, level: f64) -> (f64, f64) {
        let n = self.keys.len();
        let half = normal::two_sided(level) * self.variance.max(0.0).sqrt();
        let low = (0.5 * (n as f64 - half)).round_ties_even() - 1.0;
        let high = (0.5 * (n as f64 + half)).round_ties_even();
        let mut keys = self.keys.clone();
        let mut pick =
            |place: f64| value(*keys.select_nth_unstable((place.max(0.0) as usize).min(n - 1)).1);
        (pick(low), pick(high))
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
    // Slopes by how far S falls there.
    let mut twice: Vec<i64> = Vec::with_capacity(data.len() * data.len() / 2);
    let mut once: Vec<i64> = Vec::new();
    let mut at_start = 0_usize;
    for (i, a) in data.iter().enumerate() {
        for b in &data[i + 1..] {
            if a.day == b.day {
                continue;
            }
            let (a, b) = if a.day < b.day { (a, b) } else { (b, a) };
            let slope = key((b.y - a.y) / (b.day - a.day));
            match (a.bound, b.bound) {
                (Bound::Measured, Bound::Measured) => {
                    twice.push(slope);
                    at_start += 1;
                }
                // The later one may be higher, or the earlier one lower: a rise against any
                // slope below, and nothing certain against one above.
                (Bound::Measured | Bound::Under, Bound::Over) | (Bound::Under, Bound::Measured) => {
                    once.push(slope);
                    at_start += 1;
                }
                (Bound::Measured | Bound::Over, Bound::Under) | (Bound::Over, Bound::Measured) => {
                    once.push(slope)
                }
                (Bound::Over, Bound::Over) | (Bound::Under, Bound::Under) => {}
            }
        }
    }
    if at_start == 0 || 2 * twice.len() + once.len() == at_start {
        // Never above 0, or never below.
        return None;
    }
    if once.is_empty() {
        return Some(median(&mut twice));
    }
    let mut steps: Vec<(i64, usize)> = twice.into_iter().map(|k| (k, 2)).collect();
    steps.extend(once.into_iter().map(|k| (k, 1)));
    Some(used_up(&mut steps, at_start))
}

/// The slope at which the falls, in rising order, have used up `left`; halfway to the next where
/// they meet it exactly. There are more falls than that. Each round keeps half of the candidates.
fn used_up(steps: &mut [(i64, usize)], mut left: usize) -> f64 {
    let mut part = steps;
    loop {
        let half = part.len() / 2;
        let (lower, middle, upper) = part.select_nth_unstable_by_key(half, |step| step.0);
        let below: usize = lower.iter().map(|step| step.1).sum();
        let here = value(middle.0);
        let halfway = |other: Option<i64>| other.map_or(here, |o| 0.5 * (here + value(o)));
        if left < below {
            part = lower;
        } else if left == below {
            return halfway(lower.iter().map(|step| step.0).max());
        } else if left < below + middle.1 {
            return here;
        } else if left == below + middle.1 {
            return halfway(upper.iter().map(|step| step.0).min());
        } else {
            left -= below + middle.1;
            part = upper;
        }
    }
}
