//! What a tester shows of a true resistance.

use super::{Dice, Preset};
use crate::model::Bound;

/// An invented tester.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tester {
    pub(super) number: usize,
    full_scale: f64,
    lowest: f64,
    gain: f64,
}

impl Tester {
    /// The tester with a number; the same in every specimen of a fleet.
    pub(super) fn numbered(preset: &Preset, seed: u64, number: usize) -> Self {
        let mut dice = Dice::new(seed ^ 0x7e57, number as u64);
        let off = if number % 3 == 2 { preset.gain_off } else { 0.0 };
        Tester {
            number,
            full_scale: preset.full_scales[number % preset.full_scales.len()],
            lowest: preset.lowest,
            gain: (dice.normal(off, preset.gain)).clamp(-0.3, 0.3),
        }
    }

    /// Ohms as shown, with three significant digits, and what they mean.
    pub(super) fn shows(&self, log_ohm: f64) -> (f64, Bound) {
        let ohms = 10f64.powf(log_ohm) * (1.0 + self.gain);
        if ohms > self.full_scale {
            return (self.full_scale, Bound::Over);
        }
        if ohms < self.lowest {
            return (self.lowest, Bound::Under);
        }
        let unit = 10f64.powf(ohms.log10().floor() - 2.0);
        ((ohms / unit).round() * unit, Bound::Measured)
    }

    /// Over-range, as with an open lead.
    pub(super) fn open(&self) -> (f64, Bound) {
        (self.full_scale, Bound::Over)
    }
}
