//! The daemon's side of scheduled reports: makes each when its time has come.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::{Duration, Instant};

use crate::model::Text;
use crate::report::{Schedule, ScheduleError};
use crate::sources::Stop;
use crate::store::Reader;
use crate::web::Shared;

/// How often the calendar is looked at.
const LOOK: Duration = Duration::from_secs(1);

/// How long a report waits for assets that are still to be assessed; then it says so and is made.
const PATIENCE: Duration = Duration::from_secs(10 * 60);

/// Wait after a report that failed.
const AGAIN: Duration = Duration::from_secs(10 * 60);

/// Makes scheduled reports.
pub(super) struct Clerk {
    pub(super) shared: Arc<Shared>,
    pub(super) data: PathBuf,
    pub(super) schedules: Arc<RwLock<Vec<Schedule>>>,
    pub(super) stop: Stop,
}

/// Since when a report is due but waits, and from when on it may be tried.
#[derive(Clone, Copy, Debug)]
struct Waiting {
    since: Instant,
    not_before: Instant,
}

impl Clerk {
    /// Looks at the calendar until it is time to end.
    pub(super) fn run(&mut self) {
        let mut waiting: HashMap<Text, Waiting> = HashMap::new();
        while !self.stop.wait(LOOK) {
            let all = self.schedules.read().unwrap_or_else(PoisonError::into_inner).clone();
            waiting.retain(|name, _| all.iter().any(|s| s.name == *name));
            for schedule in all {
                self.look_at(&schedule, &mut waiting);
            }
        }
    }

    fn look_at(&self, schedule: &Schedule, waiting: &mut HashMap<Text, Waiting>) {
        let now = self.shared.clock.now();
        let Some(period) = schedule.period(now) else { return };
        if schedule.is_made(&self.data, &period) {
            waiting.remove(&schedule.name);
            return;
        }
        let at = Instant::now();
        let since =
            *waiting.entry(schedule.name.clone()).or_insert(Waiting { since: at, not_before: at });
        if at < since.not_before {
            return;
        }
        match self.make(schedule, &period, at - since.since >= PATIENCE) {
            Ok(Some(path)) => {
                tracing::info!("report `{}`: {} is written", schedule.name, path.display());
                waiting.remove(&schedule.name);
            }
            Ok(None) => {}
            Err(e) => {
                tracing::error!("report `{}` is tried again in 10 minutes: {e}", schedule.name);
                let wait = Waiting { not_before: at + AGAIN, ..since };
                waiting.insert(schedule.name.clone(), wait);
            }
        }
    }

    /// None while assets wait to be assessed and there is patience left.
    fn make(
        &self,
        schedule: &Schedule,
        period: &str,
        impatient: bool,
    ) -> Result<Option<PathBuf>, ScheduleError> {
        let reader = self.shared.store.reader()?;
        if !impatient && !reader.pending()?.is_empty() {
            return Ok(None);
        }
        let settings = self.shared.settings();
        let now = self.shared.clock.now();
        schedule.make(&reader, &settings, &self.data, period, now).map(Some)
    }
}
