//! Where a command works: the data folder, its store, what time it is, how to print.

use std::path::{Path, PathBuf};

use indicatif::{ProgressBar, ProgressStyle};
use ohmward_parsers::Profiles;

use super::args::Global;
use super::near::nearest;
use super::output::Format;
use super::{Exit, Failure, chain, note};
use crate::clock::{Clock, WallClock};
use crate::config::Config;
use crate::model::{Asset, AssetId, Stamp};
use crate::registry::{place_waiting, record};
use crate::store::sqlite::{FILE, SqliteReader, SqliteStore, SqliteWriter};
use crate::store::{Change, KeptFiles, Reader, When};
use crate::watch;

/// Assets that a command assesses itself before it ends; more are left to the next question or to
/// the daemon, so that a large import does not look as if it hung.
const ASSESS_AT_ONCE: usize = 500;

/// The place of one command.
pub(crate) struct Place {
    pub(crate) dir: PathBuf,
    pub(crate) when: When,
    pub(crate) format: Format,
    pub(crate) now: Stamp,
    pub(crate) config: Config,
    open: Option<Open>,
}

/// A store that is open for reading and writing.
pub(crate) struct Open {
    store: SqliteStore,
    pub(crate) reader: SqliteReader,
    pub(crate) writer: SqliteWriter,
}

impl Place {
    pub(crate) fn new(global: &Global) -> Result<Self, Failure> {
        let mut place = Place::unconfigured(global)?;
        place.config = match &global.config {
            Some(path) => Config::load(path, true)?,
            None => Config::load(&place.dir.join("config.toml"), false)?,
        };
        Ok(place)
    }

    /// The place with the configuration as it is when nothing is written: for `check`, which tells
    /// what is wrong with the one that is.
    pub(crate) fn unconfigured(global: &Global) -> Result<Self, Failure> {
        let dir = match &global.data {
            Some(dir) => dir.clone(),
            None => default_dir()?,
        };
        if dir.is_file() {
            return Err(Failure::Failed(format!(
                "cannot use the store at `{}`: it is a file (name its folder with `--data`)",
                dir.display()
            )));
        }
        let when = When {
            as_of: global.as_of.unwrap_or(Stamp::MAX),
            known_at: global.known_at.unwrap_or(Stamp::MAX),
        };
        let (now, config) = (WallClock.now(), Config::default());
        Ok(Place { dir, when, format: global.format, now, config, open: None })
    }

    /// Whether a past state is asked for, which stored findings cannot answer.
    pub(crate) fn is_past(&self) -> bool {
        self.when != When::ALWAYS
    }

    /// Whether there is a store.
    pub(crate) fn has_store(&self) -> bool {
        self.dir.join(FILE).is_file()
    }

    /// The store for a question; there must be one.
    pub(crate) fn reader(&self) -> Result<SqliteReader, Failure> {
        Ok(SqliteStore::existing(&self.dir)?.reader()?)
    }

    /// The store for a change; it is made if need be.
    pub(crate) fn writing(&mut self) -> Result<&mut Open, Failure> {
        if self.open.is_none() {
            let store = SqliteStore::open(&self.dir)?;
            let (writer, reader) = (store.writer()?, store.reader()?);
            self.open = Some(Open { store, reader, writer });
        }
        self.open.as_mut().ok_or_else(|| Failure::Failed("the store is not open".into()))
    }

    /// The files that are kept beside the store.
    pub(crate) fn kept(&self) -> KeptFiles {
        KeptFiles::in_data(&self.dir)
    }

    /// The profiles: built-in ones, and those in the data folder's `profiles`.
    pub(crate) fn profiles(&self) -> Result<Profiles, Failure> {
        let mut profiles = Profiles::builtin()?;
        match self.load_profiles(&mut profiles).into_iter().next() {
            None => Ok(profiles),
            Some((path, problem)) => {
                Err(Failure::Failed(format!("`{}`: {problem}", path.display())))
            }
        }
    }

    /// Adds the folder's profiles; returns those that cannot be used, and why.
    pub(crate) fn load_profiles(&self, profiles: &mut Profiles) -> Vec<(PathBuf, String)> {
        let problems = crate::config::add_profiles(&self.dir, profiles);
        problems.into_iter().map(|(path, why)| (path, chain(&why))).collect()
    }

