//! An online copy of the database.

use std::fs::{self, File};
use std::io;
use std::path::Path;

use rusqlite::{Connection, OpenFlags};

use super::{check, open};
use crate::store::kept::{failed, sync_folder};
use crate::store::{Result, StoreError};

/// Copies the database of a data folder to `path`, which must not exist: one consistent state,
/// compact, checked, on the disk. Writers go on meanwhile.
pub(super) fn copy(data: &Path, path: &Path) -> Result<()> {
    let taken = || failed(path, io::Error::from(io::ErrorKind::AlreadyExists));
    if path.exists() {
        return Err(taken());
    }
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    let part = Path::new(&part);
    let copied = copy_to(data, part).and_then(|()| {
        // Unlike a rename, a link never replaces what came into being meanwhile.
        fs::hard_link(part, path).map_err(|e| failed(path, e))
    });
    match fs::remove_file(part) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(failed(part, e)),
        _ => {}
    }
    copied?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
    sync_folder(folder.unwrap_or(Path::new(".")))
}

fn copy_to(data: &Path, part: &Path) -> Result<()> {
    let name = part.to_str().ok_or_else(|| StoreError::File {
        path: part.display().to_string(),
        why: "expected a name in UTF-8".to_owned(),
    })?;
    if part.exists() {
        return Err(failed(part, io::Error::from(io::ErrorKind::AlreadyExists)));
    }
    open::writable(data)?.execute("VACUUM INTO ?1", [name])?;
    // The database engine leaves the copy to the system's write cache.
    File::open(part).and_then(|f| f.sync_all()).map_err(|e| failed(part, e))?;
    let db = Connection::open_with_flags(part, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
    match check::integrity(&db)?.first() {
        None => Ok(()),
        Some(why) => Err(StoreError::File {
            path: part.display().to_string(),
            why: format!("the copy is not sound: {why}"),
        }),
    }
}
