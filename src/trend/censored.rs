//! Normal regression with over-range and under-range readings, by maximum likelihood (Tobin 1958).
//!
//! Model: y = x·β + σ·e, e standard normal, x with the intercept first. An exact reading adds
//! `ln φ(z) − ln σ`, an over-range one `ln(1 − Φ(z))`, an under-range one `ln Φ(z)`, z the
//! standardised residual. In γ = β/σ, h = 1/σ the log-likelihood is concave (Olsen 1978,
//! Econometrica 46:1211-1215), so Newton's method finds the one maximum there is. With each reading
//! as a row w = (−x, y), θ = (γ, h), the residual is w·θ: the exact readings enter through their
//! Gram matrix alone, and only the bounds are visited in each step.

use super::algebra::{Cholesky, Matrix, Slice, add_outer, dot, sandwich, times};
use super::normal::{HALF_LN_2PI, survival};
use super::reason::{Counts, NoMaximum};
use super::recession::{Span, generators};
use crate::model::Bound;

/// One reading: the regressors (1 first), then y.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row<const K: usize> {
    /// (1, x₁ …, y).
    pub terms: [f64; K],
    /// What y means.
    pub bound: Bound,
}

/// The coordinates of a fit: regressors centred and scaled, y taken from a first line.
struct Frame<const K: usize> {
    /// Mean of each column (0 for the intercept).
    mean: [f64; K],
    /// Scale of each regressor (1 for intercept and y).
    scale: [f64; K],
    /// Coefficients of the first line, in scaled coordinates around the mean of y.
    first: [f64; K],
}

impl<const K: usize> Frame<K> {
    /// The row w = (−x, y) in these coordinates.
    fn row(&self, terms: &[f64; K]) -> [f64; K] {
        let mut w = [0.0; K];
        let mut residual = terms[K - 1] - self.mean[K - 1];
        for k in 0..K - 1 {
            let x = (terms[k] - self.mean[k]) / self.scale[k];
            residual -= self.first[k] * x;
            w[k] = -x;
        }
        w[K - 1] = residual;
        w
    }
}

/// Readings made ready for fitting.
pub struct Model<const K: usize> {
    counts: Counts,
    frame: Frame<K>,
    /// Σ w·w' over exact readings.
    exact: Matrix<K>,
    /// Σ w·w' over all readings: where the search begins.
    all: Matrix<K>,
    /// Rows of bounds, turned so that each adds ln(1 − Φ(w·θ)).
    bounds: Vec<[f64; K]>,
    /// What the exact readings pin down.
    pinned: Span<K>,
    /// The unit of y in which a residual is told from zero.
    y_unit: f64,
}

/// A maximum, in the model's own coordinates.
#[derive(Clone, Copy, Debug)]
pub struct Peak<const K: usize> {
    theta: [f64; K],
    curvature: Matrix<K>,
    /// The log-likelihood there.
    pub loglik: f64,
}

/// The estimate in the coordinates of the rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate<const K: usize> {
    /// The K − 1 coefficients, intercept first; the last entry is ln σ.
    pub coef: [f64; K],
    /// Scatter σ (maximum likelihood, without correction for degrees of freedom).
    pub sigma: f64,
    /// Inverse of the observed information in (coefficients, ln σ).
    pub vcov: Matrix<K>,
    /// Log-likelihood at the maximum.
    pub loglik: f64,
    /// How many readings of each kind went in.
    pub counts: Counts,
}

impl<const K: usize> Estimate<K> {
    /// Standard error of coefficient `k` (of ln σ for the last).
    pub fn se(&self, k: usize) -> f64 {
        self.vcov[k][k].sqrt()
    }
}

struct Local<const K: usize> {
    value: f64,
    gradient: [f64; K],
    /// Minus the matrix of second derivatives.
    curvature: Matrix<K>,
}

impl<const K: usize> Model<K> {
    /// The place of y in a row, and of h in θ.
    const H: usize = K - 1;

