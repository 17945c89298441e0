//! What a person says of an asset: one that is new, or one as it is from now on.

use crate::model::{
    Asset, AssetClass, AssetId, Insulation, Invalid, Joining, Limit, LimitMeaning, Text, Training,
    text,
};

/// What is said of an asset; what is not said stays as it was.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AssetChange {
    /// What it is.
    pub kind: Option<String>,
    /// Rated voltage in volts; `Some(None)`: not known any more.
    pub rated_voltage_v: Option<Option<f64>>,
    /// Limit in ohm at 40 °C; `Some(None)`: no such limit applies.
    pub limit_ohm: Option<Option<f64>>,
    /// The word for its insulation.
    pub insulation: Option<String>,
    /// The word for how its phases are joined.
    pub phases: Option<String>,
    /// Where it lives.
    pub site: Option<String>,
    /// Free text.
    pub remark: Option<String>,
    /// All limits beside the one at 40 °C.
    pub more_limits: Option<Vec<Limit>>,
    /// Its class; empty: none.
    pub class: Option<String>,
    /// Days from one test to the next; `Some(None)`: nobody asks.
    pub interval_days: Option<Option<u32>>,
    /// Seconds to wait for the discharge after a test.
    pub discharge_s: Option<Option<u32>>,
    /// Its known condition, where it is a part to learn on; `no`: it is a real one.
    pub training: Option<String>,
}

impl AssetChange {
    /// The asset as it is from now on: `known` as changed, or a new one. A new one that is no
    /// rotating machine has no limit unless one is said (IEEE Std 43 is about machines).
    ///
    /// `known` is the asset in its own words. What it says only because nobody knew better when it
    /// was first met, a class that it is given now says instead.
    pub fn of(self, id: AssetId, known: Option<Asset>) -> Result<Asset, Invalid> {
        let fresh = known.is_none();
        let mut asset = known.unwrap_or_else(|| Asset::first_met(id));
        if let Some(class) = self.class {
            asset.class = text("class", &class)?;
            let guessed = AssetClass::default();
            if !asset.class.is_empty() && asset.kind == guessed.kind {
                asset.kind = Text::default();
                asset.limit_ohm = asset.limit_ohm.filter(|ohms| Some(*ohms) != guessed.limit_ohm);
            }
        }
        if let Some(days) = self.interval_days {
            asset.interval_days = days;
        }
        if let Some(seconds) = self.discharge_s {
            asset.discharge_s = seconds;
        }
        if let Some(known) = self.training {
            asset.training = match known.trim() {
                "no" => None,
                known => Some(Training::parse(known)?),
            };
        }
        if let Some(kind) = self.kind {
            asset.kind = text("kind", &kind)?;
            if asset.kind.is_empty() {
                return Err(Invalid::new("kind", "what it is, such as `traction motor`", ""));
            }
            if fresh && !Asset::is_rotating(&asset.kind) {
                asset.limit_ohm = None;
            }
        }
        if let Some(volts) = self.rated_voltage_v {
            asset.rated_voltage_v = positive("rated_voltage_v", volts)?;
        }
        if let Some(ohms) = self.limit_ohm {
            asset.limit_ohm = positive("limit_ohm", ohms)?;
        }
        if let Some(word) = self.insulation {
            asset.insulation = Insulation::parse(&word)?;
        }
        if let Some(word) = self.phases {
            asset.joining = Joining::parse(&word)?;
        }
        if let Some(site) = self.site {
            asset.site = text("site", &site)?;
        }
        if let Some(remark) = self.remark {
            asset.remark = text("remark", &remark)?;
        }
        if let Some(limits) = self.more_limits {
            asset.more_limits = limits;
        }
        Ok(asset)
    }
}

/// A limit of ohms as read, whatever the temperature.
pub fn as_read(ohms: f64) -> Result<Limit, Invalid> {
    Ok(Limit { ohms: above_zero("limit_ohm", ohms)?, meaning: LimitMeaning::AsRead })
}

/// A limit of vehicle isolation: ohm per volt, at a working voltage.
pub fn isolation(ohm_per_volt: f64, working_voltage_v: f64) -> Result<Limit, Invalid> {
    let ohm_per_volt = above_zero("ohm_per_volt", ohm_per_volt)?;
    let working_voltage_v = above_zero("working_voltage_v", working_voltage_v)?;
    let ohms = above_zero("ohm_per_volt", ohm_per_volt * working_voltage_v)?;
    Ok(Limit { ohms, meaning: LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } })
}

fn positive(field: &'static str, value: Option<f64>) -> Result<Option<f64>, Invalid> {
    value.map(|v| above_zero(field, v)).transpose()
}

fn above_zero(field: &'static str, value: f64) -> Result<f64, Invalid> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(Invalid::new(field, "a number above 0", value))
    }
}
