//! `demo`: the whole job on the invented harbour Kestrel Quay, through the real pipeline.

use std::fs;
use std::path::PathBuf;

use super::args::{Declining, Demo, Import};
use super::place::{Place, shown};
use super::{Exit, Failure, args, ask, import, note, output};
use crate::invent::quay::{self, FLEET, Story};
use crate::invent::{files, with_slips};
use crate::model::{
    Asset, AssetId, Event, EventKind, Gear, GearKind, Insulation, Joining, Limit, LimitMeaning,
    Proof, ProofKind, ProofMoment, Stamp, text,
};
use crate::store::{Change, Writer};

/// The person who does everything at the invented quay.
const WHO: &str = "M. Okafor (invented)";

pub(crate) fn demo(place: &mut Place, demo: Demo, asked_for: bool) -> Result<Exit, Failure> {
    if !asked_for {
        place.dir = fresh_folder()?;
    } else if place.dir.join("ohmward.db").exists() {
        return Err(Failure::Failed(format!(
            "`{}` holds a store already: the demo wants a fresh folder",
            shown(&place.dir)
        )));
    }
    let end = Stamp::from_micros(place.now.utc_day() * crate::model::DAY_MICROS);
    let exports = place.dir.join("exports");
    fs::create_dir_all(&exports)
        .map_err(|e| Failure::Failed(format!("cannot write to `{}`: {e}", shown(&exports))))?;
    let readings = quay::readings(end);
    let mut paths: Vec<PathBuf> = Vec::new();
    let mut written = files(&readings);
    // The last yard file holds what every real export seems to hold: two slips.
    if let Some(last) = written.iter().rposition(|f| f.name.starts_with("yard-ht-2")) {
        let file = written.remove(last);
        written.insert(last, with_slips(file, end.plus_days(-2.0)));
    }
    for file in written {
        let path = exports.join(&file.name);
        fs::write(&path, &file.bytes)?;
        paths.push(path);
    }
    note(format!(
        "Kestrel Quay (invented): {} readings of {} machines in {} export files of three dialects, in {}",
        readings.len(),
        FLEET.len(),
        paths.len(),
        shown(&exports)
    ));
    register(place, end)?;
    let import = Import {
        files: paths,
        profile: None,
        dry_run: false,
        taken: None,
        tester: None,
        station: None,
        operator: None,
        test_voltage: None,
        by: args::By { by: Some(WHO.into()) },
    };
    import::quietly(place, import)?;
    output::line("\nWhat needs attention:\n")?;
    ask::declining(place, Declining { all: true })?;
    where_next(place)?;
    if !demo.once {
        note("(the daemon of a later version keeps serving here; for now the demo ends)");
    }
    Ok(Exit::Done)
}

/// A folder of its own for each demo, so that nothing of the user's is touched.
fn fresh_folder() -> Result<PathBuf, Failure> {
    let base = std::env::temp_dir();
    for n in 1..10_000 {
        let dir = base.join(format!("ohmward-demo-{n}"));
        match fs::create_dir(&dir) {
            Ok(()) => return Ok(dir),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => {
                return Err(Failure::Failed(format!("cannot make `{}`: {e}", shown(&dir))));
            }
        }
    }
    Err(Failure::Failed(format!("too many old demos in `{}`: remove some", shown(&base))))
}

/// Assets, testers, proofs and events of the quay.
fn register(place: &mut Place, end: Stamp) -> Result<(), Failure> {
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
            id: text("gear", id)?,
            kind: GearKind::Tester,
            category: text("category", "CAT III")?,
            rated_voltage_v: Some(1_000.0),
            full_scale_ohm: Some(full_scale),
            lowest_ohm: Some(10_000.0),
            due: Some(end.plus_days(120.0)),
            remark: text("remark", "invented")?,
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

fn where_next(place: &Place) -> Result<(), Failure> {
    let data = shown(&place.dir);
    output::line(format!(
        "\nWhere to look next (the folder is yours to remove):\n\
         \x20 ohmward --data {data} assess YT-014/drive     one phase declines: evidence and chart\n\
         \x20 ohmward --data {data} assess YT-016/drive     rewound: a new epoch\n\
         \x20 ohmward --data {data} assess YT-012/drive     mostly over-range: steady, and what that proves\n\
         \x20 ohmward --data {data} history YT-015/drive    washed: what was done with each reading\n\
         \x20 ohmward --data {data} rejects list            a number that could be two things\n\
         \x20 ohmward --data {data} tray list               a machine that nobody wrote down"
    ))?;
    Ok(())
}
