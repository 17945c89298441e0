//! What all parts of the running daemon work with.

use std::sync::atomic::AtomicU64;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Instant;

use ohmward_parsers::Profiles;

use super::news::News;
use crate::bench::Stations;
use crate::clock::Clock;
use crate::dossier::Settings;
use crate::intake::RegisterWatch;
use crate::model::AssetClass;
use crate::sources::{Health, Standing};
use crate::store::sqlite::{SqliteStore, WriterHandle};
use crate::watch::{Backlog, Wake, messages};

/// One for the life of the daemon.
pub struct Shared {
    /// The store.
    pub store: SqliteStore,
    /// Its one writer.
    pub writer: WriterHandle,
    /// The profiles compiled in, for bodies of requests.
    pub profiles: Profiles,
    /// Those and the data folder's own, as last read: for what is read again.
    pub all_profiles: RwLock<Arc<Profiles>>,
    /// How assets are assessed; may change while the daemon runs.
    pub assess: Arc<RwLock<Settings>>,
    /// What an asset first met becomes.
    pub class: AssetClass,
    /// Aliases and testers as they are now.
    pub registers: RegisterWatch,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// Told after each commit.
    pub wake: Wake,
    /// The bench stations with their run sheets.
    pub bench: Stations,
    /// Every source as it stands.
    pub roster: Roster,
    /// The writer as it stands.
    pub writing: Arc<Health>,
    /// The watch as it stands.
    pub watching: Arc<Health>,
    /// Assets assessed since the start.
    pub assessed: Arc<AtomicU64>,
    /// Assets that wait to be assessed.
    pub backlog: Arc<Backlog>,
    /// What happens, for those who listen.
    pub news: Arc<News>,
    /// Messages to people as they stand.
    pub messages: Arc<messages::Standing>,
    /// When the daemon started, by a clock that is never set.
    pub started: Instant,
}

impl Shared {
    /// How assets are assessed now.
    pub fn settings(&self) -> Settings {
        self.assess.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Every profile there is now.
    pub fn every_profile(&self) -> Arc<Profiles> {
        Arc::clone(&self.all_profiles.read().unwrap_or_else(PoisonError::into_inner))
    }
}

/// The sources that are running; they may come and go.
#[derive(Debug, Default)]
pub struct Roster(RwLock<Vec<Arc<Standing>>>);

impl Roster {
    /// All of them.
    pub fn all(&self) -> Vec<Arc<Standing>> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// One more.
    pub fn add(&self, standing: Arc<Standing>) {
        self.0.write().unwrap_or_else(PoisonError::into_inner).push(standing);
    }

    /// One less.
    pub fn remove(&self, standing: &Arc<Standing>) {
        let mut all = self.0.write().unwrap_or_else(PoisonError::into_inner);
        all.retain(|other| !Arc::ptr_eq(other, standing));
    }
}
