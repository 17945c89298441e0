//! The Mann–Kendall test for a monotone trend, with ties in time or value and with bounds.
//!
//! An over-range reading is anything from its number up, an under-range one anything up to its
//! number; a pair counts only when one of the two is certainly higher. The variance is that over all
//! permutations (Kendall 1970, *Rank Correlation Methods*; with censoring Brown, Hollander & Korwar
//! 1974), which holds for any pattern of ties and bounds.

use super::normal;
use super::straight::Datum;
use crate::model::Bound;

/// The result of the test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Certain rises minus certain falls over all pairs in time.
    pub s: i64,
    /// Variance of S when the order means nothing.
    pub variance: f64,
    /// (S − sign S)/√Var, 0 where S or the variance is 0.
    pub z: f64,
    /// P(S' ≤ S) over all orders: for up to ten readings without ties and bounds.
    pub exact_p_declining: Option<f64>,
}

impl MannKendall {
    /// Two-sided p of the normal approximation.
    pub fn p_two_sided(&self) -> f64 {
        2.0 * normal::sf(self.z.abs())
    }

    /// One-sided p for decline of the normal approximation.
    pub fn p_declining(&self) -> f64 {
        normal::cdf(self.z)
    }

    /// The exact p for decline where there is one, else the approximation.
    pub fn best_p_declining(&self) -> f64 {
        self.exact_p_declining.unwrap_or_else(|| self.p_declining())
    }
}

/// The lowest and highest value a reading may stand for.
///
/// A bound is open at its number: "more than 550 MΩ" is above a measured 550 MΩ. With the next
/// double for its end, one strict comparison serves every pair.
fn ends(d: &Datum) -> (f64, f64) {
    match d.bound {
        Bound::Measured => (d.y, d.y),
        Bound::Over => (d.y.next_up(), f64::INFINITY),
        Bound::Under => (f64::NEG_INFINITY, d.y.next_down()),
    }
}

/// Runs the test; `None` with fewer than two readings.
pub fn mann_kendall(data: &[Datum]) -> Option<MannKendall> {
    let n = data.len();
    if n < 2 {
        return None;
    }
    let mut order: Vec<&Datum> = data.iter().collect();
    if !data.is_sorted_by(|a, b| a.day <= b.day) {
        order.sort_by(|a, b| a.day.total_cmp(&b.day));
    }
    let days: Vec<f64> = order.iter().map(|d| d.day).collect();
    let (low, high): (Vec<f64>, Vec<f64>) = order.iter().map(|d| ends(d)).unzip();
    // Sums over j for each i, and numbers of pairs that are told apart. Later is never earlier now.
    let (mut by_time, mut by_value) = (vec![0_i64; n], vec![0_i64; n]);
    let (mut s, mut apart_time, mut apart_value) = (0_i64, 0_i64, 0_i64);
    for i in 0..n {
        let (day, bottom, top) = (days[i], low[i], high[i]);
        let after = i + 1..n;
        let later_days = &days[after.clone()];
        let later_low = &low[after.clone()];
        let later_high = &high[after.clone()];
        let (mut time, mut value) = (0_i64, 0_i64);
        let sums = by_time[after.clone()].iter_mut().zip(&mut by_value[after]);
        for (((d, l), h), (to_time, to_value)) in
            later_days.iter().zip(later_low).zip(later_high).zip(sums)
        {
            let later = i64::from(*d > day);
            let higher = i64::from(*l > top) - i64::from(*h < bottom);
            *to_time -= later;
            *to_value -= higher;
            time += later;
            value += higher;
            apart_value += higher * higher;
            s += later * higher;
        }
        by_time[i] += time;
        by_value[i] += value;
        apart_time += time;
    }
    let (apart_time, apart_value) = (2 * apart_time, 2 * apart_value);
    let squares = |v: &[i64]| v.iter().map(|x| (*x * *x) as f64).sum::<f64>();
    let (a1, b1) = (squares(&by_time), squares(&by_value));
    let (a2, b2) = (apart_time as f64, apart_value as f64);
    let m = n as f64;
    let paired = a2 * b2 / (2.0 * m * (m - 1.0));
    let tripled = if n > 2 { (a1 - a2) * (b1 - b2) / (m * (m - 1.0) * (m - 2.0)) } else { 0.0 };
    let variance = tripled + paired;
    let z = if s == 0 || variance <= 0.0 { 0.0 } else { (s - s.signum()) as f64 / variance.sqrt() };
    let pairs = (n * (n - 1)) as i64;
    let plain = apart_time == pairs && apart_value == pairs;
    let measured = data.iter().all(|d| d.bound == Bound::Measured);
    let exact_p_declining = (n <= 10 && plain && measured).then(|| exact_p(n, s));
    Some(MannKendall { s, variance, z, exact_p_declining })
}

/// P(S' ≤ s) over all orders of n different values: S' = n(n−1)/2 − 2·inversions.
fn exact_p(n: usize, s: i64) -> f64 {
    let mut ways = vec![1.0_f64];
    for k in 2..=n {
        // The k-th value adds 0 to k − 1 inversions.
        let mut more = vec![0.0; ways.len() + k - 1];
        for (i, w) in ways.iter().enumerate() {
            for slot in &mut more[i..i + k] {
                *slot += w;
            }
        }
        ways = more;
    }
    let pairs = (n * (n - 1) / 2) as i64;
    let all: f64 = ways.iter().sum();
    let low: f64 = ways
        .iter()
        .enumerate()
        .filter(|(inversions, _)| pairs - 2 * (*inversions as i64) <= s)
        .map(|(_, w)| w)
        .sum();
    low / all
}
