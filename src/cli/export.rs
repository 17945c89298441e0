//! `export`: readings, findings and assessments as CSV or Parquet, or everything into a folder.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use indicatif::ProgressBar;

use super::args::Export;
use super::place::{Place, bar, counter, shown};
use super::{Exit, Failure, note};
use crate::dossier::Desk;
use crate::export::{
    ASSESSMENTS, Corrections, CsvTable, ExportError, FINDINGS, ParquetTable, READINGS, Row,
    Selection, Table, assessed, each_reading, export_all, export_readings, stated,
};
use crate::model::{AssetId, Stamp};
use crate::store::{Reader, When};
use crate::trend::Assessor;

/// Rows between two movements of the progress.
const STEP: u64 = 4_096;

pub(crate) fn export(place: &mut Place, export: Export) -> Result<Exit, Failure> {
    let reader = place.reader()?;
    if let Some(folder) = export.all {
        let bar = counter("exporting", "readings");
        let count = export_all(&reader, place.when, &folder, &mut moving(&bar))?;
        bar.finish_and_clear();
        note(format!("{count} readings and all registers written to {}", shown(&folder)));
        return Ok(Exit::Done);
    }
    let path = export.output.unwrap_or_else(|| "-".into());
    let to = Target::of(&path)?;
    let mut assets = Vec::new();
    for asset in &export.asset {
        assets.push(place.known_asset(asset)?.id);
    }
    let (count, what) = match (export.findings, export.assessments) {
        (true, _) => (findings(place, &assets, to)?, "findings"),
        (_, true) => (assessments(place, &assets, to)?, "series"),
        _ => {
            let as_of = place.when.as_of.min(export.to.unwrap_or(Stamp::MAX));
            let when = When { as_of, ..place.when };
            let from = export.from.unwrap_or(Stamp::MIN);
            let corrections = Corrections::Applied;
            let selection = Selection { when, from, assets, corrections };
            (readings(&reader, &selection, to)?, "readings")
        }
    };
    if path.as_os_str() != "-" {
        note(format!("{count} {what} written to {}", shown(&path)));
    }
    Ok(Exit::Done)
}

/// Where rows go, and as what.
enum Target {
    Csv(Box<dyn Write>),
    Parquet(File),
}

impl Target {
    fn of(path: &Path) -> Result<Self, Failure> {
        if path.as_os_str() == "-" {
            let out = BufWriter::with_capacity(1 << 20, io::stdout().lock());
            return Ok(Target::Csv(Box::new(out)));
        }
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        let create = || {
            File::create(path)
                .map_err(|e| Failure::Failed(format!("cannot write `{}`: {e}", shown(path))))
        };
        match extension.as_deref() {
            Some("csv") | None => {
                Ok(Target::Csv(Box::new(BufWriter::with_capacity(1 << 20, create()?))))
            }
            Some("parquet") => Ok(Target::Parquet(create()?)),
            Some(_) => Err(Failure::Usage(format!(
                "`{}`: expected a name that ends in .csv or .parquet",
                shown(path)
            ))),
        }
    }
}

/// Moves the progress now and then.
fn moving(bar: &ProgressBar) -> impl FnMut(&Row) {
    let mut count = 0;
    move |_| {
        count += 1;
        if count % STEP == 0 {
            bar.set_position(count);
        }
    }
}

fn readings(reader: &impl Reader, selection: &Selection, to: Target) -> Result<u64, Failure> {
    let bar = counter("exporting", "readings");
    let mut moved = moving(&bar);
    let count = match to {
        Target::Csv(out) => export_readings(reader, selection, out, &mut moved)?,
        Target::Parquet(file) => {
            let mut out = ParquetTable::new(&READINGS, &about(reader, selection.when)?, file)?;
            let count = each_reading(reader, selection, &mut |row, _| {
                moved(row);
                Ok(out.row(row)?)
            })?;
            out.finish().map_err(ExportError::from)?;
            count
        }
    };
    bar.finish_and_clear();
    Ok(count)
}

fn findings(place: &mut Place, assets: &[AssetId], to: Target) -> Result<u64, Failure> {
    place.assess_all_pending()?;
    let reader = place.reader()?;
    let mut rows = Vec::new();
    match assets {
        [] => rows = stated(&reader, None, place.when)?,
        some => {
            for asset in some {
                rows.extend(stated(&reader, Some(asset), place.when)?);
            }
        }
    }
    let count = rows.len() as u64;
    write(&FINDINGS, to, &about(&reader, place.when)?, |row| rows.iter().try_for_each(row))?;
    Ok(count)
}

fn assessments(place: &mut Place, assets: &[AssetId], to: Target) -> Result<u64, Failure> {
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let desk = Desk::new(&reader, place.when, &place.config.assess, &assessor)?;
    let assets = match assets {
        [] => reader.assets(place.when)?.into_iter().map(|a| a.id).collect(),
        some => some.to_vec(),
    };
    let bar = bar("assessing", "assets");
    bar.set_length(assets.len() as u64);
    let mut count = 0;
    write(&ASSESSMENTS, to, &about(&reader, place.when)?, |row| {
        for asset in &assets {
            let rows = assessed(&desk.open(asset)?);
            count += rows.len() as u64;
            rows.iter().try_for_each(&mut *row)?;
            bar.inc(1);
        }
        Ok(())
    })?;
    bar.finish_and_clear();
    Ok(count)
}

/// Writes the rows that `rows` hands to its argument.
fn write<T: 'static>(
    table: &'static Table<T>,
    to: Target,
    about: &[(&str, String)],
    rows: impl FnOnce(&mut dyn FnMut(&T) -> Result<(), ExportError>) -> Result<(), ExportError>,
) -> Result<(), ExportError> {
    match to {
        Target::Csv(out) => {
            let mut out = CsvTable::new(table, out)?;
            rows(&mut |row| Ok(out.row(row)?))?;
            Ok(out.finish()?)
        }
        Target::Parquet(file) => {
            let mut out = ParquetTable::new(table, about, file)?;
            rows(&mut |row| Ok(out.row(row)?))?;
            Ok(out.finish()?)
        }
    }
}

/// What a Parquet file says of itself beside its columns: whose data, and as of when.
fn about(reader: &impl Reader, when: When) -> Result<Vec<(&'static str, String)>, Failure> {
    let mut about = vec![("origin", reader.origin()?)];
    for (name, at) in [("as_of", when.as_of), ("known_at", when.known_at)] {
        if at != Stamp::MAX {
            about.push((name, at.to_string()));
        }
    }
    Ok(about)
}
