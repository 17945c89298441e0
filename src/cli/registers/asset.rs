//! `asset`: what is tested, and its limits.

use serde::Serialize;

use super::{import_as, standing, unknown_classes};
use crate::cli::args::{AddAsset, AssetCommand, AssetLimit};
use crate::cli::output::{self, Column};
use crate::cli::place::Place;
use crate::cli::{Exit, Failure, note};
use crate::dossier::{Fleet, Standing};
use crate::model::{
    Asset, AssetId, EventKind, Insulation, Joining, Limit, LimitMeaning, Training, text,
};
use crate::registry::Register;
use crate::store::{Change, Reader, When};
use crate::trend::words::ohms;

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

/// A limit in words: what it is and what it is held against.
pub(crate) fn limit_words(limit: &Limit) -> String {
    let ohms = ohms(limit.ohms);
    match limit.meaning {
        LimitMeaning::At40 => format!("{ohms} at 40 °C"),
        LimitMeaning::AsRead => format!("{ohms} as read"),
        LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
            format!("{ohms} isolation ({ohm_per_volt} Ω/V at {working_voltage_v} V)")
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
    let known = place.writing()?.reader.asset_as_registered(&id, When::ALWAYS)?;
    let fresh = known.is_none();
    let mut asset = known.unwrap_or_else(|| Asset::first_met(id));
    if let Some(class) = &add.class {
        let class = text("class", class)?;
        if class.is_empty() {
            // Without it, it is what it was with it.
            let meant = place.writing()?.reader.asset(&asset.id, When::ALWAYS)?;
            asset = meant.unwrap_or(asset);
        }
        asset.class = class;
        // What it only had because nobody knew better, the class now says.
        let guessed = Asset::first_met(asset.id.clone());
        if !asset.class.is_empty() && asset.kind == guessed.kind {
            asset.kind = guessed.class;
            asset.limit_ohm = asset.limit_ohm.filter(|ohms| Some(*ohms) != guessed.limit_ohm);
        }
    }
    if let Some(kind) = add.kind {
        asset.kind = text("kind", &kind)?;
        if fresh && !Asset::is_rotating(&asset.kind) {
            asset.limit_ohm = None;
        }
    }
    asset.interval_days = add.interval_days.or(asset.interval_days);
    asset.discharge_s = add.discharge_wait.or(asset.discharge_s);
    if let Some(known) = &add.training {
        asset.training = match known.trim() {
            "no" => None,
            known => Some(Training::parse(known)?),
        };
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
    let changes = [Change::Asset(asset)];
    unknown_classes(place, &changes)?;
    place.record(add.by.by, &changes)
}

fn asset_limit(place: &mut Place, command: AssetLimit) -> Result<Exit, Failure> {
    let id = place.known_asset(&command.asset)?.id;
    let known = place.writing()?.reader.asset_as_registered(&id, When::ALWAYS)?;
    let mut asset = known.unwrap_or_else(|| Asset::first_met(id));
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
