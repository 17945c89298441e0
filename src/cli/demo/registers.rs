//! What is known of the quay before the first file: assets, testers, proofs, events.

use super::WHO;
use crate::cli::Failure;
use crate::cli::place::Place;
use crate::invent::quay::{self, FLEET, Story};
use crate::model::{
    Asset, AssetId, Event, EventKind, Gear, GearKind, Insulation, Joining, Limit, LimitMeaning,
    Proof, ProofKind, ProofMoment, Stamp, text,
};
use crate::store::{Change, Writer};

/// Assets, testers, proofs and events of the quay.
pub(super) fn register(place: &mut Place, end: Stamp) -> Result<(), Failure> {
    let mut changes = Vec::new();
    for machine in FLEET {
        let mut asset = Asset::first_met(AssetId::new(machine.id)?);
        asset.kind = text("kind", machine.kind)?;
        asset.insulation = Insulation::parse(machine.insulation)?;
        asset.joining = Joining::parse(machine.phases)?;
        asset.site = text("site", machine.site)?;
        asset.rated_voltage_v = Some(800.0);
        if !Asset::is_rotating(machine.kind) {
            asset.limit_ohm = None;
            asset.more_limits.push(Limit {
                ohms: 80_000.0,
                meaning: LimitMeaning::Isolation { ohm_per_volt: 100.0, working_voltage_v: 800.0 },
            });
        }
        if machine.story == Story::Low {
            asset.remark = text("remark", "bearing seal leaks (invented)")?;
        }
        changes.push(Change::Asset(asset));
    }
    for (id, full_scale) in [("HT-2", 550e6), ("HT-4", 550e6), ("HT-5", 550e6), ("BT-1", 200e9)] {
        changes.push(Change::Gear(Gear {
            category: text("category", "CAT III")?,
            rated_voltage_v: Some(1_000.0),
            full_scale_ohm: Some(full_scale),
            lowest_ohm: Some(10_000.0),
            due: Some(end.plus_days(120.0)),
            remark: text("remark", "invented")?,
            ..Gear::new(text("gear", id)?, GearKind::Tester)
        }));
    }
    for (at, asset, kind, remark) in quay::events(end) {
        changes.push(Change::Event(Event {
            at,
            asset: AssetId::new(asset)?,
            kind: EventKind::parse(kind)?,
            remark: text("remark", remark)?,
        }));
    }
    // Common practice, no published source: leads open read over-range, shorted the bottom of the
    // range, a nominal 240 V source reads 243 V.
    let proofs = [
        (ProofKind::Open, Some(550e6), "Ω"),
        (ProofKind::Shorted, Some(0.0), "Ω"),
        (ProofKind::KnownSource, Some(243.0), "V"),
    ];
    for (kind, value, unit) in proofs {
        changes.push(Change::Proof(Proof {
            at: end.plus_days(-3.0),
            tester: text("tester", "HT-2")?,
            kind,
            value,
            unit: text("unit", unit)?,
            passed: true,
            moment: ProofMoment::Before,
            remark: text("remark", "")?,
        }));
    }
    let now = place.now;
    place.writing()?.writer.record(now, WHO, &changes)?;
    Ok(())
}
