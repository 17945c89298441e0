//! Classes of assets: what many machines of one make have in common, said once.

use super::{Asset, AssetId, Insulation, Joining, Limit, LimitMeaning, Text};

/// Vehicle isolation: ohm per volt of working voltage (UN R100, ISO 6469-3).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Isolation {
    /// Ohm per volt.
    pub ohm_per_volt: f64,
    /// Working voltage in volts.
    pub working_voltage_v: f64,
}

impl Isolation {
    /// As a limit: so many ohms, as read.
    pub fn limit(self) -> Limit {
        let Isolation { ohm_per_volt, working_voltage_v } = self;
        let meaning = LimitMeaning::Isolation { ohm_per_volt, working_voltage_v };
        Limit { ohms: ohm_per_volt * working_voltage_v, meaning }
    }
}

/// What the assets of a class are unless they say otherwise themselves.
#[derive(Clone, Debug, PartialEq)]
pub struct AssetClass {
    /// Its name, such as `drive motor 400 V`; empty: the class of what is met first in an import,
    /// as the configuration has it.
    pub name: Text,
    /// What its assets are.
    pub kind: Text,
    /// Ohms at 40 °C below which they are `below limit`.
    pub limit_ohm: Option<f64>,
    /// A limit in ohms as read, whatever the temperature.
    pub as_read_ohm: Option<f64>,
    /// A limit of vehicle isolation.
    pub isolation: Option<Isolation>,
    /// Their insulation system.
    pub insulation: Insulation,
    /// How their phases are joined.
    pub joining: Joining,
    /// Days from one test to the next; none: nobody asks.
    pub interval_days: Option<u32>,
    /// Seconds to wait for the discharge after a test.
    pub discharge_s: Option<u32>,
    /// Free text.
    pub remark: Text,
}

/// A rotating machine with 5 MΩ at 40 °C (IEEE Std 43, random-wound and form-wound below 1 kV),
/// insulation and joining unknown.
impl Default for AssetClass {
    fn default() -> Self {
        AssetClass {
            name: Text::default(),
            kind: "rotating machine".into(),
            limit_ohm: Some(5e6),
            as_read_ohm: None,
            isolation: None,
            insulation: Insulation::Unknown,
            joining: Joining::Unknown,
            interval_days: None,
            discharge_s: None,
            remark: Text::default(),
        }
    }
}

impl AssetClass {
    /// The class of that name, of which nothing more is known here: the store knows it.
    pub fn named(name: Text) -> Self {
        AssetClass { name, ..AssetClass::default() }
    }

    /// The asset of this class with that id. In a named class it says nothing itself, so that what
    /// is learnt of the class later holds for it too.
    pub fn asset(&self, id: AssetId) -> Asset {
        let bare = Asset { class: self.name.clone(), ..Asset::silent(id) };
        if self.name.is_empty() { self.fill(bare) } else { bare }
    }

    /// The asset with what it does not say itself taken from this class.
    pub fn fill(&self, mut asset: Asset) -> Asset {
        if asset.kind.is_empty() {
            asset.kind = self.kind.clone();
        }
        if asset.insulation == Insulation::Unknown {
            asset.insulation = self.insulation;
        }
        if asset.joining == Joining::Unknown {
            asset.joining = self.joining;
        }
        if asset.more_limits.is_empty() {
            let as_read =
                self.as_read_ohm.map(|ohms| Limit { ohms, meaning: LimitMeaning::AsRead });
            let isolation = self.isolation.map(Isolation::limit);
            asset.more_limits.extend(as_read.into_iter().chain(isolation));
        }
        asset.limit_ohm = asset.limit_ohm.or(self.limit_ohm);
        asset.interval_days = asset.interval_days.or(self.interval_days);
        asset.discharge_s = asset.discharge_s.or(self.discharge_s);
        asset
    }
}

/// An asset as it is meant: with what its class says where it is silent. A class that nobody has
/// registered is taken as that of an asset first met.
pub fn as_meant<'c>(asset: Asset, class: impl FnOnce(&str) -> Option<&'c AssetClass>) -> Asset {
    if asset.class.is_empty() {
        return asset;
    }
    match class(&asset.class) {
        Some(class) => class.fill(asset),
        None => AssetClass::default().fill(asset),
    }
}
