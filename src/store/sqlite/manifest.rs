//! What a copy of the database holds, counted: so that it can be told later whether it still does.

use std::fs::File;
use std::path::Path;

use rusqlite::{Connection, OpenFlags};

use super::{check, open};
use crate::store::kept::failed;
use crate::store::{KeptFile, Result, StoreError};

/// What is in a database, and the digest of its file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Manifest {
    /// The installation it comes from.
    pub origin: String,
    /// Its schema version.
    pub schema: i64,
    /// Batches.
    pub batches: u64,
    /// Readings, the tray included.
    pub readings: u64,
    /// Rejects.
    pub rejects: u64,
    /// Assets that have a row in the register.
    pub assets: u64,
    /// Files that are kept beside the database.
    pub kept: u64,
    /// BLAKE3 of the database's file, hexadecimal.
    pub digest: String,
}

/// Counts a database that nobody writes to.
///
/// # Errors
/// When it cannot be read, or is no database of this program.
pub fn manifest(path: &Path) -> Result<Manifest> {
    let db = reading(path)?;
    let count = |sql: &str| -> Result<u64> {
        let n: i64 = db.query_row(sql, [], |row| row.get(0)).map_err(|e| no_copy(path, &e))?;
        Ok(n as u64)
    };
    let origin = db
        .query_row("SELECT origin FROM installation", [], |row| row.get(0))
        .map_err(|e| no_copy(path, &e))?;
    Ok(Manifest {
        origin,
        schema: db.pragma_query_value(None, "user_version", |row| row.get(0))?,
        batches: count("SELECT count(*) FROM batch")?,
        readings: count("SELECT count(*) FROM reading")?,
        rejects: count("SELECT count(*) FROM reject")?,
        assets: count("SELECT count(DISTINCT asset) FROM asset_version")?,
        kept: count("SELECT count(*) FROM kept")?,
        digest: digest(path)?,
    })
}

/// BLAKE3 of a file, hexadecimal.
///
/// # Errors
/// When it cannot be read.
pub fn digest(path: &Path) -> Result<String> {
    let mut hasher = blake3::Hasher::new();
    let mut file = File::open(path).map_err(|e| failed(path, e))?;
    std::io::copy(&mut file, &mut hasher).map_err(|e| failed(path, e))?;
    Ok(hasher.finalize().to_hex().to_string())
}

/// The kept files that a database names.
///
/// # Errors
/// When it cannot be read, or is no database of this program.
pub fn kept_files_of(path: &Path) -> Result<Vec<KeptFile>> {
    check::kept_files(&reading(path)?)
}

fn reading(path: &Path) -> Result<Connection> {
    File::open(path).map_err(|e| failed(path, e))?;
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = Connection::open_with_flags(path, flags).map_err(|e| no_copy(path, &e))?;
    let id: i32 = db
        .pragma_query_value(None, "application_id", |row| row.get(0))
        .map_err(|e| no_copy(path, &e))?;
    match id == open::APPLICATION_ID {
        true => Ok(db),
        false => Err(no_copy(path, &"it is a database of another program")),
    }
}

fn no_copy(path: &Path, why: &dyn std::fmt::Display) -> StoreError {
    StoreError::File {
        path: path.display().to_string(),
        why: format!("expected a file written by `backup`, found another: {why}"),
    }
}
