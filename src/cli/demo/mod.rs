//! `demo`: the whole job on the invented harbour Kestrel Quay, through the real daemon: exports are
//! dropped into a watched folder, two bench testers stream over pseudo-terminals.

mod instrument;
mod registers;
mod serving;

use std::fs;
use std::path::{Path, PathBuf};

use super::args::{Declining, Demo};
use super::place::{Place, shown};
use super::{Exit, Failure, ask, log, note, output};
use crate::invent::quay::{self, FLEET};
use crate::invent::{QuayFile, files, with_slips};
use crate::model::Stamp;
use crate::store::{Reader, When};
use instrument::Instrument;
use serving::Serving;

/// The person who does everything at the invented quay.
const WHO: &str = "M. Okafor (invented)";

pub(crate) fn demo(place: &mut Place, demo: Demo, asked_for: bool) -> Result<Exit, Failure> {
    if !asked_for {
        place.dir = fresh_folder()?;
    } else if place.dir.join("ohmward.db").exists() {
        return Err(Failure::Failed(format!(
            "`{}` holds a store already: the demo wants a fresh folder",
            shown(&place.dir)
        )));
    }
    let end = Stamp::from_micros(place.now.utc_day() * crate::model::DAY_MICROS);
    let exports = place.dir.join("exports");
    fs::create_dir_all(&exports)
        .map_err(|e| Failure::Failed(format!("cannot write to `{}`: {e}", shown(&exports))))?;
    let instruments = [Instrument::good(place)?, Instrument::faulted(place)?];
    let config = serving::write_config(place, &exports, &instruments)?;
    registers::register(place, end)?;
    let serving = Serving::start(place, config, demo.once)?;

    let written = written(end);
    let readings = quay::readings(end).len();
    note(format!(
        "Kestrel Quay (invented): {readings} readings of {} machines in {} export files of three \
         dialects, dropped into {}",
        FLEET.len(),
        written.len(),
        shown(&exports)
    ));
    for file in &written {
        drop_into(&exports, file)?;
    }
    let streaming: Vec<_> = instruments.into_iter().map(Instrument::stream).collect();
    note(format!("two bench testers stream: {} and {}", instrument::GOOD, instrument::FAULTED));
    serving.until_taken_in(place, &exports)?;
    taken_in(place)?;
    output::line("\nWhat needs attention:\n")?;
    ask::declining(place, Declining { all: true })?;
    where_next(place, &serving)?;
    if demo.once {
        serving.end()?;
    } else {
        log::begin(log::LogFormat::Text);
        serving.until_ended()?;
    }
    drop(streaming);
    Ok(Exit::Done)
}

/// The export files of the quay. The last yard file holds what every real export seems to hold:
/// two slips.
fn written(end: Stamp) -> Vec<QuayFile> {
    let mut written = files(&quay::readings(end));
    if let Some(last) = written.iter().rposition(|f| f.name.starts_with("yard-ht-2")) {
        let file = written.remove(last);
        written.insert(last, with_slips(file, end.plus_days(-2.0)));
    }
    written
}

/// Drops a file as a careful program does: whole, under its name only when it is complete.
fn drop_into(folder: &Path, file: &QuayFile) -> Result<(), Failure> {
    let half = folder.join(format!(".{}", file.name));
    fs::write(&half, &file.bytes)?;
    fs::rename(half, folder.join(&file.name))?;
    Ok(())
}

/// Says what came of all that, and what waits for a person.
fn taken_in(place: &Place) -> Result<(), Failure> {
    let reader = place.reader()?;
    let mut readings = 0;
    reader.for_each_reading(When::ALWAYS, &mut |_| {
        readings += 1;
        Ok(())
    })?;
    let (rejects, tray) = (reader.rejects(false)?, reader.tray(When::ALWAYS)?);
    for reject in &rejects {
        note(format!("rejected, record {}: {}", reject.place.record, reject.item.reason));
    }
    note(format!(
        "{readings} readings taken in, {} of them in the tray; {} rejected",
        tray.len(),
        rejects.len()
    ));
    Ok(())
}

/// A folder of its own for each demo, so that nothing of the user's is touched.
fn fresh_folder() -> Result<PathBuf, Failure> {
    let base = std::env::temp_dir();
    for n in 1..10_000 {
        let dir = base.join(format!("ohmward-demo-{n}"));
        match fs::create_dir(&dir) {
            Ok(()) => return Ok(dir),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => {
                return Err(Failure::Failed(format!("cannot make `{}`: {e}", shown(&dir))));
            }
        }
    }
    Err(Failure::Failed(format!("too many old demos in `{}`: remove some", shown(&base))))
}

fn where_next(place: &Place, serving: &Serving) -> Result<(), Failure> {
    let data = shown(&place.dir);
    output::line(format!(
        "\nWhere to look next (the folder is yours to remove):\n\
         \x20 ohmward --data {data} assess YT-014/drive     one phase declines: evidence and chart\n\
         \x20 ohmward --data {data} assess YT-016/drive     rewound: a new epoch\n\
         \x20 ohmward --data {data} assess YT-012/drive     mostly over-range: steady, and what that proves\n\
         \x20 ohmward --data {data} assess {}    streamed from the bench, faulted on purpose\n\
         \x20 ohmward --data {data} history YT-015/drive    washed: what was done with each reading\n\
         \x20 ohmward --data {data} rejects list            a number that could be two things\n\
         \x20 ohmward --data {data} tray list               a machine that nobody wrote down",
        instrument::FAULTED
    ))?;
    if !serving.once {
        output::line(format!(
            "\nThe daemon keeps serving, and the testers keep streaming; Ctrl-C ends it:\n\
             \x20 http://{0}/bench           a run sheet for each tester\n\
             \x20 http://{0}/v1/declining    the same list\n\
             \x20 http://{0}/healthz         how every source stands\n\
             \x20 cp YOUR-EXPORT.csv {1}     a file of your own",
            serving.address,
            shown(&place.dir.join("exports"))
        ))?;
    }
    Ok(())
}