    /// The asset of that id, or a failure that helps to find the right one.
    pub(crate) fn known_asset(&self, id: &str) -> Result<Asset, Failure> {
        let reader = self.reader()?;
        let id = AssetId::new(id)?;
        if let Some(asset) = reader.asset(&id, self.when)? {
            return Ok(asset);
        }
        let assets = reader.assets(self.when)?;
        let near = nearest(id.as_str(), assets.iter().map(|asset| asset.id.as_str()));
        let hint = if near.is_empty() {
            "`ohmward asset list` shows all".to_owned()
        } else {
            format!("did you mean {}?", near.join(", "))
        };
        Err(Failure::Failed(format!("there is no asset `{id}` ({hint})")))
    }

    /// The name of the person who makes a change: as given, or the one logged in.
    pub(crate) fn by(&self, given: Option<String>) -> Result<String, Failure> {
        given.or_else(|| std::env::var("USER").ok()).filter(|n| !n.trim().is_empty()).ok_or_else(
            || Failure::Usage("say with --by who makes this change: it is kept with it".into()),
        )
    }

    /// Records changes by a person and assesses what they touch.
    pub(crate) fn record(
        &mut self,
        by: Option<String>,
        changes: &[Change],
    ) -> Result<Exit, Failure> {
        let (by, now) = (self.by(by)?, self.now);
        let open = self.writing()?;
        let changed = record(&open.reader, &mut open.writer, now, &by, changes)?;
        note(if changed.new > 0 { "recorded" } else { "nothing new: that stands already" });
        left_the_tray(changed.placed);
        self.assess_pending()?;
        Ok(Exit::Done)
    }

    /// Takes out of the tray what the aliases now tell.
    pub(crate) fn place_waiting(&mut self, by: &str) -> Result<(), Failure> {
        let now = self.now;
        let open = self.writing()?;
        let placed = place_waiting(&open.reader, &mut open.writer, now, by)?;
        left_the_tray(placed);
        Ok(())
    }

    /// Assesses what waits for it, unless it is so much that the next question had better do it.
    pub(crate) fn assess_pending(&mut self) -> Result<(), Failure> {
        let waiting = self.writing()?.reader.pending()?.len();
        if waiting > ASSESS_AT_ONCE {
            note(format!(
                "{waiting} assets wait to be assessed: `ohmward declining` does it and shows the result"
            ));
            return Ok(());
        }
        self.assess_all_pending()
    }

    /// Finds what was not tested in time by now.
    pub(crate) fn look_at_calendar(&mut self) -> Result<(), Failure> {
        let (settings, now) = (self.config.assess.clone(), self.now);
        let open = self.writing()?;
        watch::calendar(
            &|| open.store.reader(),
            &mut open.writer,
            now,
            &settings,
            &|_: usize, _: usize| (),
        )?;
        Ok(())
    }

    /// Assesses everything that waits for it.
    pub(crate) fn assess_all_pending(&mut self) -> Result<(), Failure> {
        let settings = self.config.assess.clone();
        let now = self.now;
        let bar = bar("assessing", "assets");
        let open = self.writing()?;
        let readers = || open.store.reader();
        watch::drain(&readers, &mut open.writer, now, &settings, &|done, of| {
            bar.set_length(of as u64);
            bar.set_position(done as u64);
        })?;
        bar.finish_and_clear();
        Ok(())
    }
}

fn left_the_tray(placed: usize) {
    if placed > 0 {
        note(format!("{placed} readings left the tray by this alias"));
    }
}

/// The folder where everything is kept unless one is named.
fn default_dir() -> Result<PathBuf, Failure> {
    let var = |name| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    var("STATE_DIRECTORY")
        .or_else(|| var("XDG_DATA_HOME").map(|d| d.join("ohmward")))
        .or_else(|| var("HOME").map(|d| d.join(".local/share/ohmward")))
        .ok_or_else(|| Failure::Usage("say with --data where everything is to be kept".into()))
}

/// A progress bar on standard error; invisible where that is no terminal.
pub(crate) fn bar(doing: &'static str, unit: &'static str) -> ProgressBar {
    let bar = ProgressBar::new(0);
    let template = if unit == "bytes" {
        "{msg} {wide_bar} {bytes}/{total_bytes}, {eta} left"
    } else {
        "{msg} {wide_bar} {pos}/{len}, {eta} left"
    };
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
    bar.set_message(doing);
    bar
}

/// Progress on standard error where nobody knows how much there is.
pub(crate) fn counter(doing: &'static str, unit: &'static str) -> ProgressBar {
    let bar = ProgressBar::no_length();
    if let Ok(style) = ProgressStyle::with_template("{msg} {human_pos} {prefix}, {elapsed}") {
        bar.set_style(style);
    }
    bar.set_message(doing);
    bar.set_prefix(unit);
    bar
}

/// A file or folder name as it is shown.
pub(crate) fn shown(path: &Path) -> String {
    path.display().to_string()
}
