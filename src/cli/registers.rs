//! The registers: assets, events, gear, proofs, aliases; each listed, added to, imported.

use std::fs::File;
use std::path::Path;

use serde::Serialize;

use super::args::{
    AddAlias, AddAsset, AddEvent, AddGear, AddProof, AliasCommand, AssetCommand, AssetLimit,
    EventCommand, GearCommand, ImportRegister, ProofCommand,
};
use super::output::{self, Column};
use super::place::Place;
use super::{Exit, Failure, note};
use crate::model::{
    Alias, Asset, AssetId, Event, EventKind, Gear, GearKind, Insulation, Joining, Limit,
    LimitMeaning, Phase, Proof, ProofKind, ProofMoment, Stamp, text,
};
use crate::registry::{LimitRow, Register, Row, person, read_rows};
use crate::store::{Change, Reader, Recorded, Writer};
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
    ("limit_ohm", "limit at 40 °C"),
    ("insulation", "insulation"),
    ("phases", "phases"),
    ("more_limits", "other limits"),
    ("site", "site"),
    ("remark", "remark"),
];

/// A row with who recorded it and when.
#[derive(Serialize)]
struct Marked<T: Serialize> {
    #[serde(flatten)]
    row: T,
    recorded_at: String,
    by: String,
}

fn marked<T, U: Serialize>(rows: Vec<Recorded<T>>, out: impl Fn(T) -> U) -> Vec<Marked<U>> {
    rows.into_iter()
        .map(|r| Marked {
            row: out(r.value),
            recorded_at: r.mark.recorded_at.to_string(),
            by: r.mark.by.into(),
        })
        .collect()
}

#[derive(Serialize)]
struct EventOut {
    at: String,
    asset: String,
    kind: String,
    remark: String,
}

#[derive(Serialize)]
struct GearOut {
    gear: String,
    kind: &'static str,
    category: String,
    rated_voltage_v: Option<f64>,
    full_scale_ohm: Option<f64>,
    lowest_ohm: Option<f64>,
    due: Option<String>,
    overdue: bool,
    remark: String,
}

#[derive(Serialize)]
struct ProofOut {
    at: String,
    tester: String,
    kind: &'static str,
    value: Option<f64>,
    unit: String,
    passed: bool,
    moment: &'static str,
    remark: String,
}

#[derive(Serialize)]
struct AliasOut {
    written: String,
    asset: String,
    phase_written: String,
    phase: Option<String>,
    from: Option<String>,
    until: Option<String>,
    remark: String,
}

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

pub(crate) fn event(place: &mut Place, command: EventCommand) -> Result<Exit, Failure> {
    let build = |place: &Place, add: &AddEvent| -> Result<Event, Failure> {
        Ok(Event {
            at: add.at.unwrap_or(place.now),
            asset: AssetId::new(&add.asset)?,
            kind: EventKind::parse(&add.kind)?,
            remark: text("remark", &add.remark)?,
        })
    };
    match command {
        EventCommand::List { asset } => {
            let asset = asset.map(|a| place.known_asset(&a)).transpose()?;
            let events = place.reader()?.events(asset.as_ref().map(|a| &a.id), place.when)?;
            let rows = marked(events, |e| EventOut {
                at: e.at.to_string(),
                asset: e.asset.to_string(),
                kind: e.kind.word().to_owned(),
                remark: e.remark.into(),
            });
            let columns = [
                ("at", "when"),
                ("asset", "asset"),
                ("kind", "what"),
                ("remark", "remark"),
                ("by", "by"),
            ];
            output::rows(place.format, &columns, &rows, "no events")?;
            Ok(Exit::Done)
        }
        EventCommand::Add(add) => {
            let event = build(place, &add)?;
            place.known_asset(event.asset.as_str())?;
            place.record(add.by.by, &[Change::Event(event)])
        }
        EventCommand::Void(add) => {
            if add.at.is_none() {
                return Err(Failure::Usage("say with --at which event (see `event list`)".into()));
            }
            let event = build(place, &add)?;
            let known = place.reader()?.events(Some(&event.asset), place.when)?;
            let found = known.iter().any(|e| e.value.at == event.at && e.value.kind == event.kind);
            if !found {
                return Err(Failure::Failed(format!(
                    "`{}` has no event `{}` at {} (see `event list`)",
                    event.asset,
                    event.kind.word(),
                    event.at
                )));
            }
            place.record(add.by.by, &[Change::EventVoid(event)])
        }
        EventCommand::Import(import) => import_as(place, Register::Events, import),
    }
}

