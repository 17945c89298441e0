//! The state of one series and the fold of one visit into it.

use super::{Grid, Observation, Prior, RATES, SIGMAS};

/// A wet state that fades to less than this within a gap is forgotten: the flag is then drawn anew
/// and wet and dry mass need not be carried apart.
const FORGOTTEN: f64 = 0.06;

/// Pairs of coefficient and scatter with less than this share of the mass are dropped for good.
const NEGLIGIBLE: f64 = 1e-6;

/// What lies between two visits of a series. What starts wholly anew (`rewound`, `replaced`) is a
/// new [`State::start`] instead.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Nothing known of.
    None,
    /// It was dried out.
    Dried,
}

/// The posterior of one series. Mass by pair (coefficient, scatter), then dry or wet, then rate,
/// then level; held up to a common factor.
#[derive(Clone, Debug)]
pub struct State {
    pub(super) mass: Vec<f64>,
    pub(super) cells: usize,
    /// Mass of each pair, dry and wet; zero twice: dropped.
    pub(super) weights: Vec<[f64; 2]>,
    /// One over the whole mass.
    pub(super) scale: f64,
    visits: u32,
    work: Work,
}

/// Working space, so that a visit allocates nothing.
#[derive(Clone, Debug)]
struct Work {
    mixed: Vec<f64>,
    row: Vec<f64>,
    dry: Vec<f64>,
    wet: Vec<f64>,
}

impl State {
    /// A series that nothing is known of but its prior.
    pub fn start(grid: &Grid, prior: &Prior) -> Self {
        let n = grid.levels();
        let pairs = prior.kappas.len() * SIGMAS;
        let work = Work {
            mixed: vec![0.0; RATES * n],
            row: vec![0.0; n + 2],
            dry: vec![0.0; n],
            wet: vec![0.0; n],
        };
        let mut state = State {
            mass: vec![0.0; pairs * 2 * RATES * n],
            cells: n,
            weights: vec![[0.0; 2]; pairs],
            scale: 1.0,
            visits: 0,
            work,
        };
        state.restart(grid, prior);
        state
    }

    /// Forgets everything, keeping the space; the prior must have as many coefficients as before.
    pub fn restart(&mut self, grid: &Grid, prior: &Prior) {
        let wet = grid.settings().wet;
        let falling = prior.declining / (RATES - 1) as f64;
        let pairs = prior.kappas.iter().flat_map(|k| prior.sigmas.iter().map(|s| k.1 * s.1));
        let blocks = self.mass.chunks_exact_mut(2 * RATES * self.cells);
        for ((pair, both), weights) in pairs.zip(blocks).zip(&mut self.weights) {
            *weights = [pair * (1.0 - wet), pair * wet];
            for (flag, block) in both.chunks_exact_mut(RATES * self.cells).enumerate() {
                for (k, row) in block.chunks_exact_mut(self.cells).enumerate() {
                    let rate = if k == 0 { 1.0 - prior.declining } else { falling };
                    for (m, start) in row.iter_mut().zip(&prior.start) {
                        *m = weights[flag] * rate * start;
                    }
                }
            }
        }
        self.scale = 1.0;
        self.visits = 0;
    }

    /// Holds the same visits against another prior of the same coefficients and scatters. Both are
    /// fixed unknowns, so that the posterior moves with the ratio of the priors; the level keeps
    /// what it started from, except where nothing was seen yet.
    pub(crate) fn turn_to(&mut self, grid: &Grid, old: &Prior, new: &Prior) {
        if self.visits == 0 {
            return self.restart(grid, new);
        }
        let pair =
            |prior: &Prior, i: usize| prior.kappas[i / SIGMAS].1 * prior.sigmas[i % SIGMAS].1;
        let whole = 2 * RATES * self.cells;
        let mut total = 0.0;
        for (i, block) in self.mass.chunks_exact_mut(whole).enumerate() {
            let ratio = pair(new, i) / pair(old, i);
            block.iter_mut().for_each(|m| *m *= ratio);
            self.weights[i].iter_mut().for_each(|w| *w *= ratio);
            total += self.weights[i][0] + self.weights[i][1];
        }
        self.scale = 1.0 / total;
    }

    /// Visits folded in since the start.
    pub fn visits(&self) -> u32 {
        self.visits
    }

    /// Whether a pair of coefficient and scatter still carries mass.
    pub(super) fn carries(&self, pair: usize) -> bool {
        self.weights[pair] != [0.0; 2]
    }