    /// Makes readings ready: means, scales, a least-squares line through the exact readings
    /// (through all, at their face, where these leave it open), and the sums around it.
    pub fn new(rows: &[Row<K>]) -> Self {
        let n = rows.len().max(1) as f64;
        let mut mean = [0.0; K];
        let mut largest_y = 0.0_f64;
        for row in rows {
            for (sum, term) in mean.iter_mut().zip(&row.terms).skip(1) {
                *sum += term;
            }
            largest_y = largest_y.max(row.terms[Self::H].abs());
        }
        let mean = mean.map(|m| m / n);
        let (mut of_exact, mut of_bounds) = ([[0.0; K]; K], [[0.0; K]; K]);
        for row in rows {
            let centred: [f64; K] = std::array::from_fn(|k| row.terms[k] - mean[k]);
            let sums = if row.bound == Bound::Measured { &mut of_exact } else { &mut of_bounds };
            add_outer(sums, 1.0, &centred);
        }
        let normal: Matrix<K> =
            std::array::from_fn(|i| std::array::from_fn(|j| of_exact[i][j] + of_bounds[i][j]));
        let scale: [f64; K] = std::array::from_fn(|k| {
            let spread = (normal[k][k] / n).sqrt();
            // A regressor that never moves is left as it is; the test for a maximum will see it.
            let moves = spread > 1e-12 * mean[k].abs();
            if k == 0 || k == Self::H || !moves { 1.0 } else { spread }
        });
        // Around the line of the exact readings nothing cancels, however small their scatter is.
        let first = Self::least_squares(&of_exact, &scale, false)
            .or_else(|| Self::least_squares(&normal, &scale, true))
            .unwrap_or([0.0; K]);
        let frame = Frame { mean, first, scale };

        let counts = Counts::of(rows.iter().map(|r| r.bound));
        let mut exact = [[0.0; K]; K];
        let mut bounds = Vec::with_capacity(counts.over + counts.under);
        for row in rows {
            let w = frame.row(&row.terms);
            match row.bound {
                Bound::Measured => add_outer(&mut exact, 1.0, &w),
                Bound::Over => bounds.push(w),
                Bound::Under => bounds.push(w.map(|v| -v)),
            }
        }
        let mut all = exact;
        for w in &bounds {
            add_outer(&mut all, 1.0, w);
        }
        // A residual is told from zero against the scatter, or against rounding of y itself.
        let y_unit = (all[Self::H][Self::H] / n).sqrt().max(1e-4 * largest_y).max(1e-300);
        let mut model = Model { counts, frame, exact, all, bounds, pinned: Span::empty(), y_unit };
        for row in rows.iter().filter(|r| r.bound == Bound::Measured) {
            let w = model.unit(&model.frame.row(&row.terms));
            model.pinned.add(&w);
            if model.pinned.is_full() {
                break;
            }
        }
        model
    }

    /// The row with y in units in which zero can be told from scatter.
    fn unit(&self, w: &[f64; K]) -> [f64; K] {
        let mut unit = *w;
        unit[Self::H] /= self.y_unit;
        unit
    }

    /// Coefficients of least squares from centred sums, in scaled coordinates; `None` when they are
    /// not well determined and `at_any_price` is not set.
    fn least_squares(normal: &Matrix<K>, scale: &[f64; K], at_any_price: bool) -> Option<[f64; K]> {
        let mut system: Matrix<K> =
            std::array::from_fn(|i| std::array::from_fn(|j| normal[i][j] / (scale[i] * scale[j])));
        let mut right = [0.0; K];
        for k in 0..Self::H {
            right[k] = system[k][Self::H];
            system[k][Self::H] = 0.0;
            system[Self::H][k] = 0.0;
        }
        system[Self::H][Self::H] = 1.0;
        let factor = Cholesky::with_pivots_above(1e-6, &system)
            .or_else(|| at_any_price.then(|| Cholesky::raised(&system)))?;
        Some(factor.solve(&right))
    }

    /// How many readings of each kind there are.
    pub const fn counts(&self) -> Counts {
        self.counts
    }

