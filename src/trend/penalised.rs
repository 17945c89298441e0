//! The censored line with what is known beforehand: for the field, where a dozen readings with half
//! their temperatures missing must still give an honest slope.
//!
//! Beside the readings the penalised log-likelihood holds Gaussian priors on some coefficients and
//! on ln σ, and each reading may carry a variance of its own: its spread is τ² = σ² + v. Written in
//! (β, ln σ), with z = (y − x·β)/τ and ρ = σ²/τ²; for fixed σ it is concave in β. Exact readings of
//! equal variance enter as sums. Without priors
//! and variances it is the likelihood of [`super::censored`], and its tests hold it to that.

#![expect(clippy::needless_range_loop, reason = "matrix formulas read by their indices")]

use super::algebra::{Cholesky, Matrix, Slice, add_outer, dot, times};
use super::censored::Row;
use super::normal::{HALF_LN_2PI, survival};
use crate::model::Bound;

/// A reading with a variance of its own, such as that of a temperature not known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoisyRow<const K: usize> {
    /// Regressors, y and bound.
    pub row: Row<K>,
    /// Variance beside σ², in squared units of y.
    pub variance: f64,
}

/// Gaussian priors on the coefficients and, in the last place, on ln σ. Precision 0: none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Priors<const K: usize> {
    /// Means.
    pub mean: [f64; K],
    /// Inverse variances.
    pub precision: [f64; K],
}

impl<const K: usize> Priors<K> {
    /// Nothing known.
    pub const NONE: Self = Priors { mean: [0.0; K], precision: [0.0; K] };

    /// With `N(mean, sd²)` in one place.
    pub fn with(mut self, place: usize, mean: f64, sd: f64) -> Self {
        self.mean[place] = mean;
        self.precision[place] = 1.0 / (sd * sd);
        self
    }
}

/// A condition c·β = value.
#[derive(Clone, Copy, Debug)]
pub struct Plane<const K: usize> {
    /// c, with 0 in the place of ln σ.
    pub normal: [f64; K],
    /// The value.
    pub value: f64,
}

/// A maximum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summit<const K: usize> {
    /// Coefficients, then ln σ.
    pub at: [f64; K],
    /// Penalised log-likelihood.
    pub value: f64,
    /// Minus its second derivatives.
    pub curvature: Matrix<K>,
}

impl<const K: usize> Summit<K> {
    /// Covariance of coefficients and ln σ.
    pub fn vcov(&self) -> Matrix<K> {
        Cholesky::raised(&self.curvature).inverse()
    }
}

/// Exact readings of one own variance, as sums.
struct Group<const K: usize> {
    variance: f64,
    n: f64,
    /// Σ of outer products of (x, y).
    sums: Matrix<K>,
}

/// Readings and priors, ready to be climbed. The caller chooses coordinates in which the columns are
/// of order one; a maximum must exist (with a prior on σ: when no line direction is left open).
pub struct Penalised<const K: usize> {
    /// Exact readings; a series has few different variances.
    groups: Vec<Group<K>>,
    /// Bounds, turned so that each is over-range, with their variances.
    bounds: Vec<([f64; K], f64)>,
    priors: Priors<K>,
}

struct Local<const K: usize> {
    value: f64,
    gradient: [f64; K],
    curvature: Matrix<K>,
}

/// τ⁻¹, ρ and ln τ of readings with a variance of their own.
fn spread(sigma_square: f64, variance: f64) -> (f64, f64, f64) {
    let tau_square = sigma_square + variance;
    (1.0 / tau_square.sqrt(), sigma_square / tau_square, 0.5 * tau_square.ln())
}

impl<const K: usize> Penalised<K> {
    /// The place of y in a row, and of ln σ among the unknowns.
    const H: usize = K - 1;

    /// Puts readings and priors together.
    pub fn new(rows: &[NoisyRow<K>], priors: Priors<K>) -> Self {
        let mut groups: Vec<Group<K>> = Vec::new();
        let mut bounds = Vec::new();
        for NoisyRow { row, variance } in rows {
            match row.bound {
                Bound::Measured => {
                    let place = groups.iter().position(|g| g.variance == *variance);
                    let place = place.unwrap_or_else(|| {
                        groups.push(Group { variance: *variance, n: 0.0, sums: [[0.0; K]; K] });
                        groups.len() - 1
                    });
                    groups[place].n += 1.0;
                    add_outer(&mut groups[place].sums, 1.0, &row.terms);
                }
                // An under-range reading is an over-range one seen from below.
                Bound::Over => bounds.push((row.terms, *variance)),
                Bound::Under => bounds.push((row.terms.map(|v| -v), *variance)),
            }
        }
        Penalised { groups, bounds, priors }
    }

