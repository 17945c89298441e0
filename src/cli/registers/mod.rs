//! The registers: classes, assets, events, gear, proofs, aliases; each listed, added to, imported.

mod alias;
mod asset;
mod class;
mod event;
mod gear;
mod proof;
mod standing;

use std::fs::File;
use std::path::Path;

use serde::Serialize;

use super::args::ImportRegister;
use super::place::Place;
use super::{Exit, Failure, note};
use crate::model::{Alias, Asset, AssetClass, AssetId, Event, Gear, Proof};
use crate::registry::{
    AnswerRow, LimitRow, Register, Row, StepRow, classes_are_known, person, read_rows, take_over,
    take_over_steps,
};
use crate::store::{Change, Reader, Recorded, When, Writer};

pub(crate) use alias::alias;
pub(crate) use asset::asset;
pub(crate) use class::class;
pub(crate) use event::event;
pub(crate) use gear::gear;
pub(crate) use proof::proof;

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
        Register::Classes => rows::<AssetClass>(path)?.into_iter().map(Change::Class).collect(),
        Register::Assets => {
            let mut assets = rows::<Asset>(path)?;
            for asset in &mut assets {
                // The file does not speak of the limits beside the one at 40 °C: they stay.
                let known = place.writing()?.reader.asset_as_registered(&asset.id, When::ALWAYS)?;
                asset.more_limits = known.map(|a| a.more_limits).unwrap_or_default();
            }
            assets.into_iter().map(Change::Asset).collect()
        }
        Register::Limits => limits(place, rows::<LimitRow>(path)?)?,
        Register::Events => rows::<Event>(path)?.into_iter().map(Change::Event).collect(),
        Register::Gear => rows::<Gear>(path)?.into_iter().map(Change::Gear).collect(),
        Register::Proofs => rows::<Proof>(path)?.into_iter().map(Change::Proof).collect(),
        Register::Aliases => rows::<Alias>(path)?.into_iter().map(Change::Alias).collect(),
        Register::Answers => return import_answers(place, path),
        Register::Sheets => return import_sheets(place, path),
        Register::Corrections => {
            return Err(Failure::Failed(format!(
                "`{}` belongs to the readings.csv beside it: import the folder",
                path.display()
            )));
        }
    };
    let changes: Vec<Change> = changes;
    classes_are_known(&place.writing()?.reader, &changes)?;
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

/// Answers are given to findings: whatever waits is assessed first, and again after each, since an
/// answer to a common cause changes what is found on its assets.
fn import_answers(place: &mut Place, path: &Path) -> Result<Exit, Failure> {
    let answers = rows::<AnswerRow>(path)?;
    let now = place.now;
    for answer in &answers {
        place.assess_all_pending()?;
        let open = place.writing()?;
        take_over(&open.reader, &mut open.writer, now, answer)?;
    }
    note(format!("{}: {} answers to findings", path.display(), answers.len()));
    Ok(Exit::Done)
}

/// The steps of run sheets, each in the name of who did it.
fn import_sheets(place: &mut Place, path: &Path) -> Result<Exit, Failure> {
    let steps = rows::<StepRow>(path)?;
    let now = place.now;
    let open = place.writing()?;
    let new = take_over_steps(&open.reader, &mut open.writer, now, &steps)?;
    note(format!("{}: {} steps of run sheets, {new} of them new", path.display(), steps.len()));
    Ok(Exit::Done)
}

fn register_name(register: Register) -> &'static str {
    match register {
        Register::Classes => AssetClass::NAME,
        Register::Assets => Asset::NAME,
        Register::Limits => LimitRow::NAME,
        Register::Events => Event::NAME,
        Register::Gear => Gear::NAME,
        Register::Proofs => Proof::NAME,
        Register::Aliases => Alias::NAME,
        Register::Corrections => crate::registry::CorrectionRow::NAME,
        Register::Answers => AnswerRow::NAME,
        Register::Sheets => StepRow::NAME,
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
            && reader.asset(&event.asset, When::ALWAYS)?.is_none()
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
        let known = place.writing()?.reader.asset_as_registered(&row.asset, When::ALWAYS)?;
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
