//! What goes over the wire: names as in the canonical CSV, instants as RFC 3339, never a type of
//! the model itself.

use serde::Serialize;

use crate::intake::BodyTaken;
use crate::model::Asset;
use crate::store::Stored;

/// The answer to readings that were sent. Every record is counted once.
#[derive(Debug, Serialize)]
pub(super) struct TakenOut {
    accepted: u64,
    duplicate: u64,
    tray: u64,
    rejected: Vec<RejectOut>,
    /// Rejects beyond those listed.
    #[serde(skip_serializing_if = "is_zero")]
    more_rejected: u64,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
}

/// A record that was not taken.
#[derive(Debug, Serialize)]
pub(super) struct RejectOut {
    record: u64,
    reason: String,
}

impl TakenOut {
    pub(super) fn of(taken: BodyTaken) -> Self {
        let BodyTaken { receipt, rejected, warnings } = taken;
        let rejected: Vec<RejectOut> = rejected
            .into_iter()
            .map(|(at, item)| RejectOut { record: at.record, reason: item.reason.into() })
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

/// An asset, as in assets.csv.
#[derive(Debug, Serialize)]
pub(super) struct AssetOut {
    asset: String,
    kind: String,
    rated_voltage_v: Option<f64>,
    limit_ohm: Option<f64>,
    insulation: &'static str,
    phases: &'static str,
    site: String,
    remark: String,
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
        }
    }
}

/// A reading as it was taken in: the canonical columns, its id, and when it became known.
#[derive(Debug, Serialize)]
pub(super) struct ReadingOut {
    id: String,
    recorded_at: String,
    taken_at: String,
    asset: String,
    phase: String,
    against: String,
    setup: String,
    resistance_ohm: f64,
    bound: &'static str,
    test_voltage_v: Option<f64>,
    delivered_voltage_v: Option<f64>,
    duration_s: Option<f64>,
    temperature_c: Option<f64>,
    temperature_of: Option<&'static str>,
    humidity_pct: Option<f64>,
    tester: String,
    operator: String,
    station: String,
    remark: String,
}

impl From<Stored> for ReadingOut {
    fn from(stored: Stored) -> Self {
        let r = stored.reading;
        let s = &r.series;
        ReadingOut {
            id: stored.id.to_string(),
            recorded_at: stored.recorded_at.to_string(),
            taken_at: r.taken_at.to_string(),
            asset: s.asset.to_string(),
            phase: s.phase.to_string(),
            against: s.against.to_string(),
            setup: s.setup.to_string(),
            resistance_ohm: r.ohms,
            bound: r.bound.word(),
            test_voltage_v: s.test_voltage.map(|v| v.get()),
            delivered_voltage_v: r.delivered_voltage_v,
            duration_s: r.duration_s,
            temperature_c: r.temperature_c,
            temperature_of: r.temperature_of.map(|t| t.word()),
            humidity_pct: r.humidity_pct,
            tester: r.tester.to_string(),
            operator: r.operator.to_string(),
            station: r.station.to_string(),
            remark: r.remark.to_string(),
        }
    }
}
