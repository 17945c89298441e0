//! What is taken to be known of a series before its first reading.

use super::{Grid, SIGMAS};
use crate::model::Insulation;

/// Share of the prior that is kept for every coefficient, whatever the class: a nameplate can be
/// wrong, and classes are assigned by people.
const MISFILED: f64 = 0.02;

/// As many assets of a class must be known for their word to weigh as much as the shipped prior.
const STRENGTH: f64 = 20.0;

/// Share of the shipped prior that stays however many assets are known: the next one may be unlike.
const KEPT: f64 = 0.2;

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

impl Prior {
    /// The prior for the next of a class of which some assets are known: the sum of their
    /// posteriors, with as much of the shipped prior as `STRENGTH` assets would weigh. This is one
    /// step of expectation and maximisation for the weights of a mixture (Dempster, Laird and
    /// Rubin 1977), so that an asset whose readings say nothing repeats the shipped prior.
    pub fn learnt(&self, known: &Posterior) -> Prior {
        let mix = |weight: f64, found: f64, of: f64| {
            let taught = (STRENGTH * weight + found.max(0.0)) / (STRENGTH + of);
            KEPT * weight + (1.0 - KEPT) * taught
        };
        let of_kappas: f64 = known.kappas.iter().sum();
        let of_sigmas: f64 = known.sigmas.iter().sum();
        let of_levels: f64 = known.levels.iter().sum();
        let kappas = self.kappas.iter().zip(&known.kappas);
        let levels = self.start.iter().zip(&known.levels);
        let sigma =
            |i: usize| (self.sigmas[i].0, mix(self.sigmas[i].1, known.sigmas[i], of_sigmas));
        Prior {
            kappas: kappas.map(|((k, w), found)| (*k, mix(*w, *found, of_kappas))).collect(),
            sigmas: std::array::from_fn(sigma),
            start: levels.map(|(w, found)| mix(*w, *found, of_levels)).collect(),
            declining: self.declining,
        }
    }

    /// Mean temperature coefficient, decades per 10 K.
    pub fn mean_coefficient(&self) -> f64 {
        self.kappas.iter().map(|(k, w)| k * w).sum()
    }

    /// Mean scatter of a reading, decades.
    pub fn mean_scatter(&self) -> f64 {
        self.sigmas.iter().map(|(s, w)| s * w).sum()
    }

    /// Mean and spread of the starting level, log10 ohm at 40 °C.
    pub fn start_level(&self, grid: &Grid) -> (f64, f64) {
        let cells = || self.start.iter().enumerate().map(|(c, w)| (grid.level(c), w));
        let mean: f64 = cells().map(|(l, w)| l * w).sum();
        let var: f64 = cells().map(|(l, w)| (l - mean).powi(2) * w).sum();
        (mean, var.max(0.0).sqrt())
    }
}

/// What visits say of the quantities that a prior weighs: of one series or the sum over many.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Posterior {
    /// Weight by coefficient.
    pub(crate) kappas: Vec<f64>,
    /// Weight by scatter.
    pub(crate) sigmas: [f64; SIGMAS],
    /// Weight by cell of the level, of the part that does not decline.
    pub(crate) levels: Vec<f64>,
}

impl Posterior {
    /// Adds `share` of another; an empty one takes its size.
    pub(crate) fn add(&mut self, share: f64, other: &Posterior) {
        let add = |to: &mut Vec<f64>, from: &[f64]| {
            to.resize(to.len().max(from.len()), 0.0);
            to.iter_mut().zip(from).for_each(|(a, b)| *a += share * b);
        };
        add(&mut self.kappas, &other.kappas);
        add(&mut self.levels, &other.levels);
        self.sigmas.iter_mut().zip(&other.sigmas).for_each(|(a, b)| *a += share * b);
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
