//! When a decline that goes on reaches the limit: 5, 50 and 95 % of the first time.

use super::filter::{Grid, LIMIT_CELL, Prior, RATES, State, Step, Threshold};

/// Length of one step, days.
const STEP_DAYS: f64 = 10.0;

/// How far a projection looks, days: beyond it the end stays open.
const REACH_DAYS: f64 = 1500.0;

/// Days from the last visit to the first time at or below the limit; none: not within the reach.
///
/// It holds for the declining part of what is thought possible, taken to go on declining.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Crossing {
    /// 5 %.
    pub lower: Option<f64>,
    /// 50 %.
    pub mid: Option<f64>,
    /// 95 %.
    pub upper: Option<f64>,
}

/// Prepared for a grid; used for any of its series.
#[derive(Clone, Debug)]
pub struct Projector {
    step: Step,
}

impl Projector {
    /// Prepares the step.
    pub fn new(grid: &Grid) -> Self {
        Projector { step: Step::declining(grid.settings(), STEP_DAYS) }
    }

    /// The crossing of a limit; all open when nothing declines.
    pub fn crossing(
        &self,
        grid: &Grid,
        prior: &Prior,
        state: &State,
        limit: Threshold,
    ) -> Crossing {
        let n = grid.levels();
        let Some(mut block) = state.falling(grid, prior, limit) else {
            return Crossing::default();
        };
        let mut mixed = vec![0.0; RATES * n];
        let mut row = vec![0.0; n + 2];
        let mut crossed = absorb(&mut block, n);
        let wanted = [0.05, 0.5, 0.95];
        let mut found = wanted.map(|p| (p <= crossed).then_some(0.0));
        let mut days = 0.0;
        while days < REACH_DAYS && found[2].is_none() {
            self.step.apply(&mut block, 1.0, &mut mixed, &mut row);
            let now = absorb(&mut block, n);
            for (place, p) in found.iter_mut().zip(wanted) {
                if place.is_none() && now > 0.0 && p <= crossed + now {
                    *place = Some(days + STEP_DAYS * (p - crossed) / now);
                }
            }
            crossed += now;
            days += STEP_DAYS;
        }
        let [lower, mid, upper] = found;
        Crossing { lower, mid, upper }
    }
}

/// Takes out the mass at or below the limit.
fn absorb(block: &mut [f64], n: usize) -> f64 {
    let mut taken = 0.0;
    for row in block.chunks_exact_mut(n) {
        for m in &mut row[..=LIMIT_CELL] {
            taken += std::mem::take(m);
        }
    }
    taken
}
