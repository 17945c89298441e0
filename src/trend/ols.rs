//! Ordinary least squares with its intervals, for readings that are all on scale.
//!
//! Solved by Householder reflections of the scaled columns (Golub & Van Loan §5.3), which reproduces
//! the certified NIST StRD values to nine digits and more.

use super::crossing::Crosser;
use super::tails;

/// A least-squares fit with P coefficients.
#[derive(Clone, Debug, PartialEq)]
pub struct Ols<const P: usize> {
    /// Coefficients in the order of the columns.
    pub coef: [f64; P],
    /// (X'X)⁻¹: times s² the covariance of the coefficients.
    pub unscaled: [[f64; P]; P],
    /// Sum of squared residuals.
    pub rss: f64,
    /// Sum of squares about the mean of y.
    pub about_mean: f64,
    /// Degrees of freedom, n − P.
    pub df: usize,
}

/// Fits y on rows of P regressors. `None` with fewer rows than columns or when columns depend on
/// each other.
pub fn fit<const P: usize>(x: &[[f64; P]], y: &[f64]) -> Option<Ols<P>> {
    let n = x.len();
    if n < P || y.len() != n || P == 0 {
        return None;
    }
    let size: [f64; P] =
        std::array::from_fn(|k| x.iter().map(|row| row[k] * row[k]).sum::<f64>().sqrt());
    if size.iter().any(|s| !(*s > 0.0 && s.is_finite())) {
        return None;
    }
    let mut a: Vec<[f64; P]> =
        x.iter().map(|row| std::array::from_fn(|k| row[k] / size[k])).collect();
    let mut b = y.to_vec();
    let mut diagonal = [0.0; P];
    for k in 0..P {
        let norm = a[k..].iter().map(|row| row[k] * row[k]).sum::<f64>().sqrt();
        if norm < 1e-14 {
            return None;
        }
        let alpha = -norm.copysign(a[k][k]);
        diagonal[k] = alpha;
        a[k][k] -= alpha;
        let vv: f64 = a[k..].iter().map(|row| row[k] * row[k]).sum();
        for j in k + 1..P {
            let f = 2.0 * a[k..].iter().map(|row| row[k] * row[j]).sum::<f64>() / vv;
            for row in &mut a[k..] {
                row[j] -= f * row[k];
            }
        }
        let f = 2.0 * (k..n).map(|i| a[i][k] * b[i]).sum::<f64>() / vv;
        for i in k..n {
            b[i] -= f * a[i][k];
        }
    }
    // R has `diagonal` on its diagonal and the rest above it in `a`.
    let upper = |i: usize, j: usize| if i == j { diagonal[i] } else { a[i][j] };
    let back = |right: &[f64; P]| {
        let mut v = *right;
        for i in (0..P).rev() {
            for j in i + 1..P {
                v[i] -= upper(i, j) * v[j];
            }
            v[i] /= upper(i, i);
        }
        v
    };
    let head: [f64; P] = std::array::from_fn(|k| b[k]);
    let solved = back(&head);
    let coef = std::array::from_fn(|k| solved[k] / size[k]);
    let columns: [[f64; P]; P] =
        std::array::from_fn(|j| back(&std::array::from_fn(|i| f64::from(u8::from(i == j)))));
    let unscaled = std::array::from_fn(|i| {
        std::array::from_fn(|j| {
            columns.iter().map(|c| c[i] * c[j]).sum::<f64>() / (size[i] * size[j])
        })
    });
    let mean = y.iter().sum::<f64>() / n as f64;
    Some(Ols {
        coef,
        unscaled,
        rss: b[P..].iter().map(|v| v * v).sum(),
        about_mean: y.iter().map(|v| (v - mean).powi(2)).sum(),
        df: n - P,
    })
}

impl<const P: usize> Ols<P> {
    /// Residual standard deviation s, s² = RSS/(n − P); NaN without a degree of freedom.
    pub fn residual_sd(&self) -> f64 {
        (self.rss / self.df as f64).sqrt()
    }

    /// Standard error of coefficient `k`.
    pub fn se(&self, k: usize) -> f64 {
        self.residual_sd() * self.unscaled[k][k].sqrt()
    }

    /// Share of the variation about the mean that the fit explains.
    pub fn r_squared(&self) -> f64 {
        1.0 - self.rss / self.about_mean
    }

    /// The multiplier of a two-sided confidence level, from Student's t.
    pub fn multiplier(&self, level: f64) -> f64 {
        tails::t_isf(self.df as f64, 0.5 * (1.0 - level))
    }

    /// Interval of coefficient `k`.
    pub fn ci(&self, k: usize, level: f64) -> (f64, f64) {
        let half = self.multiplier(level) * self.se(k);
        (self.coef[k] - half, self.coef[k] + half)
    }
}

/// A line on time without censoring.
pub fn line(days: &[f64], y: &[f64]) -> Option<Ols<2>> {
    let x: Vec<[f64; 2]> = days.iter().map(|d| [1.0, *d]).collect();
    fit(&x, y)
}

impl Ols<2> {
    /// t of the slope.
    pub fn t(&self) -> f64 {
        self.coef[1] / self.se(1)
    }

    /// One-sided p for decline: P(T ≤ t).
    pub fn p_declining(&self) -> f64 {
        tails::t_cdf(self.df as f64, self.t())
    }

    /// Two-sided p of the slope.
    pub fn p_two_sided(&self) -> f64 {
        2.0 * tails::t_sf(self.df as f64, self.t().abs())
    }

    /// Mean on a day, and its standard error.
    pub fn mean_at(&self, day: f64) -> (f64, f64) {
        let u = &self.unscaled;
        let shape = u[0][0] + 2.0 * day * u[0][1] + day * day * u[1][1];
        (self.coef[0] + self.coef[1] * day, self.residual_sd() * shape.sqrt())
    }

    /// Interval of one new reading on a day.
    pub fn prediction(&self, day: f64, level: f64) -> (f64, f64) {
        let (mean, se) = self.mean_at(day);
        let half = self.multiplier(level) * se.hypot(self.residual_sd());
        (mean - half, mean + half)
    }

    /// The line against a limit.
    pub fn crosser(&self, limit: f64) -> Crosser {
        let ss = self.residual_sd().powi(2);
        let u = &self.unscaled;
        Crosser {
            intercept: self.coef[0],
            slope: self.coef[1],
            vcov: [ss * u[0][0], ss * u[0][1], ss * u[1][1]],
            limit,
        }
    }
}
