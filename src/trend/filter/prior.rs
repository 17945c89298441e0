//! What is taken to be known of a series before its first reading.

use super::{Grid, SIGMAS};
use crate::model::Insulation;

/// Share of the prior that is kept for every coefficient, whatever the class: a nameplate can be
/// wrong, and classes are assigned by people.
const MISFILED: f64 = 0.02;

/// Weights of the fixed unknowns and of the starting level.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// Temperature coefficients in decades per 10 K with their weights.
    pub(super) kappas: Vec<(f64, f64)>,
    /// Scatters in decades with their weights.
    pub(super) sigmas: [(f64, f64); SIGMAS],
    /// The starting level: weight by cell.
    pub(super) start: Vec<f64>,
    /// Probability that the series is met in decline.
    pub(super) declining: f64,
}

impl Prior {
    /// The prior of an insulation class.
    ///
    /// Thermoplastic N(−0.301, 0.1²) is the halving rule (IEEE Std 43); thermosetting
    /// N(−0.08, 0.05²) covers its 10–40 °C and lies below its 40–85 °C formula; unknown is a broad
    /// mixture of both and of none.
    pub fn of(grid: &Grid, insulation: Insulation) -> Self {
        let normal = |x: f64, mean: f64, sd: f64| (-0.5 * ((x - mean) / sd).powi(2)).exp() / sd;
        let nodes: &[f64] = match insulation {
            Insulation::Thermoplastic => &[-0.43, -0.32, -0.21, -0.06],
            Insulation::Thermosetting => &[-0.28, -0.14, -0.07, 0.0],
            Insulation::None => &[-0.28, -0.06, 0.0],
            Insulation::Unknown => &[-0.41, -0.30, -0.18, -0.05],
        };
        let density = |k: f64| match insulation {
            Insulation::Thermoplastic => normal(k, -0.301, 0.1),
            Insulation::Thermosetting => normal(k, -0.08, 0.05),
            Insulation::None => normal(k, 0.0, 0.02),
            Insulation::Unknown => 0.6 * normal(k, -0.301, 0.1) + 0.4 * normal(k, -0.08, 0.06),
        };
        let even = MISFILED / nodes.len() as f64;
        let kappas =
            weighted(nodes, density).map(|(k, w)| (k, even + (1.0 - MISFILED) * w)).collect();
        let s = grid.settings();
        let (weight, mean, sd) = s.start;
        let peak = normalised((0..grid.levels()).map(|c| normal(grid.level(c), mean, sd)));
        let flat = normalised(
            (0..grid.levels()).map(|c| f64::from(u8::from(grid.level(c) >= s.start_low - 1e-9))),
        );
        let start = peak.iter().zip(&flat).map(|(p, f)| weight * p + (1.0 - weight) * f).collect();
        Prior { kappas, sigmas: s.sigmas, start, declining: s.start_declining }
    }
}

/// The coefficient that a single reading is corrected to 40 °C with, decades per 10 K: halving for
/// thermoplastic (IEEE Std 43) and, to be careful, for unknown; a slow rule for modern resins.
pub fn rule(class: Insulation) -> f64 {
    match class {
        Insulation::Thermoplastic | Insulation::Unknown => -0.301,
        Insulation::Thermosetting => -0.08,
        Insulation::None => 0.0,
    }
}

/// Nodes weighted by a density and the width that each stands for.
fn weighted(nodes: &[f64], density: impl Fn(f64) -> f64) -> impl Iterator<Item = (f64, f64)> {
    let width = |i: usize| {
        let (first, last) = (i.saturating_sub(1), (i + 1).min(nodes.len() - 1));
        (nodes[last] - nodes[first]) / (last - first) as f64
    };
    let weights = normalised(nodes.iter().enumerate().map(|(i, &k)| density(k) * width(i)));
    nodes.iter().copied().zip(weights)
}

fn normalised(weights: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut weights: Vec<f64> = weights.collect();
    let sum: f64 = weights.iter().sum();
    weights.iter_mut().for_each(|w| *w /= sum);
    weights
}
