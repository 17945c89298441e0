//! `profile draft`: a profile proposed for an unknown export, and the questions it leaves open.

use std::collections::BTreeSet;
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, IsTerminal, Read, Write};
use std::path::Path;

use ohmward_parsers::{Draft, DraftError, Profiles, Question, Recognised, Told};
use serde::Serialize;

use super::output;
use super::place::{Place, shown};
use super::rejects::{READ_AS, read_as};
use super::{Exit, Failure, note};
use crate::intake::{FileImport, is_sheet, sheet_text};
use crate::limits;
use crate::normalise::Surroundings;

/// Bytes of a text that are looked at: some hundred thousand rows say how the next are written.
const LOOKED_AT: u64 = 16 * 1024 * 1024;

/// Readings that are shown.
const SHOWN: usize = 5;

/// The name under which a draft is tried.
const DRAFT: &str = "draft";

/// A column as it is shown.
#[derive(Serialize)]
struct ColumnOut {
    column: String,
    taken_for: String,
    values: String,
}

pub(super) fn draft(
    place: &Place,
    file: &Path,
    output: Option<&Path>,
    answers: Vec<(String, String)>,
) -> Result<Exit, Failure> {
    if let Some(path) = output.filter(|path| path.exists()) {
        return Err(Failure::Usage(format!("`{}` is there already", shown(path))));
    }
    let (text, plain_numbers) = look(file)?;
    if let Recognised::One(profile) = place.profiles()?.recognise(&text) {
        note(format!(
            "the profile `{}` recognises this file: try `ohmward profile check` first",
            profile.name()
        ));
    }
    let title = file.file_name().map(|name| name.to_string_lossy().into_owned());
    let answers = answers.into_iter().collect();
    let mut told = Told { title: title.unwrap_or_default(), answers, plain_numbers };
    let failed = |error: DraftError| match error {
        DraftError::Answer { .. } => Failure::Usage(error.to_string()),
        _ => Failure::Failed(format!("`{}`: {error}", shown(file))),
    };
    let mut draft = ohmward_parsers::draft(&text, &told).map_err(failed)?;
    show_columns(&draft);
    if io::stdin().is_terminal() && io::stderr().is_terminal() {
        draft = ask(&text, &mut told, draft)?;
    }
    for text in &draft.notes {
        note(format!("note: {text}"));
    }
    for question in &draft.questions {
        tell(question);
    }
    if draft.is_usable() {
        show_readings(place, file, &draft)?;
    }
    match output {
        Some(path) => write(path, &draft.toml)?,
        None => output::line(draft.toml.trim_end())?,
    }
    let name = output.map_or("THIS.toml".to_owned(), shown);
    if draft.is_usable() {
        note(format!(
            "next: `ohmward profile check {} --profile {name}`; when all is right, put it into {}",
            shown(file),
            shown(&place.dir.join("profiles"))
        ));
        return Ok(Exit::Done);
    }
    let open = draft.questions.iter().filter(|question| question.required).count();
    note(format!(
        "the draft cannot be used yet: {open} questions are open. Answer with `--answer KEY=VALUE`, \
         or in the TOML where they stand as comments (and take them out of `unanswered`)"
    ));
    Ok(Exit::NeedsPerson)
}

/// The text of a file, and whether its numbers are known to have a decimal point.
fn look(file: &Path) -> Result<(Vec<u8>, bool), Failure> {
    let failed = |why: String| Failure::Failed(format!("cannot read `{}`: {why}", shown(file)));
    let mut bytes = Vec::new();
    let mut input = File::open(file).map_err(|e| failed(e.to_string()))?;
    let most = LOOKED_AT.max(limits::SHEET_BYTES);
    (&mut input).take(most).read_to_end(&mut bytes).map_err(|e| failed(e.to_string()))?;
    if is_sheet(&bytes) {
        let sheet = sheet_text(&bytes).map_err(failed)?;
        for warning in sheet.warnings {
            note(format!("note: {warning}"));
        }
        return Ok((sheet.text, sheet.plain_numbers));
    }
    if bytes.len() as u64 > LOOKED_AT {
        bytes.truncate(LOOKED_AT as usize);
        // Not within a line.
        let end = bytes.iter().rposition(|byte| *byte == b'\n').map_or(bytes.len(), |at| at + 1);
        bytes.truncate(end);
    }
    Ok((bytes, false))
}

