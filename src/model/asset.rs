//! Assets with their limits, what was done to them, and the other names they go by.

use std::fmt;

use super::{AssetClass, Invalid, Stamp, Text, Training, text, words};

/// The id of an asset: any text without control characters; `/` is allowed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AssetId(Text);

impl AssetId {
    /// Checks the text; an empty id is refused.
    pub fn new(id: &str) -> Result<Self, Invalid> {
        let id = text("asset", id)?;
        if id.is_empty() || id.contains(['\n', '\r', '\t']) {
            return Err(Invalid::new("asset", "a name on one line", id));
        }
        Ok(AssetId(id))
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for AssetId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// What the live lead was on: `U`, `V`, `W` or another label.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Phase(Text);

impl Phase {
    /// Checks the text; an empty label is refused.
    pub fn new(label: &str) -> Result<Self, Invalid> {
        let label = text("phase", label)?;
        if label.is_empty() || label.contains(['\n', '\r', '\t']) {
            return Err(Invalid::new("phase", "a label on one line", label));
        }
        Ok(Phase(label))
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether this is one of the three phases of a machine.
    pub fn is_winding(&self) -> bool {
        matches!(self.as_str(), "U" | "V" | "W")
    }
}

impl fmt::Display for Phase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

words!(
    /// The insulation system: it decides how resistance falls with temperature.
    Insulation, "insulation", {
    /// Modern resins: a small coefficient.
    Thermosetting => "thermosetting",
    /// Old thermoplastic and similar systems: halving per 10 K.
    Thermoplastic => "thermoplastic",
    /// No temperature effect is to be taken into account.
    None => "none",
    /// Not known: a wide mixture.
    Unknown => "unknown",
});

words!(
    /// How the phases are joined inside.
    Joining, "phases", {
    /// One node for direct current: star without accessible neutral, delta.
    Tied => "tied",
    /// Each phase can be measured alone.
    Separable => "separable",
    /// Not known: shown as separable, alarms worded for the asset.
    Unknown => "unknown",
});

/// What a limit is a limit of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LimitMeaning {
    /// The minimum for a winding at 40 °C: readings are corrected to it (IEEE Std 43).
    At40,
    /// Ohms as read, whatever the temperature.
    AsRead,
    /// Vehicle isolation, ohm per volt of working voltage (UN R100, ISO 6469-3):
    /// held against the raw value, never corrected; a single part only contributes.
    Isolation {
        /// Ohm per volt.
        ohm_per_volt: f64,
        /// Working voltage in volts.
        working_voltage_v: f64,
    },
}

/// A resistance below which something is to be said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// Ohms.
    pub ohms: f64,
    /// What it is a limit of.
    pub meaning: LimitMeaning,
}

impl LimitMeaning {
    /// The word in files and commands.
    pub const fn word(&self) -> &'static str {
        match self {
            LimitMeaning::At40 => "at 40 °C",
            LimitMeaning::AsRead => "as read",
            LimitMeaning::Isolation { .. } => "isolation",
        }
    }
}

/// The thing tested.
#[derive(Clone, Debug, PartialEq)]
pub struct Asset {
    /// Its id.
    pub id: AssetId,
    /// What it is: `rotating machine`, `cable`, `module` …
    pub kind: Text,
    /// Rated voltage in volts.
    pub rated_voltage_v: Option<f64>,
    /// Ohms at 40 °C below which it is `below limit`; none where no such limit applies.
    pub limit_ohm: Option<f64>,
    /// Its insulation system.
    pub insulation: Insulation,
    /// How its phases are joined.
    pub joining: Joining,
    /// Where it lives.
    pub site: Text,
    /// Free text.
    pub remark: Text,
    /// Limits beside `limit_ohm`: fixed ohms as read, vehicle isolation.
    pub more_limits: Vec<Limit>,
    /// The class it belongs to; empty: none. What the asset is silent about, the class says.
    pub class: Text,
    /// Days from one test to the next; none: nobody asks.
    pub interval_days: Option<u32>,
    /// Seconds to wait for the discharge after a test.
    pub discharge_s: Option<u32>,
    /// What is known of it, where it is a part to learn on; none: it is a real one.
    pub training: Option<Training>,
}

impl Asset {
    /// An asset first met in an import, as the default class has it.
    pub fn first_met(id: AssetId) -> Self {
        AssetClass::default().asset(id)
    }

