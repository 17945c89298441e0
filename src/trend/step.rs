//! Sudden changes of level in a series of numbers, and slow ones gathered by cumulative sums.
//!
//! A test for a level never belongs on a declining series: it finds steps that are not there. There
//! [`trend_shift`] fits line and step together.

use super::ols;

/// Pettitt's test for one change of level (1979, Appl. Statist. 28:126-135).
#[derive(Clone, Debug, PartialEq)]
pub struct Pettitt {
    /// U for the first 1, 2 … n − 1 values before the change.
    pub u: Vec<i64>,
    /// The largest |U|.
    pub k: i64,
    /// First index after the change.
    pub first_after: usize,
    /// Approximate p, 2·exp(−6K²/(n³ + n²)), at most 1.
    pub p: f64,
}

/// Runs Pettitt's test; `None` with fewer than two values.
pub fn pettitt(x: &[f64]) -> Option<Pettitt> {
    let n = x.len();
    if n < 2 {
        return None;
    }
    let mut u = Vec::with_capacity(n - 1);
    let mut sum = 0_i64;
    for k in 0..n - 1 {
        // Moving x[k] to the front group adds sign(x_k − x_j) over all j.
        sum +=
            x.iter().map(|other| i64::from(x[k] > *other) - i64::from(x[k] < *other)).sum::<i64>();
        u.push(sum);
    }
    let k = u.iter().map(|v| v.abs()).max()?;
    let place = u.iter().position(|v| v.abs() == k)?;
    let (kk, m) = ((k * k) as f64, n as f64);
    let p = (2.0 * (-6.0 * kk / (m * m * m + m * m)).exp()).min(1.0);
    Some(Pettitt { u, k, first_after: place + 1, p })
}

/// Running sums, so that the squares about the mean of any stretch cost nothing.
struct Sums(Vec<(f64, f64)>);

impl Sums {
    /// Of the values less their mean, to keep digits.
    fn new(x: &[f64]) -> Self {
        let mean = x.iter().sum::<f64>() / x.len().max(1) as f64;
        let mut sums = vec![(0.0, 0.0)];
        let mut at = (0.0, 0.0);
        for v in x {
            let d = v - mean;
            at = (at.0 + d, at.1 + d * d);
            sums.push(at);
        }
        Sums(sums)
    }

    /// Squares about the mean of `from..to`.
    fn sse(&self, from: usize, to: usize) -> f64 {
        let (s, q) = (self.0[to].0 - self.0[from].0, self.0[to].1 - self.0[from].1);
        (q - s * s / (to - from) as f64).max(0.0)
    }
}

/// One change of mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanShift {
    /// First index after the change.
    pub first_after: usize,
    /// Squares about the two means.
    pub sse: f64,
    /// Mean before.
    pub before: f64,
    /// Mean after.
    pub after: f64,
}

/// The split with the least squares about two means, each part of at least `min_segment` values.
pub fn mean_shift(x: &[f64], min_segment: usize) -> Option<MeanShift> {
    let (n, least) = (x.len(), min_segment.max(1));
    let sums = Sums::new(x);
    let cost = |k: usize| sums.sse(0, k) + sums.sse(k, n);
    let k = (least..(n + 1).saturating_sub(least)).min_by(|a, b| cost(*a).total_cmp(&cost(*b)))?;
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let squares = |part: &[f64], m: f64| part.iter().map(|v| (v - m).powi(2)).sum::<f64>();
    let (before, after) = (mean(&x[..k]), mean(&x[k..]));
    let sse = squares(&x[..k], before) + squares(&x[k..], after);
    Some(MeanShift { first_after: k, sse, before, after })
}

/// Changes of mean at the least total of squares plus `penalty` for each change, each part of at
/// least `min_segment` values: optimal partitioning with pruning (Killick, Fearnhead & Eckley 2012,
/// JASA 107:1590-1598). Gives the first index after each change.
pub fn pelt(x: &[f64], min_segment: usize, penalty: f64) -> Vec<usize> {
    let (n, least) = (x.len(), min_segment.max(1));
    let sums = Sums::new(x);
    let mut best = vec![f64::INFINITY; n + 1];
    let mut came_from = vec![0; n + 1];
    best[0] = -penalty;
    let mut open = vec![0];
    for end in least..=n {
        let cost = |from: usize| best[from] + sums.sse(from, end) + penalty;
        if let Some(from) = open.iter().copied().min_by(|a, b| cost(*a).total_cmp(&cost(*b))) {
            (best[end], came_from[end]) = (cost(from), from);
        }
        // A start that can't win now can never win: squares only grow.
        let bar = best[end];
        open.retain(|from| best[*from] + sums.sse(*from, end) <= bar);
        let next = end + 1 - least;
        if next >= least {
            open.push(next);
        }
    }
    let mut changes = Vec::new();
    let mut at = came_from[n];
    while at > 0 {
        changes.push(at);
        at = came_from[at];
    }
    changes.reverse();
    changes
}

/// A straight line with one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrendShift {
    /// First index after the step.
    pub first_after: usize,
    /// Intercept, slope per day, height of the step.
    pub coef: [f64; 3],
    /// Squares about line and step.
    pub rss: f64,
    /// (RSS of the line alone − RSS)/(RSS/(n − 3)). The place was searched, so this is no F.
    pub f: f64,
}

/// The split with the least squares of y = a + b·day + d·[index ≥ k]; `None` with fewer than four
/// values. Each part has at least `min_segment` values.
pub fn trend_shift(days: &[f64], y: &[f64], min_segment: usize) -> Option<TrendShift> {
    let (n, least) = (y.len(), min_segment.max(1));
    if n < 4 {
        return None;
    }
    let alone = ols::line(days, y)?.rss;
    let fits = (least..(n + 1).saturating_sub(least)).filter_map(|k| {
        let x: Vec<[f64; 3]> =
            days.iter().enumerate().map(|(i, d)| [1.0, *d, f64::from(u8::from(i >= k))]).collect();
        ols::fit(&x, y).map(|fit| (k, fit))
    });
    let (k, fit) = fits.min_by(|a, b| a.1.rss.total_cmp(&b.1.rss))?;
    let f = (alone - fit.rss) / (fit.rss / (n - 3) as f64);
    Some(TrendShift { first_after: k, coef: fit.coef, rss: fit.rss, f })
}

/// Tabular cumulative sums about a target (NIST/SEMATECH e-Handbook §6.3.2.3).
#[derive(Clone, Debug, PartialEq)]
pub struct Cusum {
    /// Sums of what exceeds target + k.
    pub high: Vec<f64>,
    /// Sums of what falls short of target − k.
    pub low: Vec<f64>,
    /// First index at which `high` exceeds h.
    pub first_high: Option<usize>,
    /// First index at which `low` exceeds h.
    pub first_low: Option<usize>,
}

/// Cumulative sums with slack `k` and threshold `h`, from 0, without reset.
pub fn cusum(x: &[f64], target: f64, k: f64, h: f64) -> Cusum {
    let gather = |sign: f64| {
        let mut sum = 0.0_f64;
        x.iter()
            .map(|v| {
                sum = (sum + sign * (v - target) - k).max(0.0);
                sum
            })
            .collect::<Vec<f64>>()
    };
    let (high, low) = (gather(1.0), gather(-1.0));
    let first = |sums: &[f64]| sums.iter().position(|s| *s > h);
    Cusum { first_high: first(&high), first_low: first(&low), high, low }
}
