//! `rejects` and `profile`: what could not be read, and the formats that can.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::{ProfileCommand, RejectsCommand};
use super::output;
use super::place::{Place, bar, shown};
use super::{Exit, Failure, chain, note};
use crate::intake::{FileImport, Preview, readable, retry};
use crate::normalise::Surroundings;
use crate::store::{Reader, StoredReject, When};

/// A reject as it is printed.
#[derive(Serialize)]
struct RejectOut {
    number: u64,
    source: String,
    profile: String,
    record: u64,
    offset: u64,
    length: u64,
    kind: String,
    reason: String,
    bytes: String,
    settled: bool,
}

fn reject_out(reader: &dyn Reader, r: StoredReject) -> Result<RejectOut, Failure> {
    let batch = reader.batch(r.batch)?;
    let (source, profile) = batch
        .map(|b| (b.source.name.to_string(), b.source.profile.to_string()))
        .unwrap_or_default();
    Ok(RejectOut {
        number: r.number,
        source,
        profile,
        record: r.place.record,
        offset: r.item.offset,
        length: r.item.len,
        kind: r.item.kind.into(),
        reason: r.item.reason.into(),
        bytes: readable(&r.item.bytes),
        settled: r.settled_by.is_some(),
    })
}

pub(crate) fn rejects(place: &mut Place, command: RejectsCommand) -> Result<Exit, Failure> {
    match command {
        RejectsCommand::List => {
            let reader = place.reader()?;
            let mut rows = Vec::new();
            for r in reader.rejects(false)? {
                rows.push(reject_out(&reader, r)?);
            }
            let columns = [
                ("number", "no."),
                ("source", "from"),
                ("record", "record"),
                ("offset", "byte"),
                ("reason", "reason"),
            ];
            output::rows(place.format, &columns, &rows, "no rejects: everything could be read")?;
            Ok(Exit::Done)
        }
        RejectsCommand::Show { number } => {
            let reader = place.reader()?;
            let found = reader.rejects(true)?.into_iter().find(|r| r.number == number);
            let Some(found) = found else {
                return Err(Failure::Failed(format!(
                    "there is no reject {number} (`ohmward rejects list` shows them)"
                )));
            };
            let out = reject_out(&reader, found)?;
            if place.format == output::Format::Table {
                output::line(format!(
                    "reject {} from {} (profile {})\nrecord {} at byte {}, {} bytes\n{}\n\n{}",
                    out.number,
                    out.source,
                    out.profile,
                    out.record,
                    out.offset,
                    out.length,
                    out.reason,
                    out.bytes
                ))?;
            } else {
                output::rows(place.format, &[], &[out], "")?;
            }
            Ok(Exit::Done)
        }
        RejectsCommand::Retry { numbers, profile } => retried(place, &numbers, profile.as_deref()),
    }
}

fn retried(place: &mut Place, numbers: &[u64], profile: Option<&str>) -> Result<Exit, Failure> {
    place.reader()?;
    let profiles = place.profiles()?;
    let kept = place.kept();
    let now = place.now;
    let class = place.config.first_met.clone();
    let open = place.writing()?;
    let waiting = open.reader.rejects(false)?;
    if let Some(missing) = numbers.iter().find(|n| !waiting.iter().any(|r| r.number == **n)) {
        return Err(Failure::Failed(format!(
            "there is no waiting reject {missing} (`ohmward rejects list` shows them)"
        )));
    }
    let chosen: Vec<StoredReject> =
        waiting.into_iter().filter(|r| numbers.is_empty() || numbers.contains(&r.number)).collect();
    let aliases: Vec<_> = open.reader.aliases(When::ALWAYS)?.into_iter().map(|r| r.value).collect();
    let gear: Vec<_> = open.reader.gear(When::ALWAYS)?.into_iter().map(|r| r.value).collect();
    let around = crate::intake::Again {
        kept: &kept,
        profiles: &profiles,
        profile,
        aliases: &aliases,
        gear: &gear,
        now,
        first_met: &|id| class.asset(id),
    };
    let done = retry(&open.reader, &mut open.writer, &around, chosen)?;
    note(format!(
        "{} accepted, {} there already, {} to the tray, {} still rejected",
        done.accepted, done.duplicate, done.tray, done.rejected
    ));
    place.assess_pending()?;
    Ok(if done.rejected + done.tray > 0 { Exit::NeedsPerson } else { Exit::Done })
}

/// A profile as it is printed.
#[derive(Serialize)]
struct ProfileOut {
    name: String,
    format: String,
    title: String,
}

