//! When a line reaches a limit: the sets of times that the readings don't speak against.
//!
//! The time t* = (L − a)/b is a ratio, and where the slope is not clearly different from zero the
//! times that remain possible are not an interval around it (Fieller 1954, JRSS-B 16:175-185). Such
//! a set is kept as what it is, and never shown as a forecast.

/// A set of times at some level of confidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TimeSet {
    /// From `lower` to `upper`.
    Bounded {
        /// The first time.
        lower: f64,
        /// The last time.
        upper: f64,
    },
    /// Everything *outside* of `lower` to `upper`.
    Exclusive {
        /// Where the excluded stretch begins.
        lower: f64,
        /// Where it ends.
        upper: f64,
    },
    /// Every time is possible.
    WholeLine,
}

impl TimeSet {
    /// The name of the shape.
    pub const fn name(&self) -> &'static str {
        match self {
            TimeSet::Bounded { .. } => "bounded",
            TimeSet::Exclusive { .. } => "exclusive",
            TimeSet::WholeLine => "whole_line",
        }
    }

    /// Both ends, lower and upper, where there are any.
    pub const fn ends(&self) -> Option<(f64, f64)> {
        match self {
            TimeSet::Bounded { lower, upper } | TimeSet::Exclusive { lower, upper } => {
                Some((*lower, *upper))
            }
            TimeSet::WholeLine => None,
        }
    }
}

/// A fitted line with the covariance of its two coefficients.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crosser {
    /// Value at time 0.
    pub intercept: f64,
    /// Change per unit of time.
    pub slope: f64,
    /// Var(intercept), Cov, Var(slope).
    pub vcov: [f64; 3],
    /// The limit.
    pub limit: f64,
}

impl Crosser {
    /// t* = (L − a)/b; `None` for a level line.
    pub fn time(&self) -> Option<f64> {
        (self.slope != 0.0).then(|| (self.limit - self.intercept) / self.slope)
    }

    /// The interval of linearised error propagation, with multiplier q. It looks bounded even where
    /// the data allow every time.
    pub fn delta(&self, q: f64) -> Option<TimeSet> {
        let t = self.time()?;
        let [aa, ab, bb] = self.vcov;
        let half = q * (aa + 2.0 * t * ab + t * t * bb).sqrt() / self.slope.abs();
        Some(TimeSet::Bounded { lower: t - half, upper: t + half })
    }

    /// Fieller's set: all t with (a + bt − L)² ≤ q²·Var(a + bt).
    pub fn fieller(&self, q: f64) -> TimeSet {
        let [aa, ab, bb] = self.vcov;
        let (qq, gap) = (q * q, self.intercept - self.limit);
        // A·t² + 2·B·t + C ≤ 0.
        let a = self.slope * self.slope - qq * bb;
        let b = self.slope * gap - qq * ab;
        let c = gap * gap - qq * aa;
        let discriminant = b * b - a * c;
        if discriminant < 0.0 || a == 0.0 {
            return TimeSet::WholeLine;
        }
        // The root of larger size first, the other from the product of both.
        let large = -(b + discriminant.sqrt().copysign(b));
        let (one, two) = (large / a, c / large);
        let (lower, upper) = (one.min(two), one.max(two));
        if a > 0.0 {
            TimeSet::Bounded { lower, upper }
        } else {
            TimeSet::Exclusive { lower, upper }
        }
    }

    /// The time at which the line is farthest from the limit in standard errors.
    fn farthest(&self) -> f64 {
        let [aa, ab, bb] = self.vcov;
        let gap = self.intercept - self.limit;
        // c ∝ V⁻¹δ maximises (c·δ)²/(c'Vc); t is the ratio of its parts.
        (aa * self.slope - ab * gap) / (bb * gap - ab * self.slope)
    }

