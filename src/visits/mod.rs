//! Readings to visits to the value the trend sees. Derived each time it is asked for, never stored.
//!
//! The way of a reading here: corrections say which readings there are, proofs and voltages say
//! which count, visits gather them, and each series of a visit gives one point.

mod correct;
mod gather;
mod proofs;
mod quality;
mod ratios;
mod thin;

pub use correct::{Corrected, Corrections, by_time};
pub use gather::{Chosen, Exclusion, Gathering, Judged, Role, Seat, gather, near_rated};
pub use proofs::{Suspicion, Suspicions, suspicions};
pub use quality::{Doubt, TesterRecord, doubts};
pub use ratios::{Ratio, RatioValue, ratios};
pub use thin::thinnable;

/// What decides how readings become visits.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Hours without a reading that end a visit.
    pub gap_hours: f64,
    /// Seconds at which a reading counts as rated: one minute by IEEE Std 43.
    pub rated_duration_s: f64,
    /// Delivered over nominal voltage below which a *high* reading does not count. A project
    /// choice: testers may deliver more than nominal, not less, at a load they can drive
    /// (IEC 61557-2).
    pub least_voltage_ratio: f64,
    /// Most days that a failed proof reaches, back or forward.
    pub proof_span_days: f64,
    /// Standard uncertainty in kelvin of a temperature of the winding.
    pub winding_sd: f64,
    /// Standard uncertainty in kelvin of the winding when the temperature was of the air.
    pub ambient_sd: f64,
    /// Standard uncertainty in kelvin when nobody said what the temperature was of.
    pub unstated_sd: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            gap_hours: 4.0,
            rated_duration_s: 60.0,
            least_voltage_ratio: 0.9,
            proof_span_days: 7.0,
            winding_sd: 1.0,
            ambient_sd: 6.0,
            unstated_sd: 2.0,
        }
    }
}

#[cfg(test)]
mod tests;
