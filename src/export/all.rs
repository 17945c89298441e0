//! Everything into a folder: readings, registers, corrections, each as a CSV that imports again.

use std::collections::HashMap;
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::Path;

use super::canonical::export_readings;
use super::walk::{Corrections, ExportError, Selection};
use crate::model::{Alias, Asset, AssetClass, Event, Gear, Proof, ReadingId};
use crate::registry::{CorrectionRow, LimitRow, Row, answers, steps, write_rows};
use crate::store::{Reader, When};

/// The files, in the order in which they are to be imported: readings before aliases, since they
/// were resolved already and must not be resolved twice; answers last, since findings follow from all
/// the rest.
pub const ALL_FILES: &[&str] = &[
    "classes.csv",
    "assets.csv",
    "limits.csv",
    "gear.csv",
    "readings.csv",
    "aliases.csv",
    "events.csv",
    "proofs.csv",
    "corrections.csv",
    "answers.csv",
    "sheets.csv",
];

/// Writes everything there is into `folder`, which is made if need be; returns the number of
/// readings. Readings are written as taken in, with the corrections beside them.
pub fn export_all<R: Reader + ?Sized>(
    reader: &R,
    when: When,
    folder: &Path,
    each: &mut dyn FnMut(&super::Row),
) -> Result<u64, ExportError> {
    fs::create_dir_all(folder)?;
    // In their own words: what their classes say stands in the file of classes.
    let assets = reader.assets_as_registered(when)?;
    let limits: Vec<LimitRow> = assets
        .iter()
        .flat_map(|a| a.more_limits.iter().map(|&limit| LimitRow { asset: a.id.clone(), limit }))
        .collect();
    put::<AssetClass>(folder, "classes.csv", &values(reader.classes(when)?))?;
    put::<Asset>(folder, "assets.csv", &assets)?;
    put(folder, "limits.csv", &limits)?;
    put::<Gear>(folder, "gear.csv", &values(reader.gear(when)?))?;
    put::<Alias>(folder, "aliases.csv", &values(reader.aliases(when)?))?;
    put::<Event>(folder, "events.csv", &values(reader.events(None, when)?))?;
    put::<Proof>(folder, "proofs.csv", &values(reader.proofs(None, when)?))?;

    let corrections = reader.all_corrections(when)?;
    let mut rows: HashMap<ReadingId, Option<u64>> =
        corrections.iter().map(|c| (c.value.reading, None)).collect();
    let out = BufWriter::with_capacity(1 << 20, File::create(folder.join("readings.csv"))?);
    let mut row = 1;
    let selection = Selection::all(when, Corrections::Beside);
    let count = export_readings(reader, &selection, out, &mut |reading| {
        row += 1;
        each(reading);
        if let Some(known) = rows.get_mut(&reading.id) {
            *known = Some(row);
        }
    })?;
    let mut corrections: Vec<CorrectionRow> = corrections
        .into_iter()
        .filter_map(|c| {
            let row = rows.get(&c.value.reading).copied().flatten()?;
            Some(CorrectionRow { row, kind: c.value.kind, reason: c.value.reason, by: c.mark.by })
        })
        .collect();
    // Stable: corrections of one reading keep the order in which they were made.
    corrections.sort_by_key(|c| c.row);
    put(folder, "corrections.csv", &corrections)?;
    put(folder, "answers.csv", &answers(reader, when)?)?;
    put(folder, "sheets.csv", &steps(reader, when)?)?;
    Ok(count)
}

fn values<T>(recorded: Vec<crate::store::Recorded<T>>) -> Vec<T> {
    recorded.into_iter().map(|r| r.value).collect()
}

fn put<R: Row>(folder: &Path, name: &str, rows: &[R]) -> Result<(), ExportError> {
    Ok(write_rows(BufWriter::new(File::create(folder.join(name))?), rows)?)
}
