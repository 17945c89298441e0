//! One step of time: rates change, levels fall and wander.

use super::{RATES, Settings};

const DAYS_A_YEAR: f64 = 365.25;

/// Most of a cell's mass that one pass of diffusion may move to one neighbour: above a half the
/// scheme is unstable, up to about a third it stays unimodal.
const MOST_DIFFUSION: f64 = 0.36;

/// The operator of one step, prepared for its length.
#[derive(Clone, Debug)]
pub(crate) struct Step {
    /// `turn[to][from]`: probability of leaving one rate and ending at another.
    turn: [[f64; RATES]; RATES],
    /// How far a level falls, in whole cells and the fraction of the next, by rate.
    fall: [(usize, f64); RATES],
    /// Mass that one pass moves to each neighbour, and the number of passes, by rate.
    spread: [(f64, usize); RATES],
    /// Probability that the level is drawn anew within the step.
    pub(super) redraw: f64,
}

impl Step {
    /// Prepares a step of so many days.
    pub(crate) fn new(settings: &Settings, days: f64) -> Self {
        Self::build(
            settings,
            days,
            generator(settings),
            1.0 - (-settings.redraw * days / DAYS_A_YEAR).exp(),
        )
    }

    /// The same for a decline that is taken to go on: no end, no redraw. For projections.
    pub(crate) fn declining(settings: &Settings, days: f64) -> Self {
        let mut lasting = generator(settings);
        let ends = std::mem::take(&mut lasting[0]);
        lasting[0][0] = ends[0];
        for (from, end) in ends.into_iter().enumerate().skip(1) {
            lasting[from][from] += end;
        }
        Self::build(settings, days, lasting, 0.0)
    }

    fn build(settings: &Settings, days: f64, per_year: Matrix, redraw: f64) -> Self {
        let years = days / DAYS_A_YEAR;
        let fall = settings.rates.map(|rate| {
            let cells = (rate * years / settings.step).max(0.0);
            (cells as usize, cells.fract())
        });
        let mut spread = [(0.0, 0); RATES];
        for (k, place) in spread.iter_mut().enumerate() {
            let wander = if k == 0 { settings.wander_healthy } else { settings.wander_declining };
            let whole = wander * wander * years / (2.0 * settings.step * settings.step);
            let passes = (whole / MOST_DIFFUSION).ceil().max(1.0);
            *place = (whole / passes, passes as usize);
        }
        Step { turn: exponential(&per_year, years), fall, spread, redraw }
    }

    /// Steps one block of `RATES` rows of levels, scaled by `scale`; returns the mass it held.
    /// `mixed` and `row` are working space of `RATES` rows, and of one row and two cells.
    pub(crate) fn apply(&self, block: &mut [f64], scale: f64, mixed: &mut [f64], row: &mut [f64]) {
        let n = block.len() / RATES;
        for (k, out) in mixed.chunks_exact_mut(n).enumerate() {
            mix(block, &self.turn[k].map(|p| p * scale), out);
        }
        for (k, (from, to)) in mixed.chunks_exact(n).zip(block.chunks_exact_mut(n)).enumerate() {
            self.carry(k, from, to, row);
        }
    }

    /// Lets the levels of rate `k` fall and wander: `from` one row, `to` the row after the step.
    fn carry(&self, k: usize, from: &[f64], to: &mut [f64], row: &mut [f64]) {
        let n = from.len();
        let (cells, part) = self.fall[k];
        let (share, passes) = self.spread[k];
        fall(from, cells, part, &mut row[1..=n]);
        for pass in 0..passes {
            row[0] = row[1];
            row[n + 1] = row[n];
            let (below, here, above) = (&row[..n], &row[1..=n], &row[2..n + 2]);
            for c in 0..n {
                to[c] = here[c] + share * ((below[c] - here[c]) + (above[c] - here[c]));
            }
            if pass + 1 < passes {
                row[1..=n].copy_from_slice(to);
            }
        }
    }
}

