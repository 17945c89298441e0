//! Rows of the registers over the wire, with the columns of their files. What is sent goes through
//! the same check as a row of a file.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::wire::MarkOut;
use crate::model::{Alias, Event, Gear, Invalid, Proof, Stamp};
use crate::registry::read_row;
use crate::store::Recorded;

/// Something done to an asset.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct EventOut {
    /// When.
    #[schema(example = "2026-03-02T08:15:00Z")]
    at: String,
    /// To what.
    #[schema(example = "YT-014/drive")]
    asset: String,
    /// What: `rewound`, `dried`, `replaced` start a new epoch; others are shown only.
    #[schema(example = "washed")]
    kind: String,
    /// Free text.
    remark: String,
    #[serde(flatten)]
    mark: MarkOut,
}

impl From<Recorded<Event>> for EventOut {
    fn from(recorded: Recorded<Event>) -> Self {
        let event = recorded.value;
        EventOut {
            at: event.at.to_string(),
            asset: event.asset.to_string(),
            kind: event.kind.word().to_owned(),
            remark: event.remark.into(),
            mark: recorded.mark.into(),
        }
    }
}

/// Something done to an asset, to be recorded.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct EventIn {
    /// When; left out: now.
    #[schema(example = "2026-03-02T08:15:00Z")]
    at: Option<String>,
    /// To what; it must be registered.
    #[schema(example = "YT-014/drive", min_length = 1)]
    asset: String,
    /// What: `rewound`, `dried`, `replaced`, or any other word.
    #[schema(example = "washed", min_length = 1)]
    kind: String,
    /// Free text.
    #[serde(default)]
    remark: String,
}

impl EventIn {
    pub(super) fn row(self, now: Stamp) -> Result<Event, Invalid> {
        let at = self.at.unwrap_or_else(|| now.to_string());
        let EventIn { asset, kind, remark, .. } = self;
        read_row(&[("at", at), ("asset", asset), ("kind", kind), ("remark", remark)])
    }
}

/// An event by what names it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct NamedEvent {
    /// When it was.
    #[schema(example = "2026-03-02T08:15:00Z")]
    at: String,
    /// To what.
    #[schema(example = "YT-014/drive", min_length = 1)]
    asset: String,
    /// What.
    #[schema(example = "washed", min_length = 1)]
    kind: String,
}

impl NamedEvent {
    pub(super) fn row(self) -> Result<Event, Invalid> {
        let NamedEvent { at, asset, kind } = self;
        read_row(&[("at", at), ("asset", asset), ("kind", kind)])
    }
}

/// A piece of gear.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct GearOut {
    /// Its id, as readings and proofs name it.
    #[schema(example = "HT-5")]
    gear: String,
    /// What it is.
    #[schema(example = "tester")]
    kind: &'static str,
    /// Measurement category as printed on it.
    #[schema(example = "CAT III")]
    category: String,
    /// Rated voltage of that category in volts.
    rated_voltage_v: Option<f64>,
    /// Testers: the highest reading in ohm.
    full_scale_ohm: Option<f64>,
    /// Testers: the lowest reading in ohm.
    lowest_ohm: Option<f64>,
    /// When its next test or calibration is due.
    due: Option<String>,
    /// Whether that is past.
    overdue: bool,
    /// Free text.
    remark: String,
    #[serde(flatten)]
    mark: MarkOut,
}

impl GearOut {
    pub(super) fn of(recorded: Recorded<Gear>, now: Stamp) -> Self {
        let gear = recorded.value;
        GearOut {
            gear: gear.id.into(),
            kind: gear.kind.word(),
            category: gear.category.into(),
            rated_voltage_v: gear.rated_voltage_v,
            full_scale_ohm: gear.full_scale_ohm,
            lowest_ohm: gear.lowest_ohm,
            due: gear.due.map(|d| d.to_string()),
            overdue: gear.due.is_some_and(|d| d <= now),
            remark: gear.remark.into(),
            mark: recorded.mark.into(),
        }
    }
}

