//! The straight line on time through exact, over-range and under-range readings.

use super::censored::{Estimate, Model, Peak, Row};
use super::crossing::{Crosser, TimeSet};
use super::normal;
use super::reason::{Counts, NoMaximum};
use crate::model::Bound;

/// One reading: time in days, log10 of the ohms, and what it means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Datum {
    /// Days, from any origin.
    pub day: f64,
    /// log10 ohm.
    pub y: f64,
    /// Measured, at least or at most.
    pub bound: Bound,
}

/// How many readings of each kind there are.
pub fn counts(data: &[Datum]) -> Counts {
    Counts::of(data.iter().map(|d| d.bound))
}

/// A maximum-likelihood line y = a + b·day with everything that is asked of it.
pub struct StraightFit {
    /// (a, b, ln σ) with covariance, in the days and decades of the data.
    pub estimate: Estimate<3>,
    /// Log-likelihood with b = 0.
    pub loglik_level: f64,
    model: Model<3>,
    peak: Peak<3>,
    span: (f64, f64),
}

/// The rows of a line on time.
pub fn rows(data: &[Datum]) -> Vec<Row<3>> {
    data.iter().map(|d| Row { terms: [1.0, d.day, d.y], bound: d.bound }).collect()
}

/// Fits the line, or says why there is none.
pub fn fit(data: &[Datum]) -> Result<StraightFit, NoMaximum> {
    let model = Model::new(&rows(data));
    let peak = model.peak()?;
    let level = model.peak_on(&[0.0, 1.0, 0.0], 0.0, None).ok_or(NoMaximum::Unresolved)?;
    let n = data.len() as f64;
    let middle = data.iter().map(|d| d.day).sum::<f64>() / n;
    let square = data.iter().map(|d| (d.day - middle).powi(2)).sum::<f64>() / n;
    Ok(StraightFit {
        estimate: model.estimate(&peak),
        loglik_level: level.loglik,
        model,
        peak,
        span: (middle, square.sqrt()),
    })
}

impl StraightFit {
    /// a, the value at day 0.
    pub fn intercept(&self) -> f64 {
        self.estimate.coef[0]
    }

    /// b, decades per day.
    pub fn slope(&self) -> f64 {
        self.estimate.coef[1]
    }

    /// Twice the log-likelihood that a level line loses.
    pub fn lr_chisq(&self) -> f64 {
        (2.0 * (self.estimate.loglik - self.loglik_level)).max(0.0)
    }

    /// The signed root of the likelihood ratio: standard normal when there is no trend.
    pub fn lr_root(&self) -> f64 {
        self.lr_chisq().sqrt().copysign(self.slope())
    }

    /// One-sided p for decline, Φ of the signed root.
    pub fn p_declining(&self) -> f64 {
        normal::cdf(self.lr_root())
    }

    /// Two-sided p of the likelihood ratio.
    pub fn p_two_sided(&self) -> f64 {
        2.0 * normal::sf(self.lr_chisq().sqrt())
    }

    /// b over its standard error.
    pub fn wald_z(&self) -> f64 {
        self.slope() / self.estimate.se(1)
    }

    /// Interval of b at a two-sided level.
    pub fn slope_ci(&self, level: f64) -> (f64, f64) {
        let half = normal::two_sided(level) * self.estimate.se(1);
        (self.slope() - half, self.slope() + half)
    }

    /// Mean on a day, and its standard error.
    pub fn mean_at(&self, day: f64) -> (f64, f64) {
        let v = &self.estimate.vcov;
        let variance = v[0][0] + 2.0 * day * v[0][1] + day * day * v[1][1];
        (self.intercept() + self.slope() * day, variance.sqrt())
    }

    /// The line against a limit.
    pub fn crosser(&self, limit: f64) -> Crosser {
        let v = &self.estimate.vcov;
        Crosser {
            intercept: self.intercept(),
            slope: self.slope(),
            vcov: [v[0][0], v[0][1], v[1][1]],
            limit,
        }
    }

    /// The profile set of the crossing; `None` without an exact reading.
    pub fn profile(&self, limit: f64, level: f64) -> Option<TimeSet> {
        if self.estimate.counts.exact == 0 {
            return None;
        }
        let mut near = self.peak;
        let drop = |day: f64| {
            near = self.model.peak_on(&[1.0, day, 0.0], limit, Some(&near))?;
            Some(2.0 * (self.estimate.loglik - near.loglik))
        };
        let q = normal::two_sided(level);
        self.crosser(limit).profile(q, self.lr_chisq(), self.span, drop)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three readings almost on a line beside ten bounds: σ is 1e-4 and rounding must not hide the
    /// few units of likelihood that bound the crossing.
    #[test]
    fn a_tiny_scatter_keeps_its_profile() {
        let exact =
            [(0.0, 8.423492380490194), (63.0, 8.513722493891908), (240.0, 8.766507290825954)];
        let over = [293.0, 483.0, 579.0, 606.0, 632.0, 943.0, 1292.0, 1507.0, 1609.0, 1828.0];
        let mut data: Vec<Datum> = exact
            .iter()
            .map(|(day, y)| Datum { day: *day, y: *y, bound: Bound::Measured })
            .collect();
        data.extend(over.map(|day| Datum { day, y: 8.839210059778578, bound: Bound::Over }));
        let fit = fit(&data).unwrap();
        let t = fit.crosser(5.0).time().unwrap();
        let Some(TimeSet::Bounded { lower, upper }) = fit.profile(5.0, 0.90) else { panic!() };
        assert!(lower < t && t < upper && upper - lower < 10.0, "{lower} {t} {upper}");
    }
}
