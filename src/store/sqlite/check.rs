//! Whether the database is sound: the file, the references, the numbering, every row.

use rusqlite::{Connection, params};

use super::lexicon::Lexicon;
use super::readings;
use super::registers::{
    accounts, aliases, assets, classes, corrections, events, findings, gear, proofs,
};
use super::{outbox, rejects};
use crate::model::Stamp;
use crate::store::{KeptFile, KeptFiles, Result, StoreError, When};

/// How many complaints of one sort are listed.
const LISTED: usize = 20;

/// What the engine finds wrong with the file and with references between the registers.
pub(super) fn integrity(db: &Connection) -> Result<Vec<String>> {
    let mut wrong = Vec::new();
    let mut query = db.prepare(&format!("PRAGMA integrity_check({LISTED})"))?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        let line: String = row.get(0)?;
        if line != "ok" {
            wrong.push(format!("database file: {line}"));
        }
    }
    let mut query = db.prepare("PRAGMA foreign_key_check")?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()?
        && wrong.len() < LISTED
    {
        let (table, no, parent): (String, Option<i64>, String) =
            (row.get(0)?, row.get(1)?, row.get(2)?);
        let no = no.map_or("unknown".to_owned(), |no| no.to_string());
        wrong.push(format!("table `{table}`, row {no}: names a row of `{parent}` that is gone"));
    }
    Ok(wrong)
}

/// Everything but the bytes of the kept files.
pub(super) fn all(db: &Connection, kept: &KeptFiles) -> Result<Vec<String>> {
    let mut wrong = integrity(db)?;
    let (count, last): (i64, Option<i64>) =
        db.query_row("SELECT count(*), max(no) FROM batch", [], |r| Ok((r.get(0)?, r.get(1)?)))?;
    if count != last.unwrap_or(0) {
        wrong.push(format!(
            "table `batch`: expected numbers 1 to {} without a gap, found {count} rows",
            last.unwrap_or(0)
        ));
    }
    let orphans: i64 = db.query_row(
        "SELECT count(*) FROM reading r WHERE NOT EXISTS (SELECT 1 FROM batch b WHERE b.no = r.batch)",
        [],
        |row| row.get(0),
    )?;
    if orphans > 0 {
        wrong.push(format!("table `reading`: {orphans} rows name a batch that is gone"));
    }
    rows(db, &mut wrong)?;
    for file in kept_files(db)? {
        if !kept.has(&file.digest) {
            let path = kept.path(&file.digest);
            wrong.push(format!("kept file `{}` is missing (restore it)", path.display()));
        }
    }
    Ok(wrong)
}

/// Every row reads back as what it must be.
fn rows(db: &Connection, wrong: &mut Vec<String>) -> Result<()> {
    let lexicon = Lexicon::default();
    let when = When::ALWAYS;
    let mut bad_readings = Vec::new();
    readings::each_tolerant(db, &lexicon, &mut |e| {
        if bad_readings.len() < LISTED {
            bad_readings.push(e.to_string());
        }
    })?;
    wrong.extend(bad_readings);
    let registers = [
        classes::all(db, when).map(drop),
        assets::all(db, when).map(drop),
        events::all(db, None, when).map(drop),
        gear::all(db, when).map(drop),
        proofs::all(db, None, when).map(drop),
        aliases::all(db, when).map(drop),
        corrections::all(db, when).map(drop),
        findings::all(db, findings::Of::All, when).map(drop),
        rejects::all(db, true).map(drop),
        accounts::all(db, when).map(drop),
        accounts::tokens(db, when).map(drop),
        accounts::accesses(db, Stamp::MIN, when).map(drop),
        outbox::all(db, false).map(drop),
    ];
    for read in registers {
        match read {
            Ok(()) => {}
            Err(e @ StoreError::Damaged { .. }) => wrong.push(e.to_string()),
            Err(e) => return Err(e),
        }
    }
    Ok(())
}

/// The kept files that batches name.
pub(super) fn kept_files(db: &Connection) -> Result<Vec<KeptFile>> {
    let mut query = db.prepare("SELECT digest, bytes FROM kept ORDER BY no")?;
    let mut rows = query.query(params![])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let digest: String = row.get(0)?;
        all.push(KeptFile { digest: digest.into(), bytes: row.get::<_, i64>(1)? as u64 });
    }
    Ok(all)
}
