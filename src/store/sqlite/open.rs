//! Opening the database: settings, schema, locks.

use std::fs::{self, File, TryLockError};
use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};
use rusqlite_migration::{M, Migrations};

use super::{FILE, slots};
use crate::store::kept::failed;
use crate::store::{Result, StoreError};

/// Every schema version in order; the number of the last one is the database's `user_version`.
const SCHEMA: &[M<'static>] =
    &[M::up(include_str!("schema_1.sql")), M::up(include_str!("schema_2.sql"))];

/// "ohmw": tells our databases from others'.
pub(super) const APPLICATION_ID: i32 = 0x6f68_6d77;

/// How long a writer waits for another process to let go.
const BUSY: Duration = Duration::from_secs(10);

/// Pages a connection may hold in memory, in KiB. Runs are written in key order and histories read
/// in it, so more buys little: an export of a million readings was 2 % quicker with eight times as
/// much.
const WRITER_CACHE_KIB: i64 = 4 * 1024;
const READER_CACHE_KIB: i64 = 512;

/// Pages of the write-ahead log at which a commit moves them into the table, 128 MiB: the runs of
/// a large delivery change the same pages again and again, and a stream's commit should not wait.
const LOG_PAGES: i64 = 32 * 1024;

/// The write-ahead log is cut back to this when it has been moved.
const LOG_BYTES: i64 = 64 * 1024 * 1024;

/// The store could not be used.
pub(super) fn cannot(data: &Path, why: impl std::fmt::Display) -> StoreError {
    StoreError::Open { path: data.display().to_string(), why: why.to_string() }
}

/// Creates what is not there and brings the schema up to date.
pub(super) fn prepare(data: &Path) -> Result<()> {
    fs::create_dir_all(data)
        .map_err(|e| cannot(data, format!("{e} (name a folder of your own with `--data`)")))?;
    let path = data.join(FILE);
    if path.is_file() && is_current(data)? {
        return Ok(());
    }
    // Two processes may get here at once; the second waits and finds nothing left to do.
    let lock = data.join("schema.lock");
    let lock = File::create(&lock).map_err(|e| failed(&lock, e))?;
    lock.lock().map_err(|e| cannot(data, e))?;
    let mut db = Connection::open(&path).map_err(|e| cannot(data, e))?;
    db.busy_timeout(BUSY)?;
    let new = version(&db)? == 0;
    if new {
        db.pragma_update(None, "application_id", APPLICATION_ID)?;
    }
    db.pragma_update(None, "journal_mode", "WAL")?;
    db.pragma_update(None, "synchronous", "FULL")?;
    Migrations::from_slice(SCHEMA).to_latest(&mut db).map_err(|e| cannot(data, e))?;
    db.execute(
        "INSERT INTO installation (one, origin) VALUES (1, ?1) ON CONFLICT DO NOTHING",
        [uuid::Uuid::new_v4().to_string()],
    )?;
    Ok(())
}

fn version(db: &Connection) -> Result<i64> {
    Ok(db.pragma_query_value(None, "user_version", |row| row.get(0))?)
}

/// Whether the database has this program's schema; an error when it never can have.
fn is_current(data: &Path) -> Result<bool> {
    let path = data.join(FILE);
    let db = Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_WRITE)
        .map_err(|e| cannot(data, e))?;
    db.busy_timeout(BUSY)?;
    let application: i32 = db
        .pragma_query_value(None, "application_id", |row| row.get(0))
        .map_err(|e| cannot(data, format!("`{FILE}` is not a database of this program: {e}")))?;
    let found = version(&db)?;
    let known = SCHEMA.len() as i64;
    if application != APPLICATION_ID && !(application == 0 && found == 0 && is_empty(&db)?) {
        return Err(cannot(
            data,
            format!("`{FILE}` is a database of another program (name another folder)"),
        ));
    }
    if found > known {
        return Err(cannot(
            data,
            format!(
                "it was written by a newer version of this program: its schema is {found}, this \
                 program knows up to {known} (update the program, or restore a backup)"
            ),
        ));
    }
    Ok(found == known)
}

fn is_empty(db: &Connection) -> Result<bool> {
    Ok(db.query_row("SELECT NOT EXISTS (SELECT 1 FROM sqlite_schema)", [], |row| row.get(0))?)
}

/// A connection that may write.
pub(super) fn writable(data: &Path) -> Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = connect(data, flags, WRITER_CACHE_KIB)?;
    db.pragma_update(None, "synchronous", "FULL")?;
    db.pragma_update(None, "journal_size_limit", LOG_BYTES)?;
    db.pragma_update(None, "wal_autocheckpoint", LOG_PAGES)?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.execute_batch(slots::CLAIMED_TABLE)?;
    Ok(db)
}

/// A connection that cannot write.
pub(super) fn read_only(data: &Path) -> Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    connect(data, flags, READER_CACHE_KIB)
}

fn connect(data: &Path, flags: OpenFlags, cache_kib: i64) -> Result<Connection> {
    let db = Connection::open_with_flags(data.join(FILE), flags).map_err(|e| cannot(data, e))?;
    db.busy_timeout(BUSY)?;
    db.set_prepared_statement_cache_capacity(96);
    db.pragma_update(None, "trusted_schema", false)?;
    db.pragma_update(None, "cache_size", -cache_kib)?;
    // Sorting all readings for an export must not take memory.
    db.pragma_update(None, "temp_store", "FILE")?;
    Ok(db)
}

/// Held by the one daemon of a store.
#[derive(Debug)]
pub struct DaemonLock {
    _file: File,
}

/// Takes the daemon's lock. The system lets go of it when the process ends, however it ends.
pub(super) fn lock_daemon(data: &Path) -> Result<DaemonLock> {
    let path = data.join("writer.lock");
    let file = File::create(&path).map_err(|e| failed(&path, e))?;
    match file.try_lock() {
        Ok(()) => Ok(DaemonLock { _file: file }),
        Err(TryLockError::WouldBlock) => {
            Err(cannot(data, "a daemon is running on it already (stop that one first)"))
        }
        Err(TryLockError::Error(e)) => Err(failed(&path, e)),
    }
}
