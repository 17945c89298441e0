//! `import`: export files, register files and whole export folders into the store.

use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::args::Import;
use super::output::{self, Column};
use super::place::{Place, bar, shown};
use super::registers::import_register;
use super::{Exit, Failure, note};
use crate::export::ALL_FILES;
use crate::intake::{FileImport, Preview};
use crate::model::{ReadingId, text};
use crate::normalise::Surroundings;
use crate::registry::{CorrectionRow, Register, read_rows};
use crate::store::{Change, Reader, RecordPlace, RejectItem, When, Writer};

/// What became of one file, as it is printed.
#[derive(Serialize)]
struct ImportOut {
    file: String,
    profile: String,
    accepted: u64,
    duplicate: u64,
    rejected: u64,
    tray: u64,
    new_assets: usize,
    warnings: Vec<String>,
    first_rejects: Vec<RejectOut>,
    refused: Option<String>,
}

/// A reject as it is printed.
#[derive(Serialize)]
struct RejectOut {
    record: u64,
    offset: u64,
    reason: String,
}

const COLUMNS: &[Column] = &[
    ("file", "file"),
    ("profile", "profile"),
    ("accepted", "accepted"),
    ("duplicate", "duplicate"),
    ("rejected", "rejected"),
    ("tray", "tray"),
    ("new_assets", "new assets"),
];

/// Rejects shown at once; the rest is asked for with `rejects list`.
const SHOWN_REJECTS: usize = 5;

pub(crate) fn import(place: &mut Place, import: Import) -> Result<Exit, Failure> {
    let Taken { out, exit, failure } = take_in(place, &import)?;
    if !out.is_empty() {
        output::rows(place.format, COLUMNS, &out, "")?;
    }
    failure.map_or(Ok(exit), Err)
}

/// What became of all files; one that failed does not keep the others out.
struct Taken {
    out: Vec<ImportOut>,
    exit: Exit,
    failure: Option<Failure>,
}

fn take_in(place: &mut Place, import: &Import) -> Result<Taken, Failure> {
    let files = in_order(&import.files)?;
    let mut out = Vec::new();
    let mut exit = Exit::Done;
    let mut failures = Vec::new();
    for file in files {
        match one(place, import, &file) {
            Ok(None) => {}
            Ok(Some(done)) => {
                let attention = done.rejected + done.tray > 0 || !done.warnings.is_empty();
                if attention {
                    exit = Exit::NeedsPerson;
                }
                explain(&done, &shown(&file), import.dry_run);
                if let Some(why) = &done.refused {
                    failures.push(Failure::Failed(format!(
                        "`{}` by profile `{}`: {why} (mend the file or the profile and import it again: \
                         what was read stays)",
                        shown(&file),
                        done.profile
                    )));
                }
                out.push(done);
            }
            Err(failure) => failures.push(failure),
        }
    }
    if !import.dry_run && place.has_store() {
        place.assess_pending()?;
    }
    // What could be read is in; the rest is said, each file once.
    let failure = failures.pop();
    for failure in failures {
        note(format!("ohmward: {failure}"));
    }
    Ok(Taken { out, exit, failure })
}

/// Folders of `export --all` opened up; registers before what refers to them.
fn in_order(files: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut all = Vec::new();
    for file in files {
        if file.is_dir() && file.join("readings.csv").exists() {
            all.extend(ALL_FILES.iter().map(|name| file.join(name)).filter(|p| p.exists()));
        } else {
            all.push(file.clone());
        }
    }
    let rank = |path: &PathBuf| {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        // Any other file is readings: among the first it would find its assets unregistered.
        let readings = ALL_FILES.iter().position(|f| *f == "readings.csv").unwrap_or(0);
        ALL_FILES.iter().position(|f| *f == name).unwrap_or(readings)
    };
    all.sort_by_key(rank);
    Ok(all)
}

fn one(place: &mut Place, import: &Import, path: &Path) -> Result<Option<ImportOut>, Failure> {
    if !path.exists() {
        let here = std::env::current_dir().unwrap_or_default();
        return Err(Failure::Failed(format!(
            "`{}`: there is no such file (check the name: it is looked for in `{}`)",
            shown(path),
            shown(&here)
        )));
    }
    if import.profile.is_none()
        && let Some(register) = register_of(path)
    {
        if import.dry_run {
            note(format!("{}: a register file, not read in a dry run", shown(path)));
            return Ok(None);
        }
        if register == Register::Corrections {
            import_corrections(place, path)?;
        } else {
            let by = import.by.by.clone().or_else(|| Some("import".into()));
            import_register(place, register, path, by, false)?;
        }
        return Ok(None);
    }
    let profiles = place.profiles()?;
    let (aliases, gear) = known(place, import.dry_run)?;
    let around = Surroundings {
        test_voltage_v: import.test_voltage,
        tester: text("tester", import.tester.as_deref().unwrap_or_default())?,
        station: text("station", import.station.as_deref().unwrap_or_default())?,
        operator: text("operator", import.operator.as_deref().unwrap_or_default())?,
        taken: import.taken,
    };
    let bar = bar("reading", "bytes");
    let progress = |read: u64, of: u64| {
        bar.set_length(of);
        bar.set_position(read);
    };
    let class = place.config.first_met.clone();
    let job = FileImport {
        profiles: &profiles,
        profile: import.profile.as_deref(),
        around,
        aliases: &aliases,
        gear: &gear,
        now: place.now,
        first_met: &|id| class.asset(id),
        progress: &progress,
    };
    let out = if import.dry_run {
        previewed(job.preview(path, SHOWN_REJECTS)?, path)
    } else {
        let kept = place.kept();
        let open = place.writing()?;
        let done = job.run(&mut open.writer, &kept, path)?;
        let first = done.receipt.first_rejects.iter().take(SHOWN_REJECTS);
        ImportOut {
            file: shown(path),
            profile: done.profile,
            accepted: done.receipt.accepted,
            duplicate: done.receipt.duplicate,
            rejected: done.receipt.rejected,
            tray: done.receipt.tray,
            new_assets: done.receipt.new_assets.len(),
            warnings: done.warnings,
            first_rejects: first.map(reject_out).collect(),
            refused: done.refused,
        }
    };
    bar.finish_and_clear();
    Ok(Some(out))
}