/// Asks what is open, one question after the other, since an answer may settle or raise others.
fn ask(text: &[u8], told: &mut Told, mut draft: Draft) -> Result<Draft, Failure> {
    let mut passed = BTreeSet::new();
    while let Some(question) = draft.questions.iter().find(|q| !passed.contains(&q.key)).cloned() {
        tell(&question);
        let hint = if question.required { "" } else { " (empty: leave it open)" };
        prompt(&format!("{}{hint} = ", question.key))?;
        let mut line = String::new();
        if io::stdin().lock().read_line(&mut line)? == 0 {
            break;
        }
        let line = line.trim();
        if line.is_empty() {
            if question.required {
                note("left open: the draft cannot be used before it is answered");
            }
            passed.insert(question.key);
            continue;
        }
        told.answers.insert(question.key.clone(), line.to_owned());
        match ohmward_parsers::draft(text, told) {
            Ok(next) => draft = next,
            Err(error) => {
                note(error.to_string());
                told.answers.remove(&question.key);
            }
        }
    }
    Ok(draft)
}

fn prompt(text: &str) -> io::Result<()> {
    let mut out = io::stderr().lock();
    out.write_all(text.as_bytes())?;
    out.flush()
}

fn tell(question: &Question) {
    let kind = if question.required { "open" } else { "may be said" };
    note(format!("{kind}: {}: {}", question.key, question.unsure));
    for candidate in &question.candidates {
        note(format!("    {}={}   {}", question.key, candidate.value, candidate.means));
    }
}

fn show_columns(draft: &Draft) {
    let rows: Vec<_> = draft
        .columns
        .iter()
        .map(|column| ColumnOut {
            column: column.name.clone(),
            taken_for: column.taken_for.clone(),
            values: column.sample.join(" | "),
        })
        .collect();
    let columns = [("column", "column"), ("taken_for", "taken for"), ("values", "first values")];
    output::beside(&columns, &rows);
}

/// The first rows as the draft reads them, and what it does not read.
fn show_readings(place: &Place, file: &Path, draft: &Draft) -> Result<(), Failure> {
    let mut profiles = Profiles::default();
    profiles.add(DRAFT, &draft.toml)?;
    let class = place.config.first_met.clone();
    let job = FileImport {
        profiles: &profiles,
        profile: Some(DRAFT),
        around: Surroundings::default(),
        aliases: &[],
        gear: &[],
        now: place.now,
        first_met: &|id| class.asset(id),
        progress: &|_, _| (),
    };
    let preview = job.preview(file, SHOWN)?;
    let rows = read_as(&preview);
    if !rows.is_empty() {
        output::beside(&READ_AS, &rows);
    }
    for (at, item) in &preview.first_rejects {
        note(format!("record {}, byte {}: {}", at.record, item.offset, item.reason));
    }
    note(format!(
        "as drafted: {} readings, {} for the tray, {} rejected; nothing was stored",
        preview.readings, preview.tray, preview.rejected
    ));
    if let Some(why) = &preview.refused {
        note(format!("{}: {why}", shown(file)));
    }
    Ok(())
}

fn write(path: &Path, toml: &str) -> Result<(), Failure> {
    let failed = |e: io::Error| Failure::Failed(format!("cannot write `{}`: {e}", shown(path)));
    let mut out = OpenOptions::new().write(true).create_new(true).open(path).map_err(failed)?;
    out.write_all(toml.as_bytes()).map_err(failed)
}