    /// An asset that says nothing of itself.
    pub fn silent(id: AssetId) -> Self {
        Asset {
            id,
            kind: Text::default(),
            rated_voltage_v: None,
            limit_ohm: None,
            insulation: Insulation::Unknown,
            joining: Joining::Unknown,
            site: Text::default(),
            remark: Text::default(),
            more_limits: Vec::new(),
            class: Text::default(),
            interval_days: None,
            discharge_s: None,
            training: None,
        }
    }

    /// Whether the minimum for rotating machines applies to things of this kind.
    pub fn is_rotating(kind: &str) -> bool {
        let kind = kind.to_lowercase();
        ["machine", "motor", "generator", "alternator"].iter().any(|word| kind.contains(word))
    }

    /// All limits that stand on it.
    pub fn limits(&self) -> impl Iterator<Item = Limit> + '_ {
        let at_40 = self.limit_ohm.map(|ohms| Limit { ohms, meaning: LimitMeaning::At40 });
        at_40.into_iter().chain(self.more_limits.iter().copied())
    }
}

/// What was done. The first three start a new epoch, the others are shown only.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EventKind {
    /// New winding: a new epoch.
    Rewound,
    /// Dried out: a new epoch, most likely.
    Dried,
    /// Another specimen under the same id: a new epoch.
    Replaced,
    /// Taken out of service: out of the fleet and its findings, its history stays.
    Retired,
    /// Back in service: ends a `Retired`.
    Returned,
    /// Anything else: `cleaned`, `washed`, `moved` …
    Other(Text),
}

impl EventKind {
    /// Reads the word; any word is allowed, an empty one is not.
    pub fn parse(word: &str) -> Result<Self, Invalid> {
        let word = text("kind", word)?;
        Ok(match word.to_ascii_lowercase().as_str() {
            "" => return Err(Invalid::new("kind", "what was done, such as `rewound`", word)),
            "rewound" => EventKind::Rewound,
            "dried" => EventKind::Dried,
            "replaced" => EventKind::Replaced,
            "retired" => EventKind::Retired,
            "returned" => EventKind::Returned,
            _ => EventKind::Other(word),
        })
    }

    /// The word.
    pub fn word(&self) -> &str {
        match self {
            EventKind::Rewound => "rewound",
            EventKind::Dried => "dried",
            EventKind::Replaced => "replaced",
            EventKind::Retired => "retired",
            EventKind::Returned => "returned",
            EventKind::Other(word) => word,
        }
    }

    /// Whether readings before and after don't belong on one line.
    pub fn starts_epoch(&self) -> bool {
        matches!(self, EventKind::Rewound | EventKind::Dried | EventKind::Replaced)
    }
}

/// Something done to an asset.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// When.
    pub at: Stamp,
    /// To what.
    pub asset: AssetId,
    /// What.
    pub kind: EventKind,
    /// Free text.
    pub remark: Text,
}

/// Another name under which records of an asset, or of one of its phases, arrive.
///
/// A record matches when it was written `written` (or, with that empty, under the asset's own id)
/// and its phase was written `phase_written` (or that is empty), within the dates.
///
/// A merger is such a row too: two assets turned out to be one, and what is stored under `written`
/// is read as history of `asset` for as long as the row stands. Nothing is rewritten.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alias {
    /// The slot number, mistyped id or other name; empty: the asset's own id.
    pub written: Text,
    /// The asset meant.
    pub asset: AssetId,
    /// The phase label as written, such as `L1`; empty: any.
    pub phase_written: Text,
    /// The phase meant; none: as the record says.
    pub phase: Option<Phase>,
    /// First instant at which it holds; none: always.
    pub from: Option<Stamp>,
    /// First instant at which it holds no more; none: still.
    pub until: Option<Stamp>,
    /// Free text.
    pub remark: Text,
    /// Whether the asset that is registered as `written` is merged into `asset`.
    pub merged: bool,
}

impl Alias {
    /// The row that merges one asset into another, with the reason.
    pub fn merger(from: &AssetId, into: AssetId, why: Text) -> Self {
        Alias {
            written: from.as_str().into(),
            asset: into,
            phase_written: Text::default(),
            phase: None,
            from: None,
            until: None,
            remark: why,
            merged: true,
        }
    }
}