pub(crate) fn gear(place: &mut Place, command: GearCommand) -> Result<Exit, Failure> {
    match command {
        GearCommand::List => {
            let now = place.now;
            let rows = marked(place.reader()?.gear(place.when)?, |g| GearOut {
                gear: g.id.into(),
                kind: g.kind.word(),
                category: g.category.into(),
                rated_voltage_v: g.rated_voltage_v,
                full_scale_ohm: g.full_scale_ohm,
                lowest_ohm: g.lowest_ohm,
                due: g.due.map(|d| d.to_string()),
                overdue: g.due.is_some_and(|d| d <= now),
                remark: g.remark.into(),
            });
            let columns = [
                ("gear", "gear"),
                ("kind", "kind"),
                ("category", "category"),
                ("rated_voltage_v", "rated V"),
                ("full_scale_ohm", "full scale"),
                ("lowest_ohm", "lowest"),
                ("due", "due"),
                ("overdue", "overdue"),
                ("remark", "remark"),
            ];
            output::rows(place.format, &columns, &rows, "no gear yet")?;
            Ok(Exit::Done)
        }
        GearCommand::Add(add) => {
            let AddGear {
                gear,
                kind,
                category,
                rated_voltage,
                full_scale,
                lowest,
                due,
                remark,
                by,
            } = add;
            let gear = Gear {
                id: text("gear", &gear)?,
                kind: GearKind::parse(&kind)?,
                category: text("category", &category)?,
                rated_voltage_v: rated_voltage,
                full_scale_ohm: full_scale,
                lowest_ohm: lowest,
                due,
                remark: text("remark", &remark)?,
            };
            place.record(by.by, &[Change::Gear(gear)])
        }
        GearCommand::Import(import) => import_as(place, Register::Gear, import),
    }
}

pub(crate) fn proof(place: &mut Place, command: ProofCommand) -> Result<Exit, Failure> {
    match command {
        ProofCommand::List { tester } => {
            let rows =
                marked(place.reader()?.proofs(tester.as_deref(), place.when)?, |p| ProofOut {
                    at: p.at.to_string(),
                    tester: p.tester.into(),
                    kind: p.kind.word(),
                    value: p.value,
                    unit: p.unit.into(),
                    passed: p.passed,
                    moment: p.moment.word(),
                    remark: p.remark.into(),
                });
            let columns = [
                ("at", "when"),
                ("tester", "tester"),
                ("kind", "proof"),
                ("moment", "moment"),
                ("value", "read"),
                ("unit", "unit"),
                ("passed", "passed"),
                ("remark", "remark"),
                ("by", "by"),
            ];
            output::rows(place.format, &columns, &rows, "no proofs yet")?;
            Ok(Exit::Done)
        }
        ProofCommand::Add(add) => {
            let AddProof { tester, kind, passed, moment, value, unit, at, remark, by } = add;
            let proof = Proof {
                at: at.unwrap_or(place.now),
                tester: text("tester", &tester)?,
                kind: ProofKind::parse(&kind)?,
                value,
                unit: text("unit", &unit)?,
                passed,
                moment: ProofMoment::parse(&moment)?,
                remark: text("remark", &remark)?,
            };
            place.record(by.by, &[Change::Proof(proof)])
        }
        ProofCommand::Import(import) => import_as(place, Register::Proofs, import),
    }
}

pub(crate) fn alias(place: &mut Place, command: AliasCommand) -> Result<Exit, Failure> {
    match command {
        AliasCommand::List => {
            let rows = marked(place.reader()?.aliases(place.when)?, |a| AliasOut {
                written: a.written.into(),
                asset: a.asset.to_string(),
                phase_written: a.phase_written.into(),
                phase: a.phase.map(|p| p.to_string()),
                from: a.from.map(|t: Stamp| t.to_string()),
                until: a.until.map(|t| t.to_string()),
                remark: a.remark.into(),
            });
            let columns = [
                ("written", "written"),
                ("asset", "asset"),
                ("phase_written", "label"),
                ("phase", "phase"),
                ("from", "from"),
                ("until", "until"),
                ("remark", "remark"),
            ];
            output::rows(place.format, &columns, &rows, "no aliases yet")?;
            Ok(Exit::Done)
        }
        AliasCommand::Add(add) => {
            let AddAlias { written, asset, phase_written, phase, from, until, remark, by } = add;
            let alias = Alias {
                written: text("written", &written)?,
                asset: AssetId::new(&asset)?,
                phase_written: text("phase_written", &phase_written)?,
                phase: phase.map(|p| Phase::new(&p)).transpose()?,
                from,
                until,
                remark: text("remark", &remark)?,
            };
            if alias.written.is_empty() && alias.phase.is_none() {
                return Err(Failure::Usage(
                    "say --written NAME, or --phase-written LABEL with --phase".into(),
                ));
            }
            place.record(by.by, &[Change::Alias(alias)])
        }
        AliasCommand::Import(import) => import_as(place, Register::Aliases, import),
    }
}