    /// Whether the likelihood has a maximum, decided exactly.
    pub fn exists(&self) -> Result<(), NoMaximum> {
        let Counts { exact, over, under } = self.counts;
        if over + under == 0 && exact < K {
            return Err(NoMaximum::TooFew);
        }
        if exact == 0 && under == 0 {
            return Err(NoMaximum::AllOver);
        }
        if exact == 0 && over == 0 {
            return Err(NoMaximum::AllUnder);
        }
        if self.pinned.is_full() {
            return Ok(());
        }
        let mut at_most: Vec<[f64; K]> = self.bounds.iter().map(|w| self.unit(w)).collect();
        let mut sharper = [0.0; K];
        sharper[Self::H] = -1.0;
        at_most.push(sharper);
        let (mut any, mut perfect) = (false, false);
        generators(&self.pinned, &at_most, &mut |d| {
            any = true;
            perfect |= d[Self::H] > 1e-9;
        });
        match (any, perfect, exact) {
            (false, ..) => Ok(()),
            (_, true, 0) => Err(NoMaximum::Separated),
            (_, true, _) if over + under == 0 => Err(NoMaximum::ZeroResidual),
            (_, true, _) => Err(NoMaximum::PerfectFit),
            (_, false, _) => Err(NoMaximum::Monotone),
        }
    }

    /// The maximum over all coefficients and σ.
    pub fn peak(&self) -> Result<Peak<K>, NoMaximum> {
        self.exists()?;
        let peak = self.climb(None, None).ok_or(NoMaximum::Unresolved)?;
        if peak.theta[Self::H] > 0.0 {
            Ok(peak)
        } else {
            // Without an exact reading σ may want to be infinite.
            Err(NoMaximum::Monotone)
        }
    }

    /// The maximum among the models with `c·β = value`. It exists when that of the whole does.
    /// A peak nearby, such as one on a similar condition, shortens the search.
    pub fn peak_on(&self, c: &[f64; K], value: f64, near: Option<&Peak<K>>) -> Option<Peak<K>> {
        let mut plane = [0.0; K];
        plane[0] = c[0];
        let mut at_first = plane[0] * self.frame.first[0];
        for k in 1..Self::H {
            plane[k] = (c[k] - c[0] * self.frame.mean[k]) / self.frame.scale[k];
            at_first += plane[k] * self.frame.first[k];
        }
        // The y of the rows is centred, so the intercept there is lower by its mean.
        plane[Self::H] = at_first + c[0] * self.frame.mean[Self::H] - value;
        self.climb(Some(&Slice::new(&plane, 0.0)), near)
    }

    /// The estimate in the rows' own coordinates.
    pub fn estimate(&self, peak: &Peak<K>) -> Estimate<K> {
        let h = peak.theta[Self::H];
        // Coefficients in scaled coordinates, then with scale and mean put back.
        let scaled: [f64; K] = std::array::from_fn(|k| {
            peak.theta[k] / h + if k < Self::H { self.frame.first[k] } else { 0.0 }
        });
        let mut coef = [0.0; K];
        coef[0] = scaled[0] + self.frame.mean[Self::H];
        for k in 1..Self::H {
            coef[k] = scaled[k] / self.frame.scale[k];
            coef[0] -= coef[k] * self.frame.mean[k];
        }
        coef[Self::H] = -h.ln();

        // d(β scaled, ln σ)/dθ, then d(β)/d(β scaled).
        let mut to_scaled = [[0.0; K]; K];
        let mut back = [[0.0; K]; K];
        for k in 0..Self::H {
            to_scaled[k][k] = 1.0 / h;
            to_scaled[k][Self::H] = -peak.theta[k] / (h * h);
            back[k][k] = 1.0 / self.frame.scale[k];
            back[0][k] = if k == 0 { 1.0 } else { -self.frame.mean[k] / self.frame.scale[k] };
        }
        to_scaled[Self::H][Self::H] = -1.0 / h;
        back[Self::H][Self::H] = 1.0;
        let in_theta = Cholesky::raised(&peak.curvature).inverse();
        let vcov = sandwich(&back, &sandwich(&to_scaled, &in_theta));
        Estimate { coef, sigma: 1.0 / h, vcov, loglik: peak.loglik, counts: self.counts }
    }

