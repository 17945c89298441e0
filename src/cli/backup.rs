//! `backup` and `restore`: the store to a new file while it is in use, and back again, verified.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::args::Restore;
use super::output;
use super::place::{Place, shown};
use super::upkeep::CheckOut;
use super::{Exit, Failure, note};
use crate::store::sqlite::{FILE, Manifest, SqliteStore, digest, kept_files_of, manifest};
use crate::store::{KeptFiles, Reader, Writer};

/// What is written beside a copy: what was in it.
#[derive(Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Written {
    origin: String,
    schema: i64,
    batches: u64,
    readings: u64,
    rejects: u64,
    assets: u64,
    kept_files: u64,
    /// BLAKE3 of the copy.
    digest: String,
}

impl From<Manifest> for Written {
    fn from(m: Manifest) -> Self {
        let Manifest { origin, schema, batches, readings, rejects, assets, kept, digest } = m;
        Written { origin, schema, batches, readings, rejects, assets, kept_files: kept, digest }
    }
}

/// The file beside a copy that says what is in it.
fn beside(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".manifest");
    name.into()
}

fn failed(path: &Path, why: &dyn std::fmt::Display) -> Failure {
    Failure::Failed(format!("`{}`: {why}", shown(path)))
}

pub(crate) fn backup(place: &mut Place, file: &Path) -> Result<Exit, Failure> {
    place.reader()?;
    for taken in [file, &beside(file)] {
        if taken.exists() {
            return Err(Failure::Failed(format!(
                "`{}` exists: a backup never overwrites (name another file)",
                shown(taken)
            )));
        }
    }
    place.writing()?.writer.backup(file)?;
    let path = beside(file);
    let text = serde_json::to_string_pretty(&Written::from(manifest(file)?))
        .map_err(|e| failed(&path, &e))?;
    fs::write(&path, text + "\n").map_err(|e| failed(&path, &e))?;
    note(format!(
        "the store is copied to {}, what is in it is written to {}; the original files are in {} \
         and never change: copy that folder too. `ohmward restore {} --check` tries the copy",
        shown(file),
        shown(&path),
        shown(&place.dir.join("raw")),
        shown(file)
    ));
    Ok(Exit::Done)
}

pub(crate) fn restore(place: &Place, ask: &Restore) -> Result<Exit, Failure> {
    let written = read_manifest(&ask.file)?;
    if let Some(written) = &written {
        let found = digest(&ask.file)?;
        if found != written.digest {
            return Err(failed(
                &ask.file,
                &format!(
                    "expected the digest {} of its manifest, found {found}: the copy was changed or \
                     damaged (take another one)",
                    written.digest
                ),
            ));
        }
    }
    let Some(to) = &ask.to else {
        // Tried where it hurts nobody.
        let folder = std::env::temp_dir().join(format!("ohmward-check-{}", std::process::id()));
        let tried = put_back(place, ask, written, &folder);
        let removed = fs::remove_dir_all(&folder);
        let exit = tried?;
        removed.map_err(|e| failed(&folder, &e))?;
        return Ok(exit);
    };
    if to.join(FILE).exists() {
        let why = "there is a store already: nothing is overwritten (name an empty folder)";
        return Err(failed(to, &why));
    }
    let exit = put_back(place, ask, written, to)?;
    note(format!("restored: `ohmward --data {0} declining` works with it", shown(to)));
    Ok(exit)
}

fn read_manifest(file: &Path) -> Result<Option<Written>, Failure> {
    let path = beside(file);
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(failed(&path, &e)),
    };
    serde_json::from_str(&text).map(Some).map_err(|e| failed(&path, &e))
}

/// Copies everything into a folder, opens it there as a store, and says how it is.
fn put_back(
    place: &Place,
    ask: &Restore,
    written: Option<Written>,
    folder: &Path,
) -> Result<Exit, Failure> {
    let found = Written::from(manifest(&ask.file)?);
    let mut rows = Vec::new();
    let mut say = |what: &str, wrong: Vec<String>, fine: String| {
        if wrong.is_empty() {
            rows.push(CheckOut { what: what.to_owned(), state: "fine", detail: fine });
        }
        rows.extend(wrong.into_iter().map(|detail| CheckOut {
            what: what.to_owned(),
            state: "wrong",
            detail,
        }));
    };
    let counts = format!(
        "{} readings, {} assets, {} rejects in {} batches, schema {}",
        found.readings, found.assets, found.rejects, found.batches, found.schema
    );
    match written {
        Some(written) if written == found => say("manifest", Vec::new(), counts),
        Some(_) => say("manifest", vec![format!("it says something else than {counts}")], counts),
        None => {
            let path = beside(&ask.file);
            note(format!("{} is not there: what is in the copy is only counted", shown(&path)));
            say("counted", Vec::new(), counts);
        }
    }
    fs::create_dir_all(folder).map_err(|e| failed(folder, &e))?;
    fs::copy(&ask.file, folder.join(FILE)).map_err(|e| failed(folder, &e))?;
    let kept = ask.kept.clone().unwrap_or_else(|| ask.file.with_file_name("raw"));
    let copied = copy_kept(&ask.file, &kept, folder)?;
    let reader = SqliteStore::existing(folder)?.reader()?;
    let (of_files, of_store): (Vec<_>, Vec<_>) =
        reader.check()?.into_iter().partition(|wrong| wrong.starts_with("kept file"));
    say("store", of_store, "sound".into());
    let missing = of_files.len();
    let mut wrong = match missing {
        0 => reader.check_kept()?,
        _ => vec![format!(
            "{missing} of {} are not in `{}` (name their folder with --kept: `{}` of the \
             installation that was backed up)",
            found.kept_files,
            shown(&kept),
            shown(&place.dir.join("raw"))
        )],
    };
    wrong.truncate(20);
    say("kept files", wrong, format!("{copied}, each as its digest says"));
    let is_wrong = rows.iter().any(|row| row.state != "fine");
    let columns = [("what", "what"), ("state", "state"), ("detail", "detail")];
    output::rows(place.format, &columns, &rows, "")?;
    Ok(if is_wrong { Exit::NeedsPerson } else { Exit::Done })
}

/// Copies the kept files that the database names, as far as they are there; returns how many.
fn copy_kept(file: &Path, from: &Path, folder: &Path) -> Result<usize, Failure> {
    let to = KeptFiles::in_data(folder);
    let mut copied = 0;
    for kept in kept_files_of(file)? {
        let target = to.path(&kept.digest);
        let Some(name) = target.file_name() else { continue };
        let source = from.join(name);
        if source.is_file() {
            let parent = target.parent().unwrap_or(folder);
            fs::create_dir_all(parent).map_err(|e| failed(parent, &e))?;
            fs::copy(&source, &target).map_err(|e| failed(&source, &e))?;
            copied += 1;
        }
    }
    Ok(copied)
}
