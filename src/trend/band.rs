//! The fitted line as it is drawn: its middle and interval at any time, for the usual temperature.

use super::field::{Coefficient, YEAR_DAYS};
use super::fit::{FieldFit, ramp};
use super::normal;
use crate::model::Stamp;

/// The fitted line at one time, log10 ohm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandPoint {
    /// When.
    pub at: Stamp,
    /// Lower end of the interval of the line itself (not of a reading).
    pub lower: f64,
    /// The line.
    pub mid: f64,
    /// Upper end.
    pub upper: f64,
}

impl FieldFit {
    /// The line shown for these readings: the one with an onset where that fits clearly better,
    /// else the straight one; taken at [`usual_celsius`](FieldFit::usual_celsius), with the
    /// interval of the settings' level (Gaussian, from the covariance at the summit).
    pub fn band(&self, times: &[Stamp]) -> Vec<BandPoint> {
        let fitted = self.clear_onset().unwrap_or(&self.straight);
        let tens = self.data.usual_tens;
        let (a, v) = (&fitted.summit.at, fitted.summit.vcov());
        let half = normal::two_sided(self.settings.level);
        let one = |at: &Stamp| {
            let years = (at.days() - self.data.reference.days()) / YEAR_DAYS;
            let x = [1.0, ramp(years, fitted.onset), tens];
            let mid = (0..3).map(|i| x[i] * a[i]).sum::<f64>() + self.data.coefficient.bend(tens);
            let variance: f64 = (0..3)
                .flat_map(|i| (0..3).map(move |j| (i, j)))
                .map(|(i, j)| x[i] * x[j] * v[i][j])
                .sum();
            let reach = half * variance.max(0.0).sqrt();
            BandPoint { at: *at, lower: mid - reach, mid, upper: mid + reach }
        };
        times.iter().map(one).collect()
    }

    /// The mean temperature of the readings behind the line, °C; what was taken for a missing one
    /// counts as well.
    pub fn usual_celsius(&self) -> f64 {
        40.0 + 10.0 * self.data.usual_tens
    }

    /// Decades between a value at 40 °C and the same at the usual temperature, by the fitted
    /// coefficient; to be added to a value at 40 °C.
    pub fn from_40(&self) -> f64 {
        let fitted = self.clear_onset().unwrap_or(&self.straight);
        let tens = Coefficient::tens(self.usual_celsius());
        fitted.summit.at[2] * tens + self.data.coefficient.bend(tens)
    }
}
