//! What the posterior says: the probability of a decline, the level and the rate.

use super::{Grid, Posterior, Prior, RATES, SIGMAS, State};

const DAYS_A_YEAR: f64 = 365.25;

/// Where the limit lies on the grid of a projection: what is below it has crossed, however far.
pub(crate) const LIMIT_CELL: usize = 4;

/// A limit as the filter holds it against levels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Threshold {
    /// log10 ohm.
    pub log_ohm: f64,
    /// The insulation temperature at which it applies, °C: 40 for a limit at 40 °C; the usual
    /// temperature of the readings for a limit that is held against what was read.
    pub at_c: f64,
}

impl Threshold {
    /// The level at 40 °C that stands for the limit under a coefficient.
    fn level(&self, kappa: f64) -> f64 {
        self.log_ohm - kappa * (self.at_c - 40.0) / 10.0
    }
}

/// Probabilities against one limit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Chance {
    /// Declining, and at this rate at the limit within the horizon.
    pub declining: f64,
    /// Not declining, and at or below the limit.
    pub below: f64,
}

impl Chance {
    /// Both together: that somebody should act.
    pub fn sum(&self) -> f64 {
        self.declining + self.below
    }
}

/// A quantity with its 90 % interval: 5, 50 and 95 % of the posterior.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// 5 %.
    pub lower: f64,
    /// 50 %.
    pub mid: f64,
    /// 95 %.
    pub upper: f64,
}

impl State {
    /// The chance that somebody should act on account of a limit. Without a limit, a decline is
    /// one that loses a decade or more within the horizon.
    pub fn chance(&self, grid: &Grid, prior: &Prior, limit: Option<Threshold>) -> Chance {
        let s = grid.settings();
        let years = s.horizon_days / DAYS_A_YEAR;
        let mut chance = Chance::default();
        for (kappa, pair) in self.pairs(prior) {
            let level = limit.map(|limit| limit.level(kappa));
            for block in pair.chunks_exact(RATES * self.cells) {
                for (k, row) in block.chunks_exact(self.cells).enumerate() {
                    let rate = s.rates[k];
                    match level {
                        Some(level) if k == 0 => chance.below += mass_below(grid, row, level),
                        Some(level) => {
                            chance.declining += mass_below(grid, row, level + rate * years);
                        }
                        None if rate * years >= 1.0 => chance.declining += sum(row),
                        None => {}
                    }
                }
            }
        }
        Chance { declining: chance.declining * self.scale, below: chance.below * self.scale }
    }

    /// The level at 40 °C, log10 ohm.
    pub fn level(&self, grid: &Grid) -> Interval {
        let mut by_level = vec![0.0; self.cells];
        for row in self.mass.chunks_exact(self.cells) {
            by_level.iter_mut().zip(row).for_each(|(sum, m)| *sum += m);
        }
        let h = grid.settings().step;
        quantiles(by_level.iter().enumerate().map(|(c, &m)| (grid.level(c) - h / 2.0, h, m)))
    }

    /// The rate in decades a year, negative when falling.
    pub fn rate(&self, grid: &Grid) -> Interval {
        let rates = &grid.settings().rates;
        let mut by_rate = [0.0; RATES];
        for (i, row) in self.mass.chunks_exact(self.cells).enumerate() {
            by_rate[i % RATES] += sum(row);
        }
        // A rate stands for the span halfway to its neighbours; 0 stands for itself.
        let spans = (0..RATES).rev().map(|k| {
            let half = |a: usize, b: usize| 0.5 * (rates[a] + rates[b]);
            match k {
                0 => (0.0, 0.0, by_rate[0]),
                k => {
                    let low = half(k - 1, k);
                    let high = if k + 1 < RATES { half(k, k + 1) } else { 2.0 * rates[k] - low };
                    (-high, high - low, by_rate[k])
                }
            }
        });
        quantiles(spans)
    }

    /// The share that is declining at any rate.
    pub fn declining(&self) -> f64 {
        let healthy: f64 = self.mass.chunks_exact(self.cells).step_by(RATES).flatten().sum();
        (1.0 - healthy * self.scale).clamp(0.0, 1.0)
    }

    /// The mean scatter of a reading, decades.
    pub fn scatter(&self, prior: &Prior) -> f64 {
        self.mean(|pair| prior.sigmas[pair % SIGMAS].0)
    }

