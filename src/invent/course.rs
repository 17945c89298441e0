//! The true course of one node of insulation, day by day.

use super::{Dice, Preset};

/// What becomes of a specimen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It stays healthy.
    Healthy,
    /// It falls evenly.
    Linear,
    /// It falls ever faster.
    Accelerating,
    /// It falls slowly, then off a cliff.
    Cliff,
    /// It wanders downwards.
    Wandering,
    /// It drops from one day to the next, and stays above the limit or not.
    Sudden,
    /// It becomes a dead short.
    Dead,
}

impl Fate {
    /// Draws a fate.
    pub fn draw(dice: &mut Dice, preset: &Preset) -> Self {
        if !dice.chance(preset.decliners) {
            return Fate::Healthy;
        }
        let kind = dice.unit();
        if kind < preset.dead {
            return Fate::Dead;
        }
        if kind < preset.dead + preset.sudden {
            return Fate::Sudden;
        }
        [Fate::Linear, Fate::Accelerating, Fate::Cliff, Fate::Wandering][dice.index(4)]
    }
}

/// The level of a node at 40 °C, log10 ohm, at the start of each day.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// One level a day.
    pub levels: Vec<f64>,
    /// Days until the level first lies at or below the limit.
    pub crossing: Option<f64>,
}

impl Course {
    /// A course from `baseline` through `days`; a decline starts at `onset` and is to reach the
    /// limit `lasting` days later. Repaired `repair_after` days after the crossing.
    pub fn draw(
        dice: &mut Dice,
        preset: &Preset,
        fate: Fate,
        baseline: f64,
        onset: f64,
        lasting: f64,
        repair_after: f64,
    ) -> Self {
        let days = preset.span_days.ceil() as usize + 1;
        let limit = preset.limit_ohm.log10();
        let whole = baseline - limit;
        let sudden = dice.between(1.2, 4.0);
        let mut wandered = 0.0;
        let mut levels = Vec::with_capacity(days);
        let mut crossing: Option<f64> = None;
        for day in 0..days {
            let t = day as f64;
            let aged = baseline + preset.ageing * t / 365.25;
            let u = ((t - onset) / lasting).max(0.0);
            if fate == Fate::Wandering && u > 0.0 {
                wandered += dice.normal(whole / lasting, 0.035);
            }
            let lost = match fate {
                Fate::Healthy => 0.0,
                Fate::Linear => whole * u,
                Fate::Accelerating => whole * u.powf(2.5),
                Fate::Cliff => whole * (0.25 * u + 0.75 * ((u - 0.85).max(0.0) / 0.15)),
                Fate::Wandering => wandered,
                Fate::Sudden => {
                    if u > 0.0 {
                        sudden
                    } else {
                        0.0
                    }
                }
                Fate::Dead => {
                    if u > 0.0 {
                        20.0
                    } else {
                        0.0
                    }
                }
            };
            let repaired = crossing.is_some_and(|crossing| t >= crossing + repair_after);
            let level = if repaired { aged } else { (aged - lost).max(0.0) };
            if level <= limit && crossing.is_none() {
                let before = levels.last().copied().unwrap_or(level);
                let part = if before > level { (before - limit) / (before - level) } else { 1.0 };
                crossing = Some((t - 1.0 + part).max(0.0));
            }
            levels.push(level);
        }
        Course { levels, crossing }
    }

    /// The level at a time, in days, between the days' values.
    pub fn level(&self, days: f64) -> f64 {
        let day = (days.max(0.0) as usize).min(self.levels.len() - 1);
        let next = (day + 1).min(self.levels.len() - 1);
        let (a, b) = (self.levels[day], self.levels[next]);
        a + (b - a) * (days - day as f64).clamp(0.0, 1.0)
    }
}