    fn local(&self, at: &[f64; K]) -> Local<K> {
        let sigma_square = (2.0 * at[Self::H]).exp();
        let mut value = 0.0;
        let mut gradient = [0.0; K];
        let mut curvature = [[0.0; K]; K];
        // y − x·β of a row is row·q.
        let mut q = at.map(|v| -v);
        q[Self::H] = 1.0;
        for group in &self.groups {
            let (inverse, rho, log_tau) = spread(sigma_square, group.variance);
            let weight = inverse * inverse;
            let pulled = times(&group.sums, &q);
            // Σ z², and Σ (z² − 1).
            let squares = weight * dot(&q, &pulled);
            let excess = squares - group.n;
            value -= 0.5 * squares + group.n * (log_tau + HALF_LN_2PI);
            for k in 0..Self::H {
                gradient[k] += weight * pulled[k];
                let mixed = 2.0 * rho * weight * pulled[k];
                curvature[k][Self::H] += mixed;
                curvature[Self::H][k] += mixed;
                for j in 0..Self::H {
                    curvature[k][j] += weight * group.sums[k][j];
                }
            }
            gradient[Self::H] += rho * excess;
            curvature[Self::H][Self::H] +=
                2.0 * rho * rho * squares - 2.0 * rho * (1.0 - rho) * excess;
        }
        let mut product = 1.0;
        for (terms, variance) in &self.bounds {
            let (inverse, rho, _) = spread(sigma_square, *variance);
            let mut u = terms.map(|v| v * inverse);
            let z = dot(&u, &q);
            u[Self::H] = 0.0;
            let (factor, exponent, hazard) = survival(z);
            value -= exponent;
            product *= factor;
            if product < 1e-200 {
                value += product.ln();
                product = 1.0;
            }
            let bend = hazard * (hazard - z);
            let tilt = bend * z + hazard;
            add_outer(&mut curvature, bend, &u);
            for k in 0..Self::H {
                gradient[k] += hazard * u[k];
                curvature[k][Self::H] += rho * tilt * u[k];
                curvature[Self::H][k] += rho * tilt * u[k];
            }
            gradient[Self::H] += hazard * z * rho;
            curvature[Self::H][Self::H] +=
                rho * rho * z * tilt - 2.0 * hazard * z * rho * (1.0 - rho);
        }
        value += product.ln();
        for k in 0..K {
            let off = at[k] - self.priors.mean[k];
            value -= 0.5 * self.priors.precision[k] * off * off;
            gradient[k] -= self.priors.precision[k] * off;
            curvature[k][k] += self.priors.precision[k];
        }
        Local { value, gradient, curvature }
    }

    /// Where the search begins: least squares with the priors, every number taken at its face.
    fn start(&self) -> [f64; K] {
        let known = self.priors.precision[Self::H] > 0.0;
        let sigma_guess = if known { self.priors.mean[Self::H].exp() } else { 0.1 };
        let mut sums = [[0.0; K]; K];
        let mut n = 0.0;
        for group in &self.groups {
            let weight = 1.0 / (sigma_guess * sigma_guess + group.variance);
            n += group.n;
            for k in 0..K {
                for j in 0..K {
                    sums[k][j] += weight * group.sums[k][j];
                }
            }
        }
        for (terms, variance) in &self.bounds {
            n += 1.0;
            add_outer(&mut sums, 1.0 / (sigma_guess * sigma_guess + variance), terms);
        }
        let mut system = sums;
        let mut right = [0.0; K];
        for k in 0..Self::H {
            system[k][k] += self.priors.precision[k];
            right[k] = sums[k][Self::H] + self.priors.precision[k] * self.priors.mean[k];
            system[k][Self::H] = 0.0;
            system[Self::H][k] = 0.0;
        }
        system[Self::H][Self::H] = 1.0;
        let mut at = Cholesky::raised(&system).solve(&right);
        at[Self::H] = sigma_guess.ln();
        if !known {
            let mut q = at.map(|v| -v);
            q[Self::H] = 1.0;
            let mean_square =
                sigma_guess * sigma_guess * dot(&q, &times(&sums, &q)) / f64::max(n, 1.0);
            at[Self::H] = 0.5 * mean_square.max(1e-20).ln();
        }
        at
    }

    /// Factors a curvature. Far from the maximum only the part for fixed σ is sure to be definite:
    /// then coefficients and ln σ step side by side.
    fn factor(mut curvature: Matrix<K>) -> Cholesky<K> {
        Cholesky::new(&curvature).unwrap_or_else(|| {
            for k in 0..Self::H {
                curvature[k][Self::H] = 0.0;
                curvature[Self::H][k] = 0.0;
            }
            curvature[Self::H][Self::H] = curvature[Self::H][Self::H].abs().max(1.0);
            Cholesky::raised(&curvature)
        })
    }