/// A piece of gear as it is from now on.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct GearIn {
    /// Its id, as readings and proofs name it.
    #[schema(example = "HT-5", min_length = 1)]
    gear: String,
    /// `tester`, `lead`, `gloves`, `known source`, `known resistance` or `other`.
    #[schema(example = "tester")]
    kind: String,
    /// Measurement category as printed on it.
    #[serde(default)]
    #[schema(example = "CAT III")]
    category: String,
    /// Rated voltage of that category in volts.
    rated_voltage_v: Option<f64>,
    /// Testers: the highest reading in ohm; what a bare over-range mark stands for.
    #[schema(example = 550e6)]
    full_scale_ohm: Option<f64>,
    /// Testers: the lowest reading in ohm; what a printed zero stands for.
    lowest_ohm: Option<f64>,
    /// When its next test or calibration is due.
    #[schema(example = "2026-12-01")]
    due: Option<String>,
    /// Free text.
    #[serde(default)]
    remark: String,
    /// Testers: the highest reading in ohm by test voltage, as in gear.csv.
    #[serde(default)]
    #[schema(example = "250 V: 1e9; 500 V: 2e9")]
    ranges: String,
    /// Testers: days after which a proof is to be repeated.
    #[schema(minimum = 1, maximum = 100000)]
    proof_days: Option<u32>,
}

impl GearIn {
    pub(super) fn row(self) -> Result<Gear, Invalid> {
        read_row(&[
            ("gear", self.gear),
            ("kind", self.kind),
            ("category", self.category),
            ("rated_voltage_v", number(self.rated_voltage_v)),
            ("full_scale_ohm", number(self.full_scale_ohm)),
            ("lowest_ohm", number(self.lowest_ohm)),
            ("due", self.due.unwrap_or_default()),
            ("remark", self.remark),
            ("ranges", self.ranges),
            ("proof_days", number(self.proof_days.map(f64::from))),
        ])
    }
}

/// A check of a tester.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct ProofOut {
    /// When.
    #[schema(example = "2026-03-02T08:05:00Z")]
    at: String,
    /// Which tester.
    #[schema(example = "HT-5")]
    tester: String,
    /// What was checked.
    #[schema(example = "open")]
    kind: &'static str,
    /// What it read.
    value: Option<f64>,
    /// The unit of that.
    unit: String,
    /// Whether it passed.
    passed: bool,
    /// `before` or `after` the readings.
    moment: &'static str,
    /// Free text.
    remark: String,
    #[serde(flatten)]
    mark: MarkOut,
}

impl From<Recorded<Proof>> for ProofOut {
    fn from(recorded: Recorded<Proof>) -> Self {
        let proof = recorded.value;
        ProofOut {
            at: proof.at.to_string(),
            tester: proof.tester.into(),
            kind: proof.kind.word(),
            value: proof.value,
            unit: proof.unit.into(),
            passed: proof.passed,
            moment: proof.moment.word(),
            remark: proof.remark.into(),
            mark: recorded.mark.into(),
        }
    }
}

/// A check of a tester, to be recorded or taken back.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ProofIn {
    /// When; left out: now.
    #[schema(example = "2026-03-02T08:05:00Z")]
    at: Option<String>,
    /// Which tester.
    #[schema(example = "HT-5", min_length = 1)]
    tester: String,
    /// `open`, `shorted`, `known resistance` or `known source`.
    #[schema(example = "open")]
    kind: String,
    /// What it read.
    value: Option<f64>,
    /// The unit of that.
    #[serde(default)]
    unit: String,
    /// Whether it passed.
    passed: bool,
    /// `before` or `after` the readings; left out: before.
    #[serde(default)]
    #[schema(example = "before")]
    moment: String,
    /// Free text.
    #[serde(default)]
    remark: String,
}

