//! The standard normal law, exact in relative terms far into both tails.
//!
//! A reading that is "more than X" enters a likelihood through ln(1 − Φ(z)), and a fit far from its
//! maximum sees z of 30 and more, where 1 − Φ(z) is no longer a double. Everything here is therefore
//! written with the scaled function erfcx(x) = exp(x²)·erfc(x) of `errorfunctions` (relative error
//! about 1e-16); `statrs` has no logarithm of a tail, and its cdf is good to 1e-10 only.

use std::f64::consts::FRAC_1_SQRT_2;

use errorfunctions::RealErrorFunctions;

/// √(2/π).
const SQRT_2_OVER_PI: f64 = 0.797_884_560_802_865_4;
/// ½ ln 2π.
pub const HALF_LN_2PI: f64 = 0.918_938_533_204_672_8;

/// Above this z the tail is ½ erfcx(z/√2)·exp(−z²/2) kept in two parts.
struct Tail {
    /// ½ erfcx(|z|/√2).
    scaled: f64,
    /// ½ z².
    half_square: f64,
}

impl Tail {
    fn of(z: f64) -> Self {
        Tail { scaled: 0.5 * (z.abs() * FRAC_1_SQRT_2).erfcx(), half_square: 0.5 * z * z }
    }

    /// The smaller of the two tail probabilities.
    fn probability(&self) -> f64 {
        self.scaled * (-self.half_square).exp()
    }
}

/// The density φ(z).
pub fn pdf(z: f64) -> f64 {
    (-0.5 * z * z - HALF_LN_2PI).exp()
}

/// Φ(z), the probability of a value up to z.
pub fn cdf(z: f64) -> f64 {
    sf(-z)
}

/// 1 − Φ(z), the probability of a value above z.
pub fn sf(z: f64) -> f64 {
    let small = Tail::of(z).probability();
    if z >= 0.0 { small } else { 1.0 - small }
}

/// ln Φ(z).
pub fn log_cdf(z: f64) -> f64 {
    log_sf(-z)
}

/// ln(1 − Φ(z)).
pub fn log_sf(z: f64) -> f64 {
    let tail = Tail::of(z);
    if z >= 0.0 { tail.scaled.ln() - tail.half_square } else { (-tail.probability()).ln_1p() }
}

/// φ(z)/(1 − Φ(z)): the hazard, inverse of Mills' ratio.
pub fn hazard(z: f64) -> f64 {
    let tail = Tail::of(z);
    if z >= 0.0 {
        0.5 * SQRT_2_OVER_PI / tail.scaled
    } else {
        let shape = (-tail.half_square).exp();
        0.5 * SQRT_2_OVER_PI * shape / (1.0 - tail.scaled * shape)
    }
}

/// A survival probability kept as `factor · exp(−exponent)`, and its hazard: one erfcx and at most
/// one exp. A sum of log-survivals then needs one logarithm for many terms.
pub(crate) fn survival(z: f64) -> (f64, f64, f64) {
    let tail = Tail::of(z);
    if z >= 0.0 {
        (tail.scaled, tail.half_square, 0.5 * SQRT_2_OVER_PI / tail.scaled)
    } else {
        let shape = (-tail.half_square).exp();
        let above = 1.0 - tail.scaled * shape;
        (above, 0.0, 0.5 * SQRT_2_OVER_PI * shape / above)
    }
}

/// The z above which lies the probability p (0 < p < 1); infinite at 0 and 1, NaN outside.
///
/// The first value comes from `statrs`; two Newton steps on ln(1 − Φ) take it to full precision.
pub fn isf(p: f64) -> f64 {
    use statrs::function::erf::erfc_inv;
    if !(p > 0.0 && p < 1.0) {
        return match p {
            0.0 => f64::INFINITY,
            1.0 => f64::NEG_INFINITY,
            _ => f64::NAN,
        };
    }
    if p > 0.5 {
        return -isf(1.0 - p);
    }
    let mut z = std::f64::consts::SQRT_2 * erfc_inv(2.0 * p);
    let target = p.ln();
    for _ in 0..2 {
        z += (log_sf(z) - target) / hazard(z);
    }
    z
}

/// The z below which lies the probability p.
pub fn quantile(p: f64) -> f64 {
    -isf(p)
}

/// The two-sided multiplier of a confidence level: 1.645 at 0.90, 1.960 at 0.95.
pub fn two_sided(level: f64) -> f64 {
    isf(0.5 * (1.0 - level))
}
