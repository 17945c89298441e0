//! One value of a series and how likely it is at every level.

use std::sync::LazyLock;

use super::{Grid, Settings};
use crate::model::Bound;

/// Floors of the dry likelihood by bound, in units of the share of gross errors: an open lead
/// reads over-range a little more often than a contact fault reads low.
const GROSS_EXACT: f64 = 0.25;
const GROSS_OVER: f64 = 0.3;
const GROSS_UNDER: f64 = 0.2;

/// The wet likelihood is held between this and one minus three times this.
const WET_FLOOR: f64 = 0.005;

/// Softness of the two ends of the wet range, decades: the middle of the scatters.
const WET_EDGE: f64 = 0.1;

/// One value as the filter takes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation {
    /// log10 ohm as read.
    pub log_ohm: f64,
    /// Measured, at least or at most.
    pub bound: Bound,
    /// Temperature of the insulation in °C, known or taken from others.
    pub temperature_c: f64,
    /// Its standard uncertainty in K.
    pub temperature_sd: f64,
    /// Relative humidity in per cent, where known.
    pub humidity_pct: Option<f64>,
    /// Share of gross errors.
    pub gross: f64,
    /// Standard uncertainty of the tester against its peers, decades.
    pub tester_sd: f64,
}

impl Observation {
    /// Fills the likelihood of every level, dry and wet, for one coefficient and scatter.
    pub(super) fn likelihood(
        &self,
        grid: &Grid,
        kappa: f64,
        sigma: f64,
        dry: &mut [f64],
        wet: &mut [f64],
    ) {
        let s = grid.settings();
        let (humid, humid_sd) = self.humid(s);
        let warm = kappa * self.temperature_sd / 10.0;
        let extra = warm * warm + humid_sd * humid_sd + self.tester_sd * self.tester_sd;
        let sigma = (sigma * sigma + extra).sqrt();
        let at_40 = self.log_ohm - kappa * (self.temperature_c - 40.0) / 10.0 + humid;
        let (low, high) = (s.bottom + s.margin, grid.level(grid.levels() - 1) - s.margin);
        let (y, bound) = match self.bound {
            // Beyond the grid only the side is known; a bound there is no news on its far side.
            Bound::Measured | Bound::Under if at_40 < low => (low, Bound::Under),
            Bound::Measured | Bound::Over if at_40 > high => (high, Bound::Over),
            bound => (at_40, bound),
        };
        let (kept, depth) = (1.0 - self.gross, s.wet_depth);
        let floor = self.gross
            * match bound {
                Bound::Measured => GROSS_EXACT,
                Bound::Over => GROSS_OVER,
                Bound::Under => GROSS_UNDER,
            };
        let scale = kept / (sigma * (2.0 * std::f64::consts::PI).sqrt());
        let (mut z, down) = ((y - s.bottom) / sigma, s.step / sigma);
        let (mut edge, edge_down) = ((y - s.bottom) / WET_EDGE, s.step / WET_EDGE);
        let far = depth / WET_EDGE;
        for (d, w) in dry.iter_mut().zip(wet.iter_mut()) {
            let (here, wet_here) = match bound {
                Bound::Measured => {
                    let peak = if z.abs() < 7.0 { (-0.5 * z * z).exp() } else { 0.0 };
                    (scale * peak, (cdf(edge + far) - cdf(edge)) / depth)
                }
                Bound::Over => (kept * cdf(-z), (-edge / far).clamp(0.0, 1.0)),
                Bound::Under => (kept * cdf(z), 1.0 - (-edge / far).clamp(0.0, 1.0)),
            };
            *d = here + floor;
            *w = (1.0 - 4.0 * WET_FLOOR) * wet_here + WET_FLOOR;
            z -= down;
            edge -= edge_down;
        }
    }

    /// What humid air takes off a reading, decades, and how well that is known.
    fn humid(&self, s: &Settings) -> (f64, f64) {
        let over = (self.humidity_pct.unwrap_or(0.0) - 75.0).max(0.0) / 20.0;
        (s.humid.0 * over, s.humid.1 * over)
    }
}

/// Cells of the table of the normal distribution per unit, and its reach on either side. Linear
/// interpolation in it is good to 8e-6, far below every floor above.
const PER_UNIT: f64 = 64.0;
const REACH: f64 = 7.0;

static CDF: LazyLock<Vec<f64>> = LazyLock::new(|| {
    let cells = (2.0 * REACH * PER_UNIT) as usize + 2;
    (0..cells)
        .map(|i| i as f64 / PER_UNIT - REACH)
        .map(|z| 0.5 * libm::erfc(-z / std::f64::consts::SQRT_2))
        .collect()
});

/// The standard normal distribution function, to 8e-6.
fn cdf(z: f64) -> f64 {
    if z <= -REACH {
        return 0.0;
    }
    if z >= REACH {
        return 1.0;
    }
    let place = (z + REACH) * PER_UNIT;
    let cell = place as usize;
    let table: &[f64] = &CDF;
    let (a, b) = (table[cell], table[cell + 1]);
    a + (place - cell as f64) * (b - a)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against `libm::erfc`, which is good to the last digits.
    #[test]
    fn the_table_is_good_enough() {
        for i in -900..900 {
            let z = f64::from(i) / 100.0 + 0.0037;
            let exact = 0.5 * libm::erfc(-z / std::f64::consts::SQRT_2);
            assert!((cdf(z) - exact).abs() < 1e-5, "{z}");
        }
    }
}