    /// The profile set: all t with `drop(t)` ≤ q², where drop(t) is twice the log-likelihood lost by
    /// making the line pass through (t, L), and `level_drop` its limit for t → ±∞ (a level line).
    /// `span` is a time in the middle of the data and a typical distance from it.
    ///
    /// Times lie on a circle, φ = atan((t − middle)/distance), with infinity as one point of it;
    /// along it the drop rises from 0 at t* to one top and falls again.
    pub fn profile(
        &self,
        q: f64,
        level_drop: f64,
        span: (f64, f64),
        mut drop: impl FnMut(f64) -> Option<f64>,
    ) -> Option<TimeSet> {
        use std::f64::consts::{FRAC_PI_2, PI};
        let (middle, distance) = span;
        let time_of = |phi: f64| middle + distance * phi.tan();
        let phi_of = |t: f64| ((t - middle) / distance).atan();
        let start = phi_of(self.time()?);
        let qq = q * q;
        let mut excess = |phi: f64| {
            // Infinity is one point of the circle.
            let turned = (phi + FRAC_PI_2).rem_euclid(PI) - FRAC_PI_2;
            let lost = if (turned.abs() - FRAC_PI_2).abs() < 1e-12 {
                level_drop
            } else {
                drop(time_of(turned))?
            };
            Some(lost.max(0.0).sqrt() - q)
        };
        // A point of the circle outside the set, seen from t* in the direction of later times.
        let outside = if level_drop > qq {
            FRAC_PI_2
        } else {
            let guess = start + (phi_of(self.farthest()) - start).rem_euclid(PI);
            let top = highest(&mut excess, start, guess, start + PI, 0.0)?;
            if excess(top)? <= 0.0 {
                return Some(TimeSet::WholeLine);
            }
            top
        };
        let after = between(&mut excess, start, outside)?;
        let before = between(&mut excess, start + PI, outside)? - PI;
        if level_drop > qq {
            Some(TimeSet::Bounded { lower: time_of(before), upper: time_of(after) })
        } else {
            let (one, two) = (time_of(after), time_of(before));
            Some(TimeSet::Exclusive { lower: one.min(two), upper: one.max(two) })
        }
    }
}

/// A place where `f` exceeds `enough`, else its highest place, between `low` and `high` with one
/// top: golden sections around a first guess.
fn highest(
    f: &mut impl FnMut(f64) -> Option<f64>,
    low: f64,
    guess: f64,
    high: f64,
    enough: f64,
) -> Option<f64> {
    const GOLDEN: f64 = 0.381_966_011_250_105_1;
    let (mut a, mut c) = (low, high);
    let mut b = guess.clamp(low + 1e-9, high - 1e-9);
    let mut fb = f(b)?;
    for _ in 0..200 {
        if fb > enough || c - a < 1e-9 {
            break;
        }
        let x = if c - b > b - a { b + GOLDEN * (c - b) } else { b - GOLDEN * (b - a) };
        let fx = f(x)?;
        if fx > fb {
            if x > b {
                a = b
            } else {
                c = b
            }
            (b, fb) = (x, fx);
        } else if x > b {
            c = x;
        } else {
            a = x;
        }
    }
    Some(b)
}

/// The zero of `f` between a place where it is below and one where it is above zero
/// (Illinois variant of false position, with halving where that is slow).
pub(crate) fn between(
    f: &mut impl FnMut(f64) -> Option<f64>,
    below: f64,
    above: f64,
) -> Option<f64> {
    let (mut a, mut b) = (below, above);
    let (mut fa, mut fb) = (f(a)?, f(b)?);
    for round in 0..200 {
        if fa >= 0.0 {
            return Some(a);
        }
        let mut x = if round % 4 == 3 { 0.5 * (a + b) } else { (a * fb - b * fa) / (fb - fa) };
        if x <= a.min(b) || x >= a.max(b) || x.is_nan() {
            x = 0.5 * (a + b);
        }
        let fx = f(x)?;
        if fx.abs() < 1e-10 || (b - a).abs() < 1e-14 * (1.0 + a.abs()) {
            return Some(x);
        }
        if fx < 0.0 {
            (a, fa) = (x, fx);
            fb *= 0.5;
        } else {
            (b, fb) = (x, fx);
            fa *= 0.5;
        }
    }
    Some(0.5 * (a + b))
}