fn reject_out((at, item): &(RecordPlace, RejectItem)) -> RejectOut {
    RejectOut { record: at.record, offset: item.offset, reason: item.reason.to_string() }
}

fn previewed(preview: Preview, path: &Path) -> ImportOut {
    ImportOut {
        file: shown(path),
        profile: preview.profile,
        accepted: preview.readings,
        duplicate: 0,
        rejected: preview.rejected,
        tray: preview.tray,
        new_assets: 0,
        warnings: preview.warnings,
        first_rejects: preview.first_rejects.iter().map(reject_out).collect(),
        refused: preview.refused,
    }
}

/// Aliases and testers as they stand; none before there is a store.
type Known = (Vec<crate::model::Alias>, Vec<crate::model::Gear>);

fn known(place: &mut Place, dry_run: bool) -> Result<Known, Failure> {
    if dry_run && !place.has_store() {
        return Ok(Known::default());
    }
    let reader = &place.writing()?.reader;
    let aliases = reader.aliases(When::ALWAYS)?.into_iter().map(|r| r.value).collect();
    let gear = reader.gear(When::ALWAYS)?.into_iter().map(|r| r.value).collect();
    Ok((aliases, gear))
}

/// The register that a file is one of, by its header line.
fn register_of(path: &Path) -> Option<Register> {
    let file = std::fs::File::open(path).ok()?;
    let mut line = Vec::new();
    BufReader::new(file.take(4_096)).read_until(b'\n', &mut line).ok()?;
    Register::recognise(std::str::from_utf8(&line).ok()?)
}

/// Corrections travel with the readings.csv beside them, whose rows they name.
fn import_corrections(place: &mut Place, path: &Path) -> Result<(), Failure> {
    let failed = |why: String| Failure::Failed(format!("`{}`: {why}", shown(path)));
    let file = std::fs::File::open(path).map_err(|e| failed(e.to_string()))?;
    let rows: Vec<CorrectionRow> = read_rows(file).map_err(|e| failed(e.to_string()))?;
    if rows.is_empty() {
        return Ok(());
    }
    let beside = path.with_file_name("readings.csv");
    let mut readings = std::fs::File::open(&beside)
        .map_err(|e| failed(format!("it needs `{}` beside it: {e}", shown(&beside))))?;
    let digest = place.kept().keep(&mut readings)?.digest;
    let now = place.now;
    let open = place.writing()?;
    let batches = open.reader.batches_of_file(&digest)?;
    let mut by: Vec<(String, Vec<Change>)> = Vec::new();
    for row in &rows {
        let mut found = None;
        for &batch in &batches {
            let id = ReadingId { batch, record: row.row, part: 0 };
            if open.reader.find(id)?.is_some() {
                found = Some(id);
                break;
            }
        }
        let id = found.ok_or_else(|| {
            failed(format!("row {} of `{}` was not taken in from it", row.row, shown(&beside)))
        })?;
        let change = Change::Correction(row.of(id));
        match by.last_mut().filter(|(name, _)| *name == row.by) {
            Some((_, changes)) => changes.push(change),
            None => by.push((row.by.to_string(), vec![change])),
        }
    }
    for (name, changes) in by {
        open.writer.record(now, &name, &changes)?;
    }
    note(format!("{}: {} corrections", shown(path), rows.len()));
    Ok(())
}

/// Says on standard error what a person should know, and what to do next.
fn explain(done: &ImportOut, file: &str, dry_run: bool) {
    for warning in &done.warnings {
        note(format!("{file}: {warning}"));
    }
    for reject in &done.first_rejects {
        note(format!(
            "{file}: record {}, byte {}: {}",
            reject.record, reject.offset, reject.reason
        ));
    }
    let more = done.rejected.saturating_sub(done.first_rejects.len() as u64);
    if more > 0 {
        note(format!("{file}: {more} more rejects"));
    }
    if dry_run {
        note("dry run: nothing was stored");
        return;
    }
    if done.rejected > 0 {
        note(
            "rejected records are kept: see `ohmward rejects list`, mend the profile, then `ohmward rejects retry`",
        );
    }
    if done.tray > 0 {
        note("readings in the tray wait for their asset or phase: see `ohmward tray list`");
    }
}
