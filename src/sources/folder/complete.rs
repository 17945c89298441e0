//! Which files of a folder are complete: those that stayed as they are for long enough.

use std::fs::{self, Metadata};
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rustc_hash::FxHashMap;

use super::Settings;
use crate::model::Stamp;

/// What of a file shows that it was written to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Look {
    inode: u64,
    size: u64,
    modified_micros: i64,
}

impl Look {
    fn of(meta: &Metadata) -> Self {
        let modified_micros = meta.mtime() * 1_000_000 + meta.mtime_nsec() / 1_000;
        Look { inode: meta.ino(), size: meta.size(), modified_micros }
    }
}

/// A complete file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    pub(super) path: PathBuf,
    look: Look,
}

/// A file as it was last seen.
struct Seen {
    look: Look,
    since: Instant,
    /// It was dealt with but could not be moved away.
    left: bool,
    round: u64,
}

/// What was seen of a folder so far.
#[derive(Default)]
pub(super) struct Watched {
    seen: FxHashMap<PathBuf, Seen>,
    round: u64,
}

impl Watched {
    /// Looks through the folder once: its complete files, the oldest first.
    ///
    /// A file is complete when nothing changed between two looks and it is old enough, by its own
    /// date or by how long it was watched: a share's clock may be ahead of ours.
    pub(super) fn scan(&mut self, settings: &Settings, now: Stamp) -> io::Result<Vec<Found>> {
        self.round += 1;
        let mut complete = Vec::new();
        for entry in fs::read_dir(&settings.path)? {
            let entry = entry?;
            if is_unfinished(&entry.file_name().to_string_lossy()) {
                continue;
            }
            // A link is not followed: it could lead anywhere.
            let meta = match entry.metadata() {
                Ok(meta) if meta.is_file() => meta,
                _ => continue,
            };
            let (path, look, round) = (entry.path(), Look::of(&meta), self.round);
            match self.seen.get_mut(&path) {
                Some(seen) if seen.look == look => {
                    seen.round = round;
                    let by_date = micros(now.micros().saturating_sub(look.modified_micros));
                    let age = seen.since.elapsed().max(by_date);
                    if !seen.left && age >= settings.settle {
                        complete.push(Found { path, look });
                    }
                }
                _ => {
                    let seen = Seen { look, since: Instant::now(), left: false, round };
                    self.seen.insert(path, seen);
                }
            }
        }
        let round = self.round;
        self.seen.retain(|_, seen| seen.round == round);
        complete.sort_by(|a, b| {
            (a.look.modified_micros, &a.path).cmp(&(b.look.modified_micros, &b.path))
        });
        Ok(complete)
    }

    /// The file is gone, or is to be watched afresh.
    pub(super) fn forget(&mut self, path: &Path) {
        self.seen.remove(path);
    }

    /// The file was dealt with and stays: it is not taken again unless it changes.
    pub(super) fn leave(&mut self, found: Found) {
        if let Some(seen) = self.seen.get_mut(&found.path) {
            seen.left = true;
        }
    }
}

/// Whether a file is still as it was found; none when it is not there.
pub(super) fn still_as(found: &Found) -> Option<bool> {
    let meta = fs::symlink_metadata(&found.path).ok()?;
    Some(Look::of(&meta) == found.look)
}

/// Names under which programs write what they later rename.
fn is_unfinished(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    lower.starts_with('.')
        || lower.starts_with("~$")
        || [".part", ".tmp", ".crdownload", ".filepart"].iter().any(|end| lower.ends_with(end))
}

fn micros(micros: i64) -> Duration {
    Duration::from_micros(u64::try_from(micros).unwrap_or(0))
}
