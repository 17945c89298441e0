//! Puts a file away once it was dealt with: into `done/`, or into `refused/` with the reason beside.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Moves a file that is in the store.
pub(super) fn done(folder: &Path, file: &Path) -> io::Result<()> {
    let shelf = shelf(folder, "done")?;
    shift(file, &free_name(&shelf, file, &[""]))
}

/// Moves a file that cannot be taken in. The reason is written first: a file on this shelf always
/// has one.
pub(super) fn refused(folder: &Path, file: &Path, why: &str) -> io::Result<()> {
    let shelf = shelf(folder, "refused")?;
    let place = free_name(&shelf, file, &["", REASON]);
    let mut reason = File::create_new(with_ending(&place, REASON))?;
    writeln!(reason, "{why}")?;
    reason.sync_all()?;
    shift(file, &place).inspect_err(|_| {
        // Without its file the reason says nothing; that it may stay behind is no harm.
        fs::remove_file(with_ending(&place, REASON)).unwrap_or_default();
    })
}

/// What is added to the name of a refused file for its reason.
const REASON: &str = ".reason.txt";

fn shelf(folder: &Path, name: &str) -> io::Result<PathBuf> {
    let shelf = folder.join(name);
    match fs::create_dir(&shelf) {
        Err(e) if e.kind() != io::ErrorKind::AlreadyExists => Err(e),
        _ => Ok(shelf),
    }
}

/// A place on the shelf that is free, also with each ending: `export.csv`, `export.2.csv` …
fn free_name(shelf: &Path, file: &Path, endings: &[&str]) -> PathBuf {
    let part = |part: Option<&std::ffi::OsStr>| {
        part.map(|p| p.to_string_lossy().into_owned()).unwrap_or_default()
    };
    let (stem, extension) = (part(file.file_stem()), part(file.extension()));
    let dot = if extension.is_empty() { "" } else { "." };
    let named = |n: u64| match n {
        1 => shelf.join(file.file_name().unwrap_or_default()),
        n => shelf.join(format!("{stem}.{n}{dot}{extension}")),
    };
    let is_free = |place: &PathBuf| {
        endings.iter().all(|end| fs::symlink_metadata(with_ending(place, end)).is_err())
    };
    (1..).map(named).find(is_free).unwrap_or_else(|| named(1))
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// Renames, or where the shelf is on another disk copies and then deletes.
fn shift(from: &Path, to: &Path) -> io::Result<()> {
    match fs::rename(from, to) {
        Err(e) if e.kind() == io::ErrorKind::CrossesDevices => {
            let half = with_ending(to, ".part");
            fs::copy(from, &half)?;
            File::open(&half)?.sync_all()?;
            fs::rename(&half, to)?;
            sync_folder(to)?;
            fs::remove_file(from)
        }
        other => other,
    }
}

/// Makes a new name in a folder survive a power cut.
fn sync_folder(of: &Path) -> io::Result<()> {
    match of.parent() {
        Some(folder) => File::open(folder)?.sync_all(),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(path: PathBuf, text: &str) -> PathBuf {
        fs::write(&path, text).unwrap();
        path
    }

    #[test]
    fn nothing_on_a_shelf_is_ever_overwritten() {
        let dir = tempfile::tempdir().unwrap();
        for text in ["first", "second", "third"] {
            done(dir.path(), &write(dir.path().join("export.csv"), text)).unwrap();
        }
        let read = |name: &str| fs::read_to_string(dir.path().join("done").join(name)).unwrap();
        assert_eq!(read("export.csv"), "first");
        assert_eq!(read("export.2.csv"), "second");
        assert_eq!(read("export.3.csv"), "third");
    }

    #[test]
    fn a_refused_file_has_its_reason_beside_it() {
        let dir = tempfile::tempdir().unwrap();
        for why in ["no profile fits", "still none"] {
            refused(dir.path(), &write(dir.path().join("photo"), "x"), why).unwrap();
        }
        let read = |name: &str| fs::read_to_string(dir.path().join("refused").join(name)).unwrap();
        assert_eq!(read("photo.reason.txt"), "no profile fits\n");
        assert_eq!(read("photo.2.reason.txt"), "still none\n");
        assert!(dir.path().join("refused/photo.2").exists());
    }

    #[test]
    fn a_shelf_on_another_disk_gets_a_copy() {
        let dir = tempfile::tempdir().unwrap();
        // Another file system than that of temporary files, where the machine has one.
        let Ok(other) = tempfile::tempdir_in("/dev/shm") else { return };
        std::os::unix::fs::symlink(other.path(), dir.path().join("done")).unwrap();
        let file = write(dir.path().join("export.csv"), "all of it");
        done(dir.path(), &file).unwrap();
        assert!(!file.exists());
        assert_eq!(fs::read_to_string(other.path().join("export.csv")).unwrap(), "all of it");
        assert_eq!(fs::read_dir(other.path()).unwrap().count(), 1);
    }
}
