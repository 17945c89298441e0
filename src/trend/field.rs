//! What is known beforehand about readings from the field, and the rows that a fit sees of them.

use super::censored::Row;
use super::outcome::{UNSTATED_TEMPERATURE, WELL_KNOWN_SD};
use super::penalised::{NoisyRow, Priors};
use crate::model::{Insulation, Point, Stamp};

/// Days in a year, for rates shown in decades per year.
pub const YEAR_DAYS: f64 = 365.25;

/// How log10 ohm changes per +10 K: what is known before any reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficient {
    /// Expected decades per 10 K.
    pub mean: f64,
    /// Standard deviation between machines.
    pub sd: f64,
    /// Added per 10 K above 40 °C.
    pub beyond_40: f64,
}

/// The coefficient of an insulation class.
///
/// Thermoplastic: halving per 10 K, log10 ½ = −0.301 (IEEE Std 43, S). Thermosetting: about −0.08
/// below 40 °C and −0.18 at 40 to 50 °C, the slopes of the 1245 and 4230 rules (IEEE Std 43-2013, M).
/// Unknown: a normal law with the mean and spread of an even mixture of both. Spreads are the
/// project's own choice, no published source.
pub const fn coefficient(insulation: Insulation) -> Coefficient {
    match insulation {
        Insulation::Thermoplastic => Coefficient { mean: -0.301, sd: 0.1, beyond_40: 0.0 },
        Insulation::Thermosetting => Coefficient { mean: -0.08, sd: 0.05, beyond_40: -0.10 },
        // Pinned to zero.
        Insulation::None => Coefficient { mean: 0.0, sd: 1e-4, beyond_40: 0.0 },
        Insulation::Unknown => Coefficient { mean: -0.19, sd: 0.136, beyond_40: 0.0 },
    }
}

impl Coefficient {
    /// Tens of kelvin above 40 °C.
    pub fn tens(celsius: f64) -> f64 {
        (celsius - 40.0) / 10.0
    }

    /// The part of the effect that is not proportional, in decades.
    pub fn bend(&self, tens: f64) -> f64 {
        self.beyond_40 * tens.max(0.0)
    }
}

/// What is taken for granted of readings from the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beliefs {
    /// Median scatter of one reading about its line, decades.
    pub sigma: f64,
    /// Standard deviation of ln σ between machines.
    pub sigma_ln_sd: f64,
    /// Mean and standard deviation in °C where no reading of the line has a temperature.
    pub temperature: (f64, f64),
}

impl Default for Beliefs {
    fn default() -> Self {
        Beliefs { sigma: 0.1, sigma_ln_sd: 0.35, temperature: UNSTATED_TEMPERATURE }
    }
}

/// Rows (1, years from the reference, tens of kelvin above 40 °C, log10 ohm).
pub(crate) type FieldRow = NoisyRow<4>;

/// The rows of one line, with the time they are counted from.
pub(crate) struct Rows {
    pub(crate) rows: Vec<FieldRow>,
    pub(crate) priors: Priors<4>,
    pub(crate) coefficient: Coefficient,
    pub(crate) reference: Stamp,
    /// Mean of the tens of kelvin: where a limit as read is looked at.
    pub(crate) usual_tens: f64,
    /// How many temperatures were missing.
    pub(crate) without_temperature: usize,
}

/// Mean and spread of the temperatures that the line knows, else what is taken for granted.
///
/// With fewer than five known ones the taken-for-granted spread stands, since a spread of two
/// numbers means little.
fn usual_temperature(points: &[Point], beliefs: &Beliefs) -> (f64, f64) {
    let known: Vec<f64> = points.iter().filter_map(|p| p.temperature_c).collect();
    if known.is_empty() {
        return beliefs.temperature;
    }
    let n = known.len() as f64;
    let mean = known.iter().sum::<f64>() / n;
    let sd = (known.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / n).sqrt();
    (mean, if known.len() < 5 { sd.max(beliefs.temperature.1) } else { (1.1 * sd).max(2.0) })
}

/// Makes the rows; the reference is the last reading. `None` without points.
pub(crate) fn rows(points: &[Point], insulation: Insulation, beliefs: &Beliefs) -> Option<Rows> {
    let reference = points.iter().map(|p| p.taken_at).max()?;
    let coefficient = coefficient(insulation);
    let usual = usual_temperature(points, beliefs);
    // E[κ²]: the variance that an uncertain temperature adds is (κ·Ts/10)².
    let kappa_square = coefficient.mean.powi(2) + coefficient.sd.powi(2);
    let rows: Vec<FieldRow> = points
        .iter()
        .map(|p| {
            let (celsius, sd) = p.temperature_c.map_or(usual, |t| (t, p.temperature_sd));
            // What a winding thermometer leaves open is part of the scatter already.
            let sd = if sd > WELL_KNOWN_SD { sd } else { 0.0 };
            let tens = Coefficient::tens(celsius);
            let years = (p.taken_at.days() - reference.days()) / YEAR_DAYS;
            let y = p.log_ohm - coefficient.bend(tens);
            NoisyRow {
                row: Row { terms: [1.0, years, tens, y], bound: p.bound },
                variance: kappa_square * (sd / 10.0).powi(2),
            }
        })
        .collect();
    // Two coefficients are estimated from the readings, so σ is found too small by two degrees of
    // freedom. Integrating them out multiplies the likelihood by σ², which against a normal prior on
    // ln σ is a shift of its mean by twice its variance.
    let sigma_mean = beliefs.sigma.ln() + 2.0 * beliefs.sigma_ln_sd.powi(2);
    let priors = Priors::NONE.with(2, coefficient.mean, coefficient.sd).with(
        3,
        sigma_mean,
        beliefs.sigma_ln_sd,
    );
    let usual_tens = rows.iter().map(|r| r.row.terms[2]).sum::<f64>() / rows.len() as f64;
    let without_temperature = points.iter().filter(|p| p.temperature_c.is_none()).count();
    Some(Rows { rows, priors, coefficient, reference, usual_tens, without_temperature })
}
