//! The store in an embedded SQLite database: one writer, any number of readers, readings clustered
//! by series and time.
//!
//! In the data folder: `ohmward.db` (with `-wal` and `-shm` while in use), kept files in `raw/`,
//! and two lock files. Several processes may read and write at once: each transaction takes the
//! write lock of the database and waits for it.

mod backup;
mod batches;
mod cells;
mod check;
mod delivery;
mod error;
mod feed;
mod handle;
mod idle;
mod last;
mod lexicon;
mod manifest;
mod names;
mod open;
mod outbox;
mod packer;
mod pending;
mod reader;
mod readings;
mod receive;
mod registers;
mod rejects;
mod row;
mod run;
mod slots;
mod spool;
mod temperatures;
#[cfg(test)]
mod tests;
mod writer;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

pub use handle::{WriterHandle, WriterThread};
use idle::Idle;
pub use manifest::{Manifest, digest, kept_files_of, manifest};
pub use open::DaemonLock;
pub use reader::SqliteReader;
pub use writer::SqliteWriter;

use super::{KeptFiles, Result};

/// The database in the data folder.
pub const FILE: &str = "ohmward.db";

/// The store of one data folder.
#[derive(Clone, Debug)]
pub struct SqliteStore {
    data: PathBuf,
    idle: Arc<Idle>,
}

impl SqliteStore {
    /// Opens the store in a folder, creating folder and database when they aren't there and
    /// bringing an older database up to this program's schema.
    pub fn open(data: &Path) -> Result<Self> {
        open::prepare(data)?;
        Ok(SqliteStore { data: data.to_owned(), idle: Arc::default() })
    }

    /// Opens a store that must be there already: for questions.
    pub fn existing(data: &Path) -> Result<Self> {
        if !data.join(FILE).is_file() {
            return Err(open::cannot(
                data,
                "there is no store yet (import something first, or name its folder with `--data`)",
            ));
        }
        Self::open(data)
    }

    /// A writer. Take one per process.
    pub fn writer(&self) -> Result<SqliteWriter> {
        SqliteWriter::open(&self.data)
    }

    /// A reader; cheap, take as many as there are threads. Its connection is used again.
    pub fn reader(&self) -> Result<SqliteReader> {
        SqliteReader::open(&self.data, &self.idle)
    }

    /// The kept files beside the database.
    pub fn kept(&self) -> KeptFiles {
        KeptFiles::in_data(&self.data)
    }

    /// The bytes that its parts take on the disk: the database, its log, the kept files. What
    /// cannot be looked at counts as nothing.
    pub fn sizes(&self) -> [(&'static str, u64); 3] {
        let bytes = |path: PathBuf| fs::metadata(path).map_or(0, |meta| meta.len());
        let kept = fs::read_dir(self.data.join("raw")).into_iter().flatten().flatten();
        [
            ("database", bytes(self.data.join(FILE))),
            ("log", bytes(self.data.join(format!("{FILE}-wal")))),
            ("kept_files", kept.map(|entry| bytes(entry.path())).sum()),
        ]
    }

    /// Makes this process the only daemon on the store, until the lock is dropped.
    pub fn lock_daemon(&self) -> Result<DaemonLock> {
        open::lock_daemon(&self.data)
    }
}
