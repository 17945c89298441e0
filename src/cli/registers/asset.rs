//! `asset`: what is tested, and its limits.

use serde::Serialize;

use super::import_as;
use crate::cli::args::{AddAsset, AssetCommand, AssetLimit};
use crate::cli::output::{self, Column};
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::dossier::words::limit_words;
use crate::model::{Asset, AssetId, Insulation, Joining, Limit, LimitMeaning, text};
use crate::registry::Register;
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
    let fresh = known.is_none();
    let mut asset = known.unwrap_or_else(|| Asset::first_met(id));
    if let Some(kind) = add.kind {
        asset.kind = text("kind", &kind)?;
        if fresh && !Asset::is_rotating(&asset.kind) {
            asset.limit_ohm = None;
        }
    }
    asset.rated_voltage_v = add.rated_voltage.or(asset.rated_voltage_v);
    if let Some(ohms) = add.limit {
        if !(ohms > 0.0 && ohms.is_finite()) {
            return Err(Failure::Usage(format!("`--limit`: expected ohms above 0, found {ohms}")));
        }
        asset.limit_ohm = Some(ohms);
    }
    if let Some(word) = add.insulation {
        asset.insulation = Insulation::parse(&word)?;
    }
    if let Some(word) = add.phases {
        asset.joining = Joining::parse(&word)?;
    }
    if let Some(site) = add.site {
        asset.site = text("site", &site)?;
    }
    if let Some(remark) = add.remark {
        asset.remark = text("remark", &remark)?;
    }
    place.record(add.by.by, &[Change::Asset(asset)])
}

fn asset_limit(place: &mut Place, command: AssetLimit) -> Result<Exit, Failure> {
    let mut asset = place.known_asset(&command.asset)?;
    if command.clear {
        asset.more_limits.clear();
    }
    let limit = match (command.as_read, command.ohm_per_volt, command.working_voltage) {
        (Some(ohms), _, _) => Some(Limit { ohms, meaning: LimitMeaning::AsRead }),
        (None, Some(ohm_per_volt), Some(working_voltage_v)) => Some(Limit {
            ohms: ohm_per_volt * working_voltage_v,
            meaning: LimitMeaning::Isolation { ohm_per_volt, working_voltage_v },
        }),
        _ if command.clear => None,
        _ => {
            return Err(Failure::Usage(
                "say --as-read OHM, or --ohm-per-volt with --working-voltage, or --clear".into(),
            ));
        }
    };
    if let Some(limit) = limit {
        if !(limit.ohms > 0.0 && limit.ohms.is_finite()) {
            return Err(Failure::Usage("a limit is a number of ohms above 0".into()));
        }
        asset.more_limits.push(limit);
    }
    place.record(command.by.by, &[Change::Asset(asset)])
}
