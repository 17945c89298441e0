//! `asset`: what is tested, and its limits.

use serde::Serialize;

use super::import_as;
use crate::cli::args::{AddAsset, AssetCommand, AssetLimit};
use crate::cli::output::{self, Column};
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::dossier::limit_words;
use crate::model::{Asset, AssetId, Invalid};
use crate::registry::{AssetChange, Register, as_read, isolation};
use crate::store::{Change, Reader};

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
}

impl From<Asset> for AssetOut {
    fn from(a: Asset) -> Self {
        let more_limits = a.more_limits.iter().map(limit_words).collect();
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
        }
    }
}

const ASSET_COLUMNS: &[Column] = &[
    ("asset", "asset"),
    ("kind", "kind"),
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
            let assets = place.reader()?.assets(place.when)?;
            let rows: Vec<_> = assets.into_iter().map(AssetOut::from).collect();
            let empty = "no assets yet: `ohmward import` registers those it meets";
            output::rows(place.format, ASSET_COLUMNS, &rows, empty)?;
            Ok(Exit::Done)
        }
        AssetCommand::Show(one) => {
            let asset = place.known_asset(&one.asset)?;
            output::rows(place.format, ASSET_COLUMNS, &[AssetOut::from(asset)], "")?;
            Ok(Exit::Done)
        }
        AssetCommand::Add(add) => add_asset(place, add),
        AssetCommand::Limit(limit) => asset_limit(place, limit),
        AssetCommand::Import(import) => import_as(place, Register::Assets, import),
    }
}

fn add_asset(place: &mut Place, add: AddAsset) -> Result<Exit, Failure> {
    let id = AssetId::new(&add.asset)?;
    let known = place.writing()?.reader.asset(&id, crate::store::When::ALWAYS)?;
    let change = AssetChange {
        kind: add.kind,
        rated_voltage_v: add.rated_voltage.map(Some),
        limit_ohm: add.limit.map(Some),
        insulation: add.insulation,
        phases: add.phases,
        site: add.site,
        remark: add.remark,
        more_limits: None,
    };
    let asset = change.of(id, known).map_err(|e| match e.field {
        // A number on the command line is a matter of its usage.
        "limit_ohm" | "rated_voltage_v" => Failure::Usage(e.to_string()),
        _ => e.into(),
    })?;
    place.record(add.by.by, &[Change::Asset(asset)])
}

fn asset_limit(place: &mut Place, command: AssetLimit) -> Result<Exit, Failure> {
    let mut asset = place.known_asset(&command.asset)?;
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
