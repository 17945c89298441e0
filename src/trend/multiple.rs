//! Many p-values at once: a test that is right once is wrong a thousand times on a thousand assets.

/// Places of the p-values in rising order.
fn ranked(p: &[f64]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    order
}

/// From the largest down: the running minimum of `factor(rank)·p`, at most 1. Ranks count from 1.
fn step_up(p: &[f64], factor: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut adjusted = vec![1.0; p.len()];
    let mut least = 1.0_f64;
    for (place, index) in ranked(p).into_iter().enumerate().rev() {
        least = least.min(factor((place + 1) as f64) * p[index]);
        adjusted[index] = least;
    }
    adjusted
}

/// Adjusted p-values of Benjamini & Hochberg (1995, JRSS-B 57:289-300): rejecting those up to q
/// keeps the expected share of false ones among the rejected at q.
pub fn benjamini_hochberg(p: &[f64]) -> Vec<f64> {
    let m = p.len() as f64;
    step_up(p, |rank| m / rank)
}

/// The same under any dependence (Benjamini & Yekutieli 2001, Ann. Statist. 29:1165-1188).
pub fn benjamini_yekutieli(p: &[f64]) -> Vec<f64> {
    let m = p.len() as f64;
    let harmonic: f64 = (1..=p.len()).map(|k| 1.0 / k as f64).sum();
    step_up(p, |rank| m * harmonic / rank)
}

/// Holm's (1979, Scand. J. Statist. 6:65-70): the chance of any false rejection is kept.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let m = p.len();
    let mut adjusted = vec![1.0; m];
    let mut most = 0.0_f64;
    for (place, index) in ranked(p).into_iter().enumerate() {
        most = most.max((m - place) as f64 * p[index]).min(1.0);
        adjusted[index] = most;
    }
    adjusted
}

/// Bonferroni's: each p times their number.
pub fn bonferroni(p: &[f64]) -> Vec<f64> {
    p.iter().map(|v| (v * p.len() as f64).min(1.0)).collect()
}