    /// The maximum, on a plane if one is given; `near` is a maximum of a similar problem.
    pub fn climb(&self, plane: Option<&Plane<K>>, near: Option<&Summit<K>>) -> Option<Summit<K>> {
        let slice = plane.map(|p| Slice::new(&p.normal, p.value));
        let mut at = match (near, &slice) {
            (None, None) => self.start(),
            (None, Some(slice)) => slice.lift(&self.start()),
            (Some(near), None) => near.at,
            (Some(near), Some(slice)) => slice.nearest(&near.at, &near.curvature),
        };
        if near.is_some_and(|n| (at[Self::H] - n.at[Self::H]).abs() > 1.0) {
            return self.climb(plane, None);
        }
        let mut here = self.local(&at);
        for _ in 0..200 {
            let step = match &slice {
                None => Self::factor(here.curvature).solve(&here.gradient),
                Some(slice) => {
                    let factor = Self::factor(slice.metric(&here.curvature));
                    slice.along(&factor.solve(&slice.gradient(&here.gradient)))
                }
            };
            let gain = dot(&here.gradient, &step);
            if !gain.is_finite() {
                return None;
            }
            let last = gain.abs() < 1e-9;
            // ln σ moves by at most one at a time: the surface is far from a parabola along it.
            let mut length = (1.0 / step[Self::H].abs().max(1e-300)).min(1.0);
            let mut stuck = true;
            for _ in 0..60 {
                let there = std::array::from_fn(|k| at[k] + length * step[k]);
                let local = self.local(&there);
                if last || local.value >= here.value + 1e-4 * length * gain {
                    (at, here, stuck) = (there, local, false);
                    break;
                }
                length *= 0.5;
            }
            if last {
                return Some(Summit { at, value: here.value, curvature: here.curvature });
            }
            if stuck {
                // Rounding hides what gain is left.
                return (gain < 1e-6).then_some(Summit {
                    at,
                    value: here.value,
                    curvature: here.curvature,
                });
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::super::censored::Model;
    use super::*;

    fn rows() -> Vec<Row<3>> {
        (0..24)
            .map(|i| {
                let t = f64::from(i) / 12.0;
                let y = 8.9 - 0.4 * t + 0.1 * (f64::from(i) * 2.4).sin();
                if y > 8.74 {
                    Row { terms: [1.0, t, 8.74], bound: Bound::Over }
                } else if i == 20 {
                    Row { terms: [1.0, t, 8.3], bound: Bound::Under }
                } else {
                    Row { terms: [1.0, t, y], bound: Bound::Measured }
                }
            })
            .collect()
    }

    #[test]
    fn without_priors_it_is_maximum_likelihood() {
        let rows = rows();
        let model = Model::new(&rows);
        let plain = model.estimate(&model.peak().unwrap());
        let noisy: Vec<_> = rows.iter().map(|r| NoisyRow { row: *r, variance: 0.0 }).collect();
        let summit = Penalised::new(&noisy, Priors::NONE).climb(None, None).unwrap();
        assert!((summit.value - plain.loglik).abs() < 1e-9);
        let vcov = summit.vcov();
        for i in 0..3 {
            assert!((summit.at[i] - plain.coef[i]).abs() < 1e-6 * plain.se(i));
            for (got, (j, want)) in vcov[i].iter().zip(plain.vcov[i].iter().enumerate()) {
                assert!((got - want).abs() < 1e-5 * plain.se(i) * plain.se(j));
            }
        }
        let level = Plane { normal: [0.0, 1.0, 0.0], value: 0.0 };
        let level = Penalised::new(&noisy, Priors::NONE).climb(Some(&level), None).unwrap();
        let plain = model.peak_on(&[0.0, 1.0, 0.0], 0.0, None).unwrap();
        assert!((level.value - plain.loglik).abs() < 1e-8);
    }

    /// Analytic first and second derivatives against differences, with variances and priors.
    #[test]
    fn derivatives() {
        let noisy: Vec<_> = rows()
            .iter()
            .enumerate()
            .map(|(i, r)| NoisyRow { row: *r, variance: if i % 3 == 0 { 0.02 } else { 0.0 } })
            .collect();
        let priors = Priors::NONE.with(1, -0.2, 0.1).with(2, -2.3, 0.35);
        let fit = Penalised::new(&noisy, priors);
        let at = [8.8, -0.3, -2.0];
        let here = fit.local(&at);
        for k in 0..3 {
            let (mut up, mut down) = (at, at);
            up[k] += 1e-5;
            down[k] -= 1e-5;
            let (up, down) = (fit.local(&up), fit.local(&down));
            let slope = (up.value - down.value) / 2e-5;
            assert!((slope - here.gradient[k]).abs() < 1e-5 * (1.0 + slope.abs()), "{k}");
            for j in 0..3 {
                let bend = -(up.gradient[j] - down.gradient[j]) / 2e-5;
                assert!((bend - here.curvature[j][k]).abs() < 1e-4 * (1.0 + bend.abs()), "{j}{k}");
            }
        }
    }
}