    /// Value, gradient and curvature of the log-likelihood at θ.
    fn local(&self, theta: &[f64; K]) -> Local<K> {
        let n = self.counts.exact as f64;
        let h = theta[Self::H];
        let pull = times(&self.exact, theta);
        let mut value = -0.5 * dot(theta, &pull) - n * HALF_LN_2PI;
        let mut gradient = pull.map(|v| -v);
        let mut curvature = self.exact;
        if n > 0.0 {
            value += n * h.ln();
            gradient[Self::H] += n / h;
            curvature[Self::H][Self::H] += n / (h * h);
        }
        let mut product = 1.0;
        for w in &self.bounds {
            let z = dot(w, theta);
            let (factor, exponent, hazard) = survival(z);
            product *= factor;
            value -= exponent;
            if product < 1e-200 {
                value += product.ln();
                product = 1.0;
            }
            for k in 0..K {
                gradient[k] -= hazard * w[k];
            }
            add_outer(&mut curvature, hazard * (hazard - z), w);
        }
        value += product.ln();
        Local { value, gradient, curvature }
    }

    /// Newton's method, on a plane if one is given.
    fn climb(&self, plane: Option<&Slice<K>>, near: Option<&Peak<K>>) -> Option<Peak<K>> {
        let mut theta = self.start(plane, near);
        let mut here = self.local(&theta);
        for _ in 0..200 {
            let step = match plane {
                None => Cholesky::raised(&here.curvature).solve(&here.gradient),
                Some(plane) => {
                    let factor = Cholesky::raised(&plane.metric(&here.curvature));
                    plane.along(&factor.solve(&plane.gradient(&here.gradient)))
                }
            };
            let gain = dot(&here.gradient, &step);
            if !gain.is_finite() {
                return None;
            }
            // Half the gain is what a full step would add. Below 1e-9 the full step is as good as
            // exact, since each step squares the error.
            let last = gain.abs() < 1e-9;
            let mut length = 1.0;
            if self.counts.exact > 0 && step[Self::H] < 0.0 {
                length = (0.9 * theta[Self::H] / -step[Self::H]).min(1.0);
            }
            let mut stuck = true;
            for _ in 0..60 {
                let there = std::array::from_fn(|k| theta[k] + length * step[k]);
                let local = self.local(&there);
                if last || local.value >= here.value + 1e-4 * length * gain {
                    (theta, here, stuck) = (there, local, false);
                    break;
                }
                length *= 0.5;
            }
            // Stuck with next to nothing to gain: rounding hides the rest.
            if last || stuck {
                let there = Peak { theta, curvature: here.curvature, loglik: here.value };
                return (last || gain < 1e-6).then_some(there);
            }
        }
        None
    }

    /// Where the search begins: a peak nearby moved onto the plane, or the exact solution of the
    /// problem in which every bound is taken for a measured value.
    fn start(&self, plane: Option<&Slice<K>>, near: Option<&Peak<K>>) -> [f64; K] {
        if let (Some(near), Some(plane)) = (near, plane) {
            let moved = plane.nearest(&near.theta, &near.curvature);
            if moved[Self::H] > 0.5 * near.theta[Self::H] {
                return moved;
            }
        }
        // Maximise n ln h − ½ θ'Sθ: θ = (n/h)·S⁻¹·e_h with h = √(n (S⁻¹)_hh).
        let mut unit = [0.0; K];
        unit[Self::H] = 1.0;
        let column = match plane {
            None => Cholesky::raised(&self.all).solve(&unit),
            Some(plane) => plane.along(&Cholesky::raised(&plane.metric(&self.all)).solve(&unit)),
        };
        let n = self.counts.all() as f64;
        let h = (n * column[Self::H].max(1e-300)).sqrt();
        column.map(|v| v * n / h)
    }
}
