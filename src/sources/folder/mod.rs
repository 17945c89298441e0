//! A folder into which files are dropped: looked through again and again, since that also works on
//! network shares and after a restart; only complete files are taken, each is moved when it is done.

mod complete;
mod shelve;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use super::{Standing, Stop};
use crate::clock::Clock;
use crate::model::Text;
use complete::{Found, Watched};

/// How a folder is watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Its name in messages.
    pub name: Text,
    /// The folder; files below its own folders are not looked at.
    pub path: PathBuf,
    /// How often it is looked through.
    pub every: Duration,
    /// How long a file must have stayed as it is before it is taken to be complete.
    pub settle: Duration,
}

/// What became of a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// It is in the store: to be moved to `done/`.
    Done,
    /// It can never be taken in, and why: to be moved to `refused/`.
    Refused(String),
    /// This file could not be read now, and why: to be tried again.
    Later(String),
    /// Nothing can be taken in now, and why: this file and all others have to wait.
    Busy(String),
}

/// A folder being watched.
pub struct Folder {
    /// How.
    pub settings: Settings,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// When to end.
    pub stop: Stop,
    /// Where it says how it stands.
    pub standing: Arc<Standing>,
}

/// Longest sleep between two signs of life.
const NAP: Duration = Duration::from_secs(1);

impl Folder {
    /// Looks through the folder until it is stopped; `take` brings a file into the store and
    /// answers when that is durable.
    pub fn run(&self, take: &mut dyn FnMut(&Path) -> Verdict) {
        let mut watched = Watched::default();
        while !self.stop.is_set() {
            self.standing.reading.tick();
            match watched.scan(&self.settings, self.clock.now()) {
                Ok(complete) => self.take_all(complete, &mut watched, take),
                Err(e) => self.trouble(Some(missing(&self.settings.path, &e))),
            }
            let mut left = self.settings.every;
            while !left.is_zero() && !self.stop.wait(left.min(NAP)) {
                self.standing.reading.tick();
                left = left.saturating_sub(NAP);
            }
        }
    }

    /// Takes the files in their order.
    fn take_all(
        &self,
        complete: Vec<Found>,
        watched: &mut Watched,
        take: &mut dyn FnMut(&Path) -> Verdict,
    ) {
        let mut trouble = None;
        for found in complete {
            if self.stop.is_set() {
                return;
            }
            self.standing.reading.tick();
            let verdict = take(&found.path);
            // What was written behind the reader's back must not be put away unread.
            if complete::still_as(&found) != Some(true) {
                watched.forget(&found.path);
                continue;
            }
            let tally = &self.standing.tally;
            let shelved = match verdict {
                Verdict::Busy(why) => return self.trouble(Some(why)),
                Verdict::Later(why) => {
                    trouble = trouble.or(Some(why));
                    continue;
                }
                Verdict::Done => {
                    tally.files.add(1);
                    shelve::done(&self.settings.path, &found.path)
                }
                Verdict::Refused(why) => {
                    tally.refused.add(1);
                    tracing::error!(
                        source = %self.settings.name, file = %found.path.display(), "refused: {}", why.lines().next().unwrap_or_default()
                    );
                    shelve::refused(&self.settings.path, &found.path, &why)
                }
            };
            match shelved {
                Ok(()) => watched.forget(&found.path),
                Err(e) => {
                    tracing::error!(
                        source = %self.settings.name,
                        "`{}` was dealt with but cannot be moved: {e} (it stays where it is and is \
                         not read again while it does not change; let this program write there)",
                        found.path.display()
                    );
                    watched.leave(found);
                }
            }
        }
        self.trouble(trouble);
    }

    fn trouble(&self, why: Option<String>) {
        let name = &self.settings.name;
        match why {
            Some(why) => {
                if self.standing.reading.troubled(Some(why.clone())) {
                    tracing::warn!(source = %name, "{why}; trying again");
                }
            }
            None => {
                if self.standing.reading.troubled(None) {
                    tracing::info!(source = %name, "the folder is looked through again");
                }
            }
        }
    }
}