impl ProofIn {
    pub(super) fn row(self, now: Stamp) -> Result<Proof, Invalid> {
        read_row(&[
            ("at", self.at.unwrap_or_else(|| now.to_string())),
            ("tester", self.tester),
            ("kind", self.kind),
            ("value", number(self.value)),
            ("unit", self.unit),
            ("passed", self.passed.to_string()),
            ("moment", self.moment),
            ("remark", self.remark),
        ])
    }
}

/// Another name of an asset, or of one of its phases.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct AliasOut {
    /// The slot number, mistyped id or other name; empty: the asset's own id.
    #[schema(example = "slot 14")]
    written: String,
    /// The asset meant.
    #[schema(example = "YT-014/drive")]
    asset: String,
    /// The phase label as written; empty: any.
    phase_written: String,
    /// The phase meant; none: as the record says.
    phase: Option<String>,
    /// First instant at which it holds; none: always.
    from: Option<String>,
    /// First instant at which it holds no more; none: still.
    until: Option<String>,
    /// Free text.
    remark: String,
    /// Whether the asset that is registered as `written` is merged into this one.
    merged: bool,
    #[serde(flatten)]
    mark: MarkOut,
}

impl From<Recorded<Alias>> for AliasOut {
    fn from(recorded: Recorded<Alias>) -> Self {
        let alias = recorded.value;
        AliasOut {
            written: alias.written.into(),
            asset: alias.asset.to_string(),
            phase_written: alias.phase_written.into(),
            phase: alias.phase.map(|p| p.to_string()),
            from: alias.from.map(|t| t.to_string()),
            until: alias.until.map(|t| t.to_string()),
            remark: alias.remark.into(),
            merged: alias.merged,
            mark: recorded.mark.into(),
        }
    }
}

/// Another name, to be recorded: `written`, or `phase_written` with `phase`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AliasIn {
    /// The slot number, mistyped id or other name; empty: the asset's own id.
    #[serde(default)]
    #[schema(example = "slot 14")]
    written: String,
    /// The asset meant.
    #[schema(example = "YT-014/drive", min_length = 1)]
    asset: String,
    /// The phase label as written, such as `L1`; empty: any.
    #[serde(default)]
    phase_written: String,
    /// The phase meant; left out: as the record says.
    phase: Option<String>,
    /// First instant at which it holds; left out: always.
    from: Option<String>,
    /// First instant at which it holds no more; left out: still.
    until: Option<String>,
    /// Free text.
    #[serde(default)]
    remark: String,
}

impl AliasIn {
    pub(super) fn row(self) -> Result<Alias, Invalid> {
        read_row(&[
            ("written", self.written),
            ("asset", self.asset),
            ("phase_written", self.phase_written),
            ("phase", self.phase.unwrap_or_default()),
            ("from", self.from.unwrap_or_default()),
            ("until", self.until.unwrap_or_default()),
            ("remark", self.remark),
        ])
    }
}

/// Another name by what names it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct NamedAlias {
    /// What was written; empty: the asset's own id.
    #[serde(default)]
    #[schema(example = "slot 14")]
    written: String,
    /// The asset meant.
    #[schema(example = "YT-014/drive", min_length = 1)]
    asset: String,
    /// The phase label as written; empty: any.
    #[serde(default)]
    phase_written: String,
    /// First instant at which it holds; left out: always.
    from: Option<String>,
}

impl NamedAlias {
    pub(super) fn row(self) -> Result<Alias, Invalid> {
        let from = self.from.map(|text| {
            let wrong = |_| Invalid::new("from", "a time like 2026-03-02T08:15:00Z", &text);
            Stamp::parse(&text).map_err(wrong)
        });
        Ok(Alias {
            written: crate::model::text("written", &self.written)?,
            asset: crate::model::AssetId::new(&self.asset)?,
            phase_written: crate::model::text("phase_written", &self.phase_written)?,
            phase: None,
            from: from.transpose()?,
            until: None,
            remark: Default::default(),
            merged: false,
        })
    }
}

fn number(value: Option<f64>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}
