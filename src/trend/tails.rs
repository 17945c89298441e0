//! Student's t and chi-square: tail probabilities and quantiles, exact in relative terms.
//!
//! The t law is our own: `statrs` 0.19 gives its cdf to 1e-10 and a quantile at p = 1e-10 that is
//! wrong by a factor. The incomplete beta function is a continued fraction after Lentz (Numerical
//! Recipes §6.4; DLMF 8.17.22). The chi-square tail is `statrs`' incomplete gamma function, which is
//! good to 1e-13. Quantiles solve ln(tail) = ln p by a guarded Newton step.

use statrs::function::gamma::gamma_ur;

use super::normal;

/// ln Γ(a+½) − ln Γ(a), without cancellation for large a.
fn ln_gamma_half_ratio(a: f64) -> f64 {
    libm::lgamma(a + 0.5) - libm::lgamma(a)
}

/// The continued fraction of the incomplete beta function.
fn beta_fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut h = d;
    for m in 1..10_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        let step = d * c;
        h *= step;
        if (step - 1.0).abs() < 1e-16 {
            break;
        }
    }
    h
}

/// P(T > t) of Student's t with `df` degrees of freedom.
pub fn t_sf(df: f64, t: f64) -> f64 {
    if t.is_nan() || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if t < 0.0 {
        return 1.0 - t_sf(df, -t);
    }
    if t.is_infinite() {
        return 0.0;
    }
    // P(T > t) = ½ I_x(df/2, ½) with x = df/(df + t²); y = 1 − x is kept apart for small t.
    let square = t * t;
    let (x, y) = (df / (df + square), square / (df + square));
    let a = 0.5 * df;
    let ln_x = if square < df { -(square / df).ln_1p() } else { x.ln() };
    let front =
        (a * ln_x + 0.5 * y.ln() + ln_gamma_half_ratio(a)).exp() / std::f64::consts::PI.sqrt();
    if x < (a + 1.0) / (a + 2.5) {
        0.5 * front * beta_fraction(a, 0.5, x) / a
    } else {
        0.5 - front * beta_fraction(0.5, a, y)
    }
}

/// P(T ≤ t) of Student's t with `df` degrees of freedom.
pub fn t_cdf(df: f64, t: f64) -> f64 {
    t_sf(df, -t)
}

/// The t above which lies the probability p.
pub fn t_isf(df: f64, p: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return normal::isf(p);
    }
    if p > 0.5 {
        return -t_isf(df, 1.0 - p);
    }
    if p == 0.5 {
        return 0.0;
    }
    // ln sf falls with ln t; the density gives the slope.
    let ln_norm = ln_gamma_half_ratio(0.5 * df) - 0.5 * (df * std::f64::consts::PI).ln();
    let density = |t: f64| (ln_norm - 0.5 * (df + 1.0) * (t * t / df).ln_1p()).exp();
    rising(p, normal::isf(p), |t| t_sf(df, t), density)
}

/// P(X > x) of chi-square with `df` degrees of freedom.
pub fn chi2_sf(df: f64, x: f64) -> f64 {
    if x <= 0.0 {
        1.0
    } else if df == 1.0 {
        2.0 * normal::sf(x.sqrt())
    } else {
        gamma_ur(0.5 * df, 0.5 * x)
    }
}

/// The x above which lies the probability p of chi-square with `df` degrees of freedom.
pub fn chi2_isf(df: f64, p: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return if p == 1.0 { 0.0 } else { normal::isf(p) };
    }
    if df == 1.0 {
        return normal::isf(0.5 * p).powi(2);
    }
    let half = 0.5 * df;
    let ln_norm = -half * std::f64::consts::LN_2 - libm::lgamma(half);
    let density = |x: f64| (ln_norm + (half - 1.0) * x.ln() - 0.5 * x).exp();
    // Wilson and Hilferty's cube root.
    let ninth = 2.0 / (9.0 * df);
    let start = df * (1.0 - ninth + normal::isf(p) * ninth.sqrt()).max(0.05).powi(3);
    rising(p, start, |x| chi2_sf(df, x), density)
}

/// Solves sf(x) = p for x > 0, from a first value, by Newton on ln sf over ln x inside a bracket.
fn rising(p: f64, start: f64, sf: impl Fn(f64) -> f64, density: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, f64::INFINITY);
    let target = p.ln();
    let mut x = start;
    for _ in 0..200 {
        let tail = sf(x);
        let miss = tail.ln() - target;
        if miss > 0.0 {
            low = x;
        } else {
            high = x;
        }
        // d ln sf / d ln x = −x·density/sf.
        let mut next = x * (miss * tail / (x * density(x))).exp();
        if !(next > low && next < high) {
            next = if high.is_infinite() { 2.0 * x } else { 0.5 * (low + high) };
        }
        if (next - x).abs() <= 2e-16 * x {
            return next;
        }
        x = next;
    }
    x
}