    /// The mean temperature coefficient, decades per 10 K.
    pub fn coefficient(&self, prior: &Prior) -> f64 {
        self.mean(|pair| prior.kappas[pair / SIGMAS].0)
    }

    /// What the visits so far say of the quantities that a prior weighs; each sums to one, the
    /// levels to the share that does not decline.
    pub(crate) fn posterior(&self) -> Posterior {
        let mut kappas = vec![0.0; self.weights.len() / SIGMAS];
        let mut sigmas = [0.0; SIGMAS];
        for (pair, w) in self.weights.iter().enumerate() {
            let share = (w[0] + w[1]) * self.scale;
            kappas[pair / SIGMAS] += share;
            sigmas[pair % SIGMAS] += share;
        }
        let mut levels = vec![0.0; self.cells];
        for row in self.mass.chunks_exact(self.cells).step_by(RATES) {
            levels.iter_mut().zip(row).for_each(|(sum, m)| *sum += m * self.scale);
        }
        Posterior { kappas, sigmas, levels }
    }

    fn mean(&self, value: impl Fn(usize) -> f64) -> f64 {
        let pairs = self.weights.iter().enumerate();
        pairs.map(|(pair, w)| value(pair) * (w[0] + w[1])).sum::<f64>() * self.scale
    }

    /// The declining part over levels relative to a limit: `RATES` rows (the first empty) whose
    /// cell [`LIMIT_CELL`] lies at the limit; it sums to one. None when nothing declines.
    pub(crate) fn falling(&self, grid: &Grid, prior: &Prior, limit: Threshold) -> Option<Vec<f64>> {
        let n = self.cells;
        let h = grid.settings().step;
        let mut out = vec![0.0; RATES * n];
        for (kappa, pair) in self.pairs(prior) {
            let shift = (grid.settings().bottom - limit.level(kappa)) / h + LIMIT_CELL as f64;
            let (whole, part) = (shift.floor(), shift - shift.floor());
            for (i, row) in pair.chunks_exact(n).enumerate().filter(|(i, _)| i % RATES > 0) {
                let to = &mut out[(i % RATES) * n..(i % RATES + 1) * n];
                for (c, m) in row.iter().enumerate() {
                    let place = whole + c as f64;
                    let at = |x: f64| x.clamp(0.0, (n - 1) as f64) as usize;
                    to[at(place)] += (1.0 - part) * m;
                    to[at(place + 1.0)] += part * m;
                }
            }
        }
        let sum: f64 = out.iter().sum();
        (sum > 0.0).then(|| out.iter().map(|m| m / sum).collect())
    }

    /// Pairs that still carry mass: the coefficient and both blocks.
    fn pairs<'a>(&'a self, prior: &'a Prior) -> impl Iterator<Item = (f64, &'a [f64])> {
        let whole = 2 * RATES * self.cells;
        let pairs = self.mass.chunks_exact(whole).enumerate();
        pairs.filter(|(i, _)| self.carries(*i)).map(|(i, pair)| (prior.kappas[i / SIGMAS].0, pair))
    }
}

/// Mass of a row at or below a level; a cell's mass is spread evenly over its width.
fn mass_below(grid: &Grid, row: &[f64], level: f64) -> f64 {
    let s = grid.settings();
    let edge = ((level - s.bottom) / s.step + 0.5).clamp(0.0, row.len() as f64);
    let cells = edge as usize;
    let whole = sum(&row[..cells]);
    whole + row.get(cells).map_or(0.0, |m| m * edge.fract())
}

/// A sum in four strands, so that additions need not wait for one another.
fn sum(row: &[f64]) -> f64 {
    let (fours, rest) = row.as_chunks::<4>();
    let mut strands = [0.0; 4];
    for four in fours {
        for (strand, m) in strands.iter_mut().zip(four) {
            *strand += m;
        }
    }
    strands.iter().sum::<f64>() + rest.iter().sum::<f64>()
}

/// The quantiles of mass given as spans (start, width, mass) in rising order.
fn quantiles(spans: impl Iterator<Item = (f64, f64, f64)> + Clone) -> Interval {
    let total: f64 = spans.clone().map(|span| span.2).sum();
    let at = |p: f64| {
        let mut left = p * total;
        let mut end = f64::NAN;
        for (start, width, mass) in spans.clone() {
            if mass > 0.0 && left <= mass {
                return start + width * left / mass;
            }
            left -= mass;
            end = start + width;
        }
        end
    };
    Interval { lower: at(0.05), mid: at(0.5), upper: at(0.95) }
}