fn import_as(
    place: &mut Place,
    register: Register,
    import: ImportRegister,
) -> Result<Exit, Failure> {
    import_register(place, register, &import.file, import.by.by, true)
}

/// Reads a register file and records its rows; all or, when a row cannot be, nothing.
pub(crate) fn import_register(
    place: &mut Place,
    register: Register,
    path: &Path,
    by: Option<String>,
    assess: bool,
) -> Result<Exit, Failure> {
    let by = person(&place.by(by)?)?;
    let changes = match register {
        Register::Assets => {
            let mut assets = rows::<Asset>(path)?;
            for asset in &mut assets {
                // The file does not speak of the limits beside the one at 40 °C: they stay.
                let known = place.writing()?.reader.asset(&asset.id, crate::store::When::ALWAYS)?;
                asset.more_limits = known.map(|a| a.more_limits).unwrap_or_default();
            }
            assets.into_iter().map(Change::Asset).collect()
        }
        Register::Limits => limits(place, rows::<LimitRow>(path)?)?,
        Register::Events => rows::<Event>(path)?.into_iter().map(Change::Event).collect(),
        Register::Gear => rows::<Gear>(path)?.into_iter().map(Change::Gear).collect(),
        Register::Proofs => rows::<Proof>(path)?.into_iter().map(Change::Proof).collect(),
        Register::Aliases => rows::<Alias>(path)?.into_iter().map(Change::Alias).collect(),
        Register::Corrections => {
            return Err(Failure::Failed(format!(
                "`{}` belongs to the readings.csv beside it: import the folder",
                path.display()
            )));
        }
    };
    let changes: Vec<Change> = changes;
    let unknown = unknown_assets(place, &changes)?;
    if let Some((asset, what)) = unknown {
        return Err(Failure::Failed(format!(
            "`{}`: {what} for asset `{asset}`, which is not registered (import assets.csv or its \
             readings first)",
            path.display()
        )));
    }
    let now = place.now;
    let new = place.writing()?.writer.record(now, &by, &changes)?;
    note(format!(
        "{}: {} {} rows, {new} of them new",
        path.display(),
        changes.len(),
        register_name(register)
    ));
    if register == Register::Aliases {
        place.place_waiting(&by)?;
    }
    if assess {
        place.assess_pending()?;
    }
    Ok(Exit::Done)
}

fn register_name(register: Register) -> &'static str {
    match register {
        Register::Assets => Asset::NAME,
        Register::Limits => LimitRow::NAME,
        Register::Events => Event::NAME,
        Register::Gear => Gear::NAME,
        Register::Proofs => Proof::NAME,
        Register::Aliases => Alias::NAME,
        Register::Corrections => crate::registry::CorrectionRow::NAME,
    }
}

/// The first event for an asset that is not registered: most likely a mistyped id.
fn unknown_assets(
    place: &mut Place,
    changes: &[Change],
) -> Result<Option<(AssetId, &'static str)>, Failure> {
    let reader = &place.writing()?.reader;
    for change in changes {
        if let Change::Event(event) = change
            && reader.asset(&event.asset, crate::store::When::ALWAYS)?.is_none()
        {
            return Ok(Some((event.asset.clone(), "an event")));
        }
    }
    Ok(None)
}

/// Limits of a file replace those that stood beside the one at 40 °C on the assets it names.
fn limits(place: &mut Place, rows: Vec<LimitRow>) -> Result<Vec<Change>, Failure> {
    let mut assets: Vec<Asset> = Vec::new();
    for row in rows {
        if let Some(asset) = assets.iter_mut().find(|a| a.id == row.asset) {
            asset.more_limits.push(row.limit);
            continue;
        }
        let known = place.writing()?.reader.asset(&row.asset, crate::store::When::ALWAYS)?;
        let mut asset = known.unwrap_or_else(|| Asset::first_met(row.asset));
        asset.more_limits = vec![row.limit];
        assets.push(asset);
    }
    Ok(assets.into_iter().map(Change::Asset).collect())
}

fn rows<R: Row>(path: &Path) -> Result<Vec<R>, Failure> {
    let failed = |why: String| Failure::Failed(format!("`{}`: {why}", path.display()));
    let file = File::open(path).map_err(|e| failed(e.to_string()))?;
    read_rows(file).map_err(|e| failed(e.to_string()))
}