    /// Folds in one visit, `gap_days` after the one before (of no effect at the first).
    pub fn visit(
        &mut self,
        grid: &Grid,
        prior: &Prior,
        gap_days: f64,
        turn: Turn,
        seen: &Observation,
    ) {
        let gap_days = if gap_days.is_finite() { gap_days.max(0.0) } else { 0.0 };
        let first = self.visits == 0;
        let s = grid.settings();
        let memory = (-gap_days / s.wet_days).exp();
        let carried = first || memory >= FORGOTTEN;
        let stays = memory + (1.0 - memory) * s.wet;
        // Shares of the dry and the wet mass that end up dry, then those that end up wet.
        let flags = match (first, carried) {
            (true, _) => [[1.0, 0.0], [0.0, 1.0]],
            (_, true) => [[1.0 - s.wet, 1.0 - stays], [s.wet, stays]],
            (_, false) => [[1.0 - s.wet, 0.0], [s.wet, 0.0]],
        };
        let scale = std::mem::replace(&mut self.scale, 1.0);
        let pairs = prior.kappas.iter().flat_map(|k| prior.sigmas.iter().map(|s| (k.0, s.0)));
        let whole = RATES * self.cells;
        let mut total = 0.0;
        for (i, (kappa, sigma)) in pairs.enumerate() {
            let both = &mut self.mass[i * 2 * whole..(i + 1) * 2 * whole];
            let weights = &mut self.weights[i];
            if (weights[0] + weights[1]) * scale < NEGLIGIBLE {
                both.fill(0.0);
                *weights = [0.0; 2];
                continue;
            }
            let (dry, wet) = both.split_at_mut(whole);
            if !carried {
                dry.iter_mut().zip(wet.iter()).for_each(|(d, w)| *d += w);
                *weights = [weights[0] + weights[1], 0.0];
            }
            if first {
                scaled(dry, scale);
                scaled(wet, scale);
            } else {
                self.work.pass(grid, prior, gap_days, turn, scale, weights[0], dry);
                if carried {
                    self.work.pass(grid, prior, gap_days, turn, scale, weights[1], wet);
                }
            }
            let work = &mut self.work;
            seen.likelihood(grid, kappa, sigma, &mut work.dry, &mut work.wet);
            let sums = work.mixed.split_at_mut(grid.levels());
            *weights = weigh(dry, wet, &flags, &work.dry, &work.wet, [sums.0, sums.1]);
            total += weights[0] + weights[1];
        }
        // Every likelihood has a floor, so that the mass never vanishes.
        self.scale = 1.0 / total;
        self.visits = self.visits.saturating_add(1);
    }
}

impl Work {
    /// Lets the gap pass over one block that holds `weight`, scaled by `scale`.
    #[expect(clippy::too_many_arguments, reason = "one inner loop, called from one place")]
    fn pass(
        &mut self,
        grid: &Grid,
        prior: &Prior,
        gap_days: f64,
        turn: Turn,
        scale: f64,
        weight: f64,
        block: &mut [f64],
    ) {
        let (parts, step) = match grid.parts(gap_days) {
            Some((parts, step)) => (parts, Some(step)),
            None => (0, None),
        };
        let kept = step.map_or(1.0, |step| (1.0 - step.redraw).powi(parts as i32));
        let redrawn = match turn {
            Turn::None => 1.0 - kept,
            Turn::Dried => grid.settings().dried,
        };
        let scale_kept = scale * (1.0 - redrawn);
        match step {
            Some(step) => {
                for part in 0..parts {
                    let factor = if part == 0 { scale_kept } else { 1.0 };
                    step.apply(block, factor, &mut self.mixed, &mut self.row);
                }
            }
            None => scaled(block, scale_kept),
        }
        let drawn = redrawn * scale * weight;
        for (m, start) in block.iter_mut().zip(&prior.start) {
            *m += drawn * start;
        }
    }
}

fn scaled(block: &mut [f64], scale: f64) {
    block.iter_mut().for_each(|m| *m *= scale);
}

/// Exchanges dry and wet mass and weighs both with their likelihoods; returns what is left.
fn weigh(
    dry: &mut [f64],
    wet: &mut [f64],
    flags: &[[f64; 2]; 2],
    dry_likelihood: &[f64],
    wet_likelihood: &[f64],
    sums: [&mut [f64]; 2],
) -> [f64; 2] {
    let n = dry_likelihood.len();
    let [[dd, wd], [dw, ww]] = *flags;
    let [dry_sums, wet_sums] = sums;
    let (dry_sums, wet_sums) = (&mut dry_sums[..n], &mut wet_sums[..n]);
    dry_sums.fill(0.0);
    wet_sums.fill(0.0);
    let rows = dry.chunks_exact_mut(n).zip(wet.chunks_exact_mut(n));
    for (d, w) in rows {
        // Sums are kept by level, so that the additions of one row need not wait for one another.
        let (ld, lw) = (&dry_likelihood[..n], &wet_likelihood[..n]);
        for c in 0..n {
            let (now_dry, now_wet) =
                ((dd * d[c] + wd * w[c]) * ld[c], (dw * d[c] + ww * w[c]) * lw[c]);
            d[c] = now_dry;
            w[c] = now_wet;
            dry_sums[c] += now_dry;
            wet_sums[c] += now_wet;
        }
    }
    [dry_sums.iter().sum(), wet_sums.iter().sum()]
}