/// One row of the mixed block: the weighted sum of all rows.
fn mix(block: &[f64], weights: &[f64; RATES], out: &mut [f64]) {
    let n = out.len();
    let rows: [&[f64]; RATES] = std::array::from_fn(|j| &block[j * n..(j + 1) * n]);
    for c in 0..n {
        let term = |j: usize| weights[j] * rows[j][c];
        out[c] = ((term(0) + term(1)) + (term(2) + term(3)))
            + ((term(4) + term(5)) + (term(6) + term(7)));
    }
}

/// Moves a row down by whole cells and a fraction; the bottom cell takes what would fall below.
fn fall(from: &[f64], cells: usize, part: f64, out: &mut [f64]) {
    let n = from.len();
    let cells = cells.min(n - 1);
    let kept = n - cells;
    let (here, next) = (&from[cells..n - 1], &from[cells + 1..]);
    for c in 0..kept - 1 {
        out[c] = here[c] + part * (next[c] - here[c]);
    }
    out[kept - 1] = (1.0 - part) * from[n - 1];
    out[kept..].fill(0.0);
    let below: f64 = from[..cells].iter().sum();
    out[0] += below + part * from[cells];
}

type Matrix = [[f64; RATES]; RATES];

/// The generator of the rate's changes per year, `[to][from]`; columns sum to nothing.
fn generator(s: &Settings) -> Matrix {
    let last = RATES - 1;
    let mut q = [[0.0; RATES]; RATES];
    for k in 1..RATES {
        q[k][0] += s.onset / last as f64;
        q[0][k] += s.end;
        if k < last {
            q[k + 1][k] += s.faster;
        }
        if k > 1 {
            q[k - 1][k] += s.slower;
        }
        for other in (1..RATES).filter(|&other| other != k) {
            q[other][k] += s.jump / (last - 1) as f64;
        }
    }
    let leaving: [f64; RATES] = std::array::from_fn(|from| q.iter().map(|row| row[from]).sum());
    for (from, leaving) in leaving.into_iter().enumerate() {
        q[from][from] -= leaving;
    }
    q
}

fn product(a: &Matrix, b: &Matrix) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..RATES).map(|k| a[i][k] * b[k][j]).sum()))
}

/// exp(q·years) by scaling and squaring of the power series.
fn exponential(q: &Matrix, years: f64) -> Matrix {
    let norm = q.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs())) * years * RATES as f64;
    let halvings = norm.max(1.0).log2().ceil() as i32 + 1;
    let h = years / 2f64.powi(halvings);
    let mut sum: Matrix =
        std::array::from_fn(|i| std::array::from_fn(|j| f64::from(u8::from(i == j))));
    let mut term = sum;
    for order in 1..=14 {
        term = product(&term, q).map(|row| row.map(|v| v * h / f64::from(order)));
        for (s, t) in sum.iter_mut().flatten().zip(term.iter().flatten()) {
            *s += t;
        }
    }
    for _ in 0..halvings {
        sum = product(&sum, &sum);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rates after a step are a distribution, and two half steps make a whole one.
    #[test]
    fn rates_keep_their_mass() {
        let s = Settings::default();
        let q = generator(&s);
        let (half, whole) = (exponential(&q, 0.04), exponential(&q, 0.08));
        let twice = product(&half, &half);
        for from in 0..RATES {
            let sum: f64 = (0..RATES).map(|to| whole[to][from]).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{sum}");
            for to in 0..RATES {
                assert!((twice[to][from] - whole[to][from]).abs() < 1e-12);
            }
        }
    }

    /// No mass is made or lost at the ends of the grid.
    #[test]
    fn a_step_keeps_mass() {
        let s = Settings::default();
        for days in [0.25, 7.0, 31.0] {
            let step = Step::new(&s, days);
            let n = 20;
            let mut block: Vec<f64> = (0..RATES * n).map(|i| 1.0 + (i % 7) as f64).collect();
            let before: f64 = block.iter().sum();
            step.apply(&mut block, 1.0, &mut vec![0.0; RATES * n], &mut vec![0.0; n + 2]);
            let after: f64 = block.iter().sum();
            assert!((after / before - 1.0).abs() < 1e-12, "{days} d: {before} {after}");
            assert!(block.iter().all(|&m| m >= 0.0));
        }
    }
}
