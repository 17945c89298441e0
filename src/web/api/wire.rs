//! What goes over the wire: names as in the canonical CSV and the registers, instants as RFC 3339,
//! never a type of the model itself.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::dossier::words::limit_words;
use crate::intake::BodyTaken;
use crate::model::{Asset, Invalid, Limit, LimitMeaning, Mark};
use crate::registry::{Changed, as_read, isolation};

/// The answer to readings that were sent. Every record is counted once.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct TakenOut {
    /// Readings stored.
    #[schema(example = 2)]
    accepted: u64,
    /// Readings that were there already.
    duplicate: u64,
    /// Readings whose asset or phase is not known: they wait in the tray.
    tray: u64,
    /// Records that could not be taken.
    rejected: Vec<RejectedOut>,
    /// Rejects beyond those listed.
    #[serde(skip_serializing_if = "is_zero")]
    #[schema(value_type = Option<u64>)]
    more_rejected: u64,
    /// What the sender should know.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(value_type = Option<Vec<String>>)]
    warnings: Vec<String>,
}

/// A record that was not taken.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct RejectedOut {
    /// Which, counted from 1; a header counts.
    #[schema(example = 3)]
    record: u64,
    /// What was expected and found.
    #[schema(example = "`resistance_ohm`: expected a number, found `much`")]
    reason: String,
}

impl TakenOut {
    pub(super) fn of(taken: BodyTaken) -> Self {
        let BodyTaken { receipt, rejected, warnings } = taken;
        let rejected: Vec<RejectedOut> = rejected
            .into_iter()
            .map(|(at, item)| RejectedOut { record: at.record, reason: item.reason.into() })
            .collect();
        TakenOut {
            accepted: receipt.accepted,
            duplicate: receipt.duplicate,
            tray: receipt.tray,
            more_rejected: receipt.rejected.saturating_sub(rejected.len() as u64),
            rejected,
            warnings,
        }
    }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde calls it with a reference")]
fn is_zero(n: &u64) -> bool {
    *n == 0
}

/// What came of a change.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct RecordedOut {
    /// Rows that are new; what stood already is not recorded again.
    #[schema(example = 1)]
    recorded: u64,
    /// Readings that left the tray because of it.
    left_tray: usize,
}

impl RecordedOut {
    pub(super) const fn one() -> Self {
        RecordedOut { recorded: 1, left_tray: 0 }
    }
}

impl From<Changed> for RecordedOut {
    fn from(changed: Changed) -> Self {
        RecordedOut { recorded: changed.new, left_tray: changed.placed }
    }
}

/// Who recorded a row and when.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct MarkOut {
    /// When it was recorded.
    #[schema(example = "2026-03-02T08:15:00Z")]
    recorded_at: String,
    /// Who recorded it.
    #[schema(example = "R. Hale")]
    by: String,
}

impl From<Mark> for MarkOut {
    fn from(mark: Mark) -> Self {
        MarkOut { recorded_at: mark.recorded_at.to_string(), by: mark.by.into() }
    }
}

/// An asset, as in assets.csv, with the limits beside the one at 40 °C.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct AssetOut {
    /// Its id.
    #[schema(example = "YT-014/drive")]
    asset: String,
    /// What it is.
    #[schema(example = "traction motor")]
    kind: String,
    /// Rated voltage in volts.
    #[schema(example = 400.0)]
    rated_voltage_v: Option<f64>,
    /// Limit in ohm at 40 °C.
    #[schema(example = 5e6)]
    limit_ohm: Option<f64>,
    /// Its insulation system.
    #[schema(example = "thermosetting")]
    insulation: &'static str,
    /// How its phases are joined inside.
    #[schema(example = "separable")]
    phases: &'static str,
    /// Where it lives.
    #[schema(example = "North quay")]
    site: String,
    /// Free text.
    remark: String,
    /// Limits beside the one at 40 °C.
    more_limits: Vec<LimitOut>,
    /// The class that says what it does not say itself; empty: none.
    #[schema(example = "drive motor 400 V")]
    class: String,
    /// Days from one test to the next; none: nobody asks.
    interval_days: Option<u32>,
    /// Seconds to wait for the discharge after a test.
    discharge_wait_s: Option<u32>,
    /// Its known condition, where it is a part to learn on.
    training: Option<String>,
}

impl From<Asset> for AssetOut {
    fn from(asset: Asset) -> Self {
        AssetOut {
            asset: asset.id.to_string(),
            kind: asset.kind.into(),
            rated_voltage_v: asset.rated_voltage_v,
            limit_ohm: asset.limit_ohm,
            insulation: asset.insulation.word(),
            phases: asset.joining.word(),
            site: asset.site.into(),
            remark: asset.remark.into(),
            more_limits: asset.more_limits.iter().map(LimitOut::of).collect(),
            class: asset.class.into(),
            interval_days: asset.interval_days,
            discharge_wait_s: asset.discharge_s,
            training: asset.training.map(|known| known.to_string()),
        }
    }
}

/// A limit, as in limits.csv.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct LimitOut {
    /// `as read` or `isolation`.
    meaning: &'static str,
    /// Ohms.
    limit_ohm: f64,
    /// Isolation: ohm per volt.
    ohm_per_volt: Option<f64>,
    /// Isolation: the working voltage in volts.
    working_voltage_v: Option<f64>,
    /// The same in words.
    words: String,
}

impl LimitOut {
    fn of(limit: &Limit) -> Self {
        let (ohm_per_volt, working_voltage_v) = match limit.meaning {
            LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
                (Some(ohm_per_volt), Some(working_voltage_v))
            }
            _ => (None, None),
        };
        LimitOut {
            meaning: limit.meaning.word(),
            limit_ohm: limit.ohms,
            ohm_per_volt,
            working_voltage_v,
            words: limit_words(limit),
        }
    }
}

/// A limit: either ohms as read, or vehicle isolation in ohm per volt.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LimitIn {
    /// Ohms as read, whatever the temperature.
    limit_ohm: Option<f64>,
    /// Isolation: ohm per volt.
    #[schema(example = 100.0)]
    ohm_per_volt: Option<f64>,
    /// Isolation: the working voltage in volts.
    #[schema(example = 800.0)]
    working_voltage_v: Option<f64>,
}

impl LimitIn {
    pub(super) fn limit(self) -> Result<Limit, Invalid> {
        match (self.limit_ohm, self.ohm_per_volt, self.working_voltage_v) {
            (Some(ohms), None, None) => as_read(ohms),
            (None, Some(per_volt), Some(volts)) => isolation(per_volt, volts),
            _ => {
                let expected = "`limit_ohm` alone, or `ohm_per_volt` with `working_voltage_v`";
                Err(Invalid::new("more_limits", expected, "something else"))
            }
        }
    }
}
