//! The levels of the grid and the prepared time steps, shared by all series.

use super::{Settings, Step};

/// Longest part in which time is stepped, in quarters of a day.
const LONGEST_PART: usize = 42 * 4;

/// Everything about the grid that does not depend on a series; built once, only read afterwards.
#[derive(Clone, Debug)]
pub struct Grid {
    settings: Settings,
    levels: usize,
    steps: Vec<Step>,
}

impl Grid {
    /// Prepares the grid. A grid with fewer than eight levels is widened upwards to eight.
    pub fn new(settings: Settings) -> Self {
        let span = (settings.top - settings.bottom) / settings.step;
        let levels = (span.round().max(7.0) as usize) + 1;
        let steps = (1..=LONGEST_PART)
            .map(|quarters| Step::new(&settings, quarters as f64 / 4.0))
            .collect();
        Grid { settings, levels, steps }
    }

    /// The settings it was built from.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Number of levels.
    pub fn levels(&self) -> usize {
        self.levels
    }

    /// The level of a cell, log10 ohm at 40 °C.
    pub fn level(&self, cell: usize) -> f64 {
        self.settings.bottom + cell as f64 * self.settings.step
    }

    /// A gap as equal parts: how many, and the prepared step of one. Gaps are rounded to quarters
    /// of a day; none when the gap rounds to nothing.
    pub(super) fn parts(&self, gap_days: f64) -> Option<(usize, &Step)> {
        // A gap of more than a century is a wrong clock; what is known has faded long before.
        let quarters = (gap_days.clamp(0.0, 36_525.0) * 4.0).round() as usize;
        let parts = quarters.div_ceil(LONGEST_PART);
        let each = quarters.checked_div(parts)?.max(1);
        self.steps.get(each - 1).map(|step| (parts, step))
    }
}
