//! `asset`: what is tested, and its limits.

use serde::Serialize;

use super::{import_as, standing};
use crate::cli::args::{AddAsset, AssetCommand, AssetLimit};
use crate::cli::output::{self, Column};
use crate::cli::place::Place;
use crate::cli::{Exit, Failure, note};
use crate::dossier::{Fleet, Standing, limit_words};
use crate::model::{Asset, AssetId, EventKind, Invalid};
use crate::registry::{AssetChange, Register, as_read, isolation};
use crate::store::{Change, Reader, When};

/// An asset as it is printed.
#[derive(Serialize)]
struct AssetOut {
    asset: String,
    kind: String,
    rated_voltage_v: Option<f64>,
    limit_ohm: Option<f64>,
    insulation: &'static str,
    phases: &'static str,
    site: String,
    remark: String,
    more_limits: Vec<String>,
    class: String,
    interval_days: Option<u32>,
    discharge_wait_s: Option<u32>,
    training: Option<String>,
    /// How it stands to the fleet.
    standing: &'static str,
    /// The same with who said so and why; empty for what is in service.
    standing_told: String,
}

impl AssetOut {
    fn of(a: &Asset, standing: &Standing) -> Self {
        let more_limits = a.more_limits.iter().map(limit_words).collect();
        let a = a.clone();
        AssetOut {
            asset: a.id.to_string(),
            kind: a.kind.into(),
            rated_voltage_v: a.rated_voltage_v,
            limit_ohm: a.limit_ohm,
            insulation: a.insulation.word(),
            phases: a.joining.word(),
            site: a.site.into(),
            remark: a.remark.into(),
            more_limits,
            class: a.class.into(),
            interval_days: a.interval_days,
            discharge_wait_s: a.discharge_s,
            training: a.training.map(|known| known.to_string()),
            standing: standing.word(),
            standing_told: standing.sentence(),
        }
    }
}

const ASSET_COLUMNS: &[Column] = &[
    ("asset", "asset"),
    ("kind", "kind"),
    ("class", "class"),
    ("standing", "standing"),
    ("limit_ohm", "limit at 40 °C"),
    ("insulation", "insulation"),
    ("phases", "phases"),
    ("more_limits", "other limits"),
    ("site", "site"),
    ("remark", "remark"),
];

pub(crate) fn asset(place: &mut Place, command: AssetCommand) -> Result<Exit, Failure> {
    match command {
        AssetCommand::List => {
            let fleet = Fleet::read(&place.reader()?, place.when)?;
            let rows: Vec<_> = fleet.assets.iter().map(|(a, s)| AssetOut::of(a, s)).collect();
            let empty = "no assets yet: `ohmward import` registers those it meets";
            output::rows(place.format, ASSET_COLUMNS, &rows, empty)?;
            Ok(Exit::Done)
        }
        AssetCommand::Show(one) => {
            let id = place.known_asset(&one.asset)?.id;
            let fleet = Fleet::read(&place.reader()?, place.when)?;
            let of = |(asset, _): &&(Asset, Standing)| asset.id == id;
            let rows: Vec<_> =
                fleet.assets.iter().filter(of).map(|(a, s)| AssetOut::of(a, s)).collect();
            output::rows(place.format, ASSET_COLUMNS, &rows, "")?;
            for (asset, standing) in &fleet.assets {
                let told = standing.sentence();
                if (asset.id == id || *fleet.survivor(&asset.id) == id) && !told.is_empty() {
                    note(format!("`{}` is {told}", asset.id));
                }
            }
            Ok(Exit::Done)
        }
        AssetCommand::Merge(merge) => standing::merge(place, merge),
        AssetCommand::Unmerge(aside) => standing::unmerge(place, aside),
        AssetCommand::Retire(aside) => standing::aside(place, aside, EventKind::Retired),
        AssetCommand::Return(aside) => standing::aside(place, aside, EventKind::Returned),
        AssetCommand::Add(add) => add_asset(place, *add),
        AssetCommand::Limit(limit) => asset_limit(place, limit),
        AssetCommand::Import(import) => import_as(place, Register::Assets, import),
    }
}

fn add_asset(place: &mut Place, add: AddAsset) -> Result<Exit, Failure> {
    let id = AssetId::new(&add.asset)?;
    let open = place.writing()?;
    let known = match add.class.as_deref().map(str::trim) {
        // Without its class it is what it was with it.
        Some("") => open.reader.asset(&id, When::ALWAYS)?,
        _ => open.reader.asset_as_registered(&id, When::ALWAYS)?,
    };
    let change = AssetChange {
        kind: add.kind,
        rated_voltage_v: add.rated_voltage.map(Some),
        limit_ohm: add.limit.map(Some),
        insulation: add.insulation,
        phases: add.phases,
        site: add.site,
        remark: add.remark,
        more_limits: None,
        class: add.class,
        interval_days: add.interval_days.map(Some),
        discharge_s: add.discharge_wait.map(Some),
        training: add.training,
    };
    let asset = change.of(id, known).map_err(|e| match e.field {
        // A number on the command line is a matter of its usage.
        "limit_ohm" | "rated_voltage_v" => Failure::Usage(e.to_string()),
        _ => e.into(),
    })?;
    place.record(add.by.by, &[Change::Asset(asset)])
}

fn asset_limit(place: &mut Place, command: AssetLimit) -> Result<Exit, Failure> {
    let id = place.known_asset(&command.asset)?.id;
    let known = place.writing()?.reader.asset_as_registered(&id, When::ALWAYS)?;
    let mut asset = known.unwrap_or_else(|| Asset::first_met(id));
    if command.clear {
        asset.more_limits.clear();
    }
    let usage = |e: Invalid| Failure::Usage(e.to_string());
    match (command.as_read, command.ohm_per_volt, command.working_voltage) {
        (Some(ohms), _, _) => asset.more_limits.push(as_read(ohms).map_err(usage)?),
        (None, Some(per_volt), Some(volts)) => {
            asset.more_limits.push(isolation(per_volt, volts).map_err(usage)?);
        }
        _ if command.clear => {}
        _ => {
            return Err(Failure::Usage(
                "say --as-read OHM, or --ohm-per-volt with --working-voltage, or --clear".into(),
            ));
        }
    }
    place.record(command.by.by, &[Change::Asset(asset)])
}