fn missing(path: &Path, error: &io::Error) -> String {
    let path = path.display();
    match error.kind() {
        io::ErrorKind::NotFound => {
            format!("the folder `{path}` is not there (create it, or mount the share)")
        }
        io::ErrorKind::PermissionDenied => {
            format!("the folder `{path}` may not be read by this user (see `ls -ld {path}`)")
        }
        io::ErrorKind::NotADirectory => format!("`{path}` is not a folder (correct `path`)"),
        _ => format!("the folder `{path}` cannot be read: {error} (is the share still mounted?)"),
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::clock::Fixed;
    use crate::model::Stamp;

    /// A folder whose files have long settled, and how to look through it.
    fn settings(path: &Path) -> Settings {
        let hour = Duration::from_secs(3_600);
        let every = Duration::from_millis(5);
        Settings { name: "exports".into(), path: path.into(), every, settle: hour }
    }

    fn names(found: Vec<Found>) -> Vec<String> {
        let name = |f: Found| f.path.file_name().unwrap().to_string_lossy().into_owned();
        found.into_iter().map(name).collect()
    }

    fn dated(path: PathBuf, seconds: u64) {
        fs::write(&path, "x").unwrap();
        let at = std::time::UNIX_EPOCH + Duration::from_secs(seconds);
        fs::File::options().write(true).open(path).unwrap().set_modified(at).unwrap();
    }

    const LATER: Stamp = Stamp::from_micros(2_000_000_000_000_000);

    #[test]
    fn only_what_stayed_as_it_is_is_complete_and_the_oldest_comes_first() {
        let dir = tempfile::tempdir().unwrap();
        let (dir, settings) = (dir.path(), settings(dir.path()));
        let mut watched = Watched::default();
        dated(dir.join("b.csv"), 1_000);
        dated(dir.join("a.csv"), 2_000);
        dated(dir.join("c.csv"), 500);
        for unfinished in [".hidden.csv", "d.csv.part", "e.TMP", "~$f.xlsx"] {
            dated(dir.join(unfinished), 1);
        }
        fs::create_dir(dir.join("done")).unwrap();
        assert_eq!(names(watched.scan(&settings, LATER).unwrap()), [""; 0]);
        fs::write(dir.join("c.csv"), "more of it").unwrap();
        assert_eq!(names(watched.scan(&settings, LATER).unwrap()), ["b.csv", "a.csv"]);
        assert_eq!(names(watched.scan(&settings, LATER).unwrap()), ["b.csv", "a.csv", "c.csv"]);
    }

    #[test]
    fn a_young_file_waits() {
        let dir = tempfile::tempdir().unwrap();
        dated(dir.path().join("a.csv"), 1_000);
        let (settings, mut watched) = (settings(dir.path()), Watched::default());
        let young = Stamp::from_micros(1_010_000_000);
        for now in [young, young, LATER] {
            assert_eq!(watched.scan(&settings, now).unwrap().len(), usize::from(now == LATER));
        }
    }

    /// Runs the loop until `take` has been asked `times` times.
    fn run(path: &Path, times: usize, mut take: impl FnMut(usize, &Path) -> Verdict) -> Standing {
        let folder = Folder {
            settings: settings(path),
            clock: Arc::new(Fixed(LATER)),
            stop: Stop::default(),
            standing: Arc::new(Standing::new("folder", "exports".into())),
        };
        let mut asked = 0;
        folder.run(&mut |file| {
            asked += 1;
            if asked == times {
                folder.stop.set();
            }
            take(asked, file)
        });
        Arc::into_inner(folder.standing).unwrap()
    }

    #[test]
    fn a_file_that_changed_while_it_was_read_is_read_again() {
        let dir = tempfile::tempdir().unwrap();
        dated(dir.path().join("a.csv"), 1_000);
        let standing = run(dir.path(), 2, |asked, file| {
            if asked == 1 {
                dated(file.into(), 1_001);
            }
            Verdict::Done
        });
        assert_eq!(standing.tally.files.get(), 1);
        assert!(dir.path().join("done/a.csv").exists());
    }

    #[test]
    fn a_file_that_has_to_wait_does_not_hold_up_the_others() {
        let dir = tempfile::tempdir().unwrap();
        dated(dir.path().join("a.csv"), 1_000);
        dated(dir.path().join("b.csv"), 2_000);
        let standing = run(dir.path(), 3, |asked, _| match asked {
            1 => Verdict::Later("not readable".into()),
            2 => Verdict::Refused("a photograph".into()),
            _ => Verdict::Busy("the disk is full".into()),
        });
        assert!(dir.path().join("a.csv").exists());
        assert!(dir.path().join("refused/b.csv.reason.txt").exists());
        assert_eq!(standing.reading.trouble().as_deref(), Some("the disk is full"));
    }

    #[test]
    fn a_folder_may_vanish_and_return() {
        let dir = tempfile::tempdir().unwrap();
        let (share, away) = (dir.path().join("share"), dir.path().join("away"));
        fs::create_dir(&share).unwrap();
        dated(share.join("a.csv"), 1_000);
        let standing = run(&share, 3, |asked, _| {
            match asked {
                // Gone between the look and the reading.
                1 => fs::rename(&share, &away).unwrap(),
                2 => dated(share.join("b.csv"), 2_000),
                _ => {}
            }
            if asked == 1 {
                let (share, away) = (share.clone(), away.clone());
                std::thread::spawn(move || {
                    std::thread::sleep(Duration::from_millis(50));
                    fs::rename(away, share).unwrap();
                });
            }
            Verdict::Done
        });
        assert_eq!(standing.tally.files.get(), 2);
        assert_eq!(standing.reading.trouble(), None);
    }
}
