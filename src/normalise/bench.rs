//! What a bench station knows of a bare value: what it belongs to, and how it is being measured.

use crate::model::{AssetId, Phase, Reading, Stamp, TemperatureOf, Text};

/// Gives streams without identity their asset and phase: a bench station knows what lies on it.
pub trait Identify {
    /// What a value that arrived at this instant belongs to; `seconds` of applied voltage, where
    /// the line or the rule of the test told them.
    fn identify(&self, at: Stamp, seconds: Option<f64>) -> Belongs;

    /// Told what became of a value, for whoever watches the bench.
    fn saw(&self, value: &Reading, belongs: &Belongs);
}

/// What a bare value belongs to.
#[derive(Clone, Debug, PartialEq)]
pub enum Belongs {
    /// A reading of what lies on the bench.
    To(Box<OnBench>),
    /// No reading of any asset, such as a proof of the tester: its line is kept, and nothing else.
    Aside,
    /// Nobody knows: the tray.
    Nobody,
}

/// What lies on a bench and how it is being measured; it stands in where a line is silent.
#[derive(Clone, Debug, PartialEq)]
pub struct OnBench {
    /// The asset.
    pub asset: AssetId,
    /// What the live lead is on.
    pub phase: Phase,
    /// What else defines comparability.
    pub setup: Text,
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// The tester's id; empty: as the station says.
    pub tester: Text,
    /// Who measures; empty: as the station says.
    pub operator: Text,
    /// Seconds of applied voltage, where neither line nor rule tells them.
    pub seconds: Option<f64>,
    /// Temperature in °C and what it is of.
    pub temperature: Option<(f64, TemperatureOf)>,
    /// Relative humidity in per cent.
    pub humidity_pct: Option<f64>,
}

impl OnBench {
    /// An asset and phase that always lie there, and nothing more known.
    pub fn always(asset: AssetId, phase: Phase, setup: Text) -> Self {
        OnBench {
            asset,
            phase,
            setup,
            test_voltage_v: None,
            tester: Text::default(),
            operator: Text::default(),
            seconds: None,
            temperature: None,
            humidity_pct: None,
        }
    }
}