pub(crate) fn profile(place: &mut Place, command: ProfileCommand) -> Result<Exit, Failure> {
    match command {
        ProfileCommand::List => {
            let profiles = place.profiles()?;
            let rows: Vec<_> = profiles
                .iter()
                .map(|p| ProfileOut {
                    name: p.name().to_owned(),
                    format: p.format_name().to_owned(),
                    title: p.title().to_owned(),
                })
                .collect();
            let columns = [("name", "profile"), ("format", "format"), ("title", "what it reads")];
            output::rows(place.format, &columns, &rows, "")?;
            note(format!("your own: TOML files in {}", shown(&place.dir.join("profiles"))));
            Ok(Exit::Done)
        }
        ProfileCommand::Show { name } => {
            let profiles = place.profiles()?;
            let profile = profiles.get(&name).ok_or_else(|| {
                Failure::Failed(format!("there is no profile `{name}` (`ohmward profile list`)"))
            })?;
            output::line(profile.source().trim_end())?;
            Ok(Exit::Done)
        }
        ProfileCommand::Check { file, profile } => check(place, &file, profile),
        ProfileCommand::Draft { file, output, answers } => {
            super::draft::draft(place, &file, output.as_deref(), answers)
        }
    }
}

/// A reading as a profile would read it.
#[derive(Serialize)]
pub(super) struct ReadAs {
    record: u64,
    taken_at: String,
    asset: String,
    phase: String,
    bound: &'static str,
    resistance_ohm: f64,
    test_voltage_v: Option<f64>,
    temperature_c: Option<f64>,
    tester: String,
}

/// The columns of a table of them.
pub(super) const READ_AS: [output::Column; 9] = [
    ("record", "record"),
    ("taken_at", "taken"),
    ("asset", "asset"),
    ("phase", "phase"),
    ("bound", ""),
    ("resistance_ohm", "resistance"),
    ("test_voltage_v", "test V"),
    ("temperature_c", "°C"),
    ("tester", "tester"),
];

/// The first readings of a preview.
pub(super) fn read_as(preview: &Preview) -> Vec<ReadAs> {
    let row = |(at, r): &(crate::store::RecordPlace, crate::model::Reading)| ReadAs {
        record: at.record,
        taken_at: r.taken_at.to_string(),
        asset: r.series.asset.to_string(),
        phase: r.series.phase.to_string(),
        bound: r.bound.word(),
        resistance_ohm: r.ohms,
        test_voltage_v: r.series.test_voltage.map(|v| v.get()),
        temperature_c: r.temperature_c,
        tester: r.tester.to_string(),
    };
    preview.first.iter().map(row).collect()
}

fn check(place: &mut Place, file: &Path, profile: Option<String>) -> Result<Exit, Failure> {
    const SHOWN: usize = 10;
    let mut profiles = place.profiles()?;
    // A profile that is being written lives in a file until it is good enough for the folder.
    let name = match profile {
        Some(name) if name.ends_with(".toml") => Some(from_file(&mut profiles, &name)?),
        other => other,
    };
    let bar = bar("reading", "bytes");
    let class = place.config.first_met.clone();
    let job = FileImport {
        profiles: &profiles,
        profile: name.as_deref(),
        around: Surroundings::default(),
        aliases: &[],
        gear: &[],
        now: place.now,
        first_met: &|id| class.asset(id),
        progress: &|read, of| {
            bar.set_length(of);
            bar.set_position(read);
        },
    };
    let preview = job.preview(file, SHOWN)?;
    bar.finish_and_clear();
    let rows = read_as(&preview);
    output::rows(place.format, &READ_AS, &rows, "no readings")?;
    for warning in &preview.warnings {
        note(format!("{}: {warning}", shown(file)));
    }
    for (at, item) in &preview.first_rejects {
        note(format!("record {}, byte {}: {}", at.record, item.offset, item.reason));
    }
    note(format!(
        "profile {}: {} readings, {} for the tray, {} rejected; nothing was stored",
        preview.profile, preview.readings, preview.tray, preview.rejected
    ));
    if let Some(why) = &preview.refused {
        note(format!("{}: {why}", shown(file)));
    }
    let fine = preview.refused.is_none()
        && preview.rejected + preview.tray == 0
        && preview.warnings.is_empty();
    Ok(if fine { Exit::Done } else { Exit::NeedsPerson })
}

fn from_file(profiles: &mut ohmward_parsers::Profiles, path: &str) -> Result<String, Failure> {
    let path = PathBuf::from(path);
    let name = path.file_stem().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let text = std::fs::read_to_string(&path)
        .map_err(|e| Failure::Failed(format!("cannot read `{}`: {e}", shown(&path))))?;
    profiles
        .add(&name, &text)
        .map_err(|e| Failure::Failed(format!("`{}`: {}", shown(&path), chain(&e))))?;
    Ok(name)
}
