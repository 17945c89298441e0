//! What happens while the service runs, for those who listen: new readings, findings, sources.
//!
//! A bounded ring holds the last items; each listener walks along it at its own pace. One that is
//! too slow, or comes back too late, is told how much it missed.

use std::collections::{HashMap, VecDeque};
use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;
use tokio::sync::{Semaphore, watch};
use utoipa::ToSchema;

use super::shared::Roster;
use super::standing::SourceOut;
use crate::dossier::{ReadingStatement, SourceNames, row};
use crate::limits;
use crate::model::{AssetId, Finding, FindingState, Stamp};
use crate::store::sqlite::{SqliteReader, SqliteStore};
use crate::store::{Reader, Result, When};
use crate::watch::{Onlooker, Seen};

/// One thing that happened.
#[derive(Debug)]
pub(super) struct Item {
    /// Counted from 1 since the start.
    pub(super) number: u64,
    /// `readings`, `finding` or `source`.
    pub(super) kind: &'static str,
    /// The asset it is about; none for a source.
    pub(super) asset: Option<String>,
    /// The event's data, as JSON.
    pub(super) data: String,
}

/// What a listener gets next.
#[derive(Debug, Default)]
pub(super) struct Next {
    /// Items that are gone before they could be told.
    pub(super) missed: u64,
    /// Those that are there.
    pub(super) items: Vec<Arc<Item>>,
}

/// The news of one run of the service.
pub struct News {
    /// When it started: part of every event's id, so that ids of another run are known as such.
    pub(super) run: Stamp,
    ring: Mutex<Ring>,
    /// The number of the newest item; none once the service ends.
    newest: watch::Sender<Option<u64>>,
    /// Turns of listeners.
    pub(super) listeners: Arc<Semaphore>,
    store: SqliteStore,
    known: Mutex<Known>,
    /// State and trouble of each source as last told.
    sources: Mutex<HashMap<String, (&'static str, Vec<String>)>>,
}

/// The last items, and how many there were in all.
#[derive(Default)]
struct Ring {
    told: u64,
    items: VecDeque<Arc<Item>>,
}

/// What was told before, to tell what is new.
#[derive(Default)]
struct Known {
    reader: Option<SqliteReader>,
    readings: HashMap<AssetId, usize>,
    findings: HashMap<AssetId, Vec<Finding>>,
}

/// Readings of an asset that are new.
#[derive(Serialize, ToSchema)]
pub(super) struct ReadingsNews {
    /// The asset.
    asset: String,
    /// How many readings it has now.
    readings: usize,
    /// The one that came last.
    latest: Option<ReadingStatement>,
}

impl News {
    /// Nothing has happened yet in a run that starts at `run`.
    ///
    /// # Errors
    /// When the findings that stand cannot be read.
    pub fn new(run: Stamp, store: SqliteStore) -> Result<Self> {
        let mut known = Known::default();
        for finding in store.reader()?.findings(None, When::ALWAYS)? {
            known.findings.entry(finding.asset.clone()).or_default().push(finding);
        }
        Ok(News {
            run,
            ring: Mutex::default(),
            newest: watch::Sender::new(Some(0)),
            listeners: Arc::new(Semaphore::new(limits::LISTENERS)),
            store,
            known: Mutex::new(known),
            sources: Mutex::default(),
        })
    }

    /// Ends every stream.
    pub fn end(&self) {
        self.newest.send_replace(None);
    }

    /// To wait for what comes: the number of the newest item, none at the end.
    pub(super) fn newest(&self) -> watch::Receiver<Option<u64>> {
        self.newest.subscribe()
    }

    /// Waits until the service ends.
    pub(super) async fn ended(&self) {
        // An error means that the news themselves are gone: that is an end too.
        self.newest.subscribe().wait_for(Option::is_none).await.map(drop).unwrap_or_default();
    }

    /// What came after an item.
    pub(super) fn after(&self, number: u64) -> Next {
        let ring = self.ring.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(oldest) = ring.items.front().map(|item| item.number) else {
            return Next::default();
        };
        let items = ring.items.iter().filter(|item| item.number > number).cloned().collect();
        Next { missed: oldest.saturating_sub(number + 1), items }
    }

    fn tell(&self, kind: &'static str, asset: Option<String>, data: &impl Serialize) {
        let Ok(data) = serde_json::to_string(data) else { return };
        let mut ring = self.ring.lock().unwrap_or_else(PoisonError::into_inner);
        ring.told += 1;
        let number = ring.told;
        if ring.items.len() == limits::NEWS {
            ring.items.pop_front();
        }
        ring.items.push_back(Arc::new(Item { number, kind, asset, data }));
        // After the end nobody is woken again.
        self.newest.send_if_modified(|newest| {
            let running = newest.is_some();
            *newest = newest.map(|_| number);
            running
        });
    }

    /// Tells what changed about sources since the last look.
    pub fn look(&self, roster: &Roster) {
        let mut known = self.sources.lock().unwrap_or_else(PoisonError::into_inner);
        for source in roster.all() {
            let out = SourceOut::of(&source);
            let now = (out.state, out.trouble.clone());
            let before = known.insert(out.name.clone(), now.clone());
            if before.is_some_and(|before| before != now) {
                self.tell("source", None, &out);
            }
        }
    }

    /// Tells what is new about an asset, or about what findings call a tester or a day.
    fn compare(&self, known: &mut Known, seen: &Seen) -> Result<()> {
        if known.reader.is_none() {
            known.reader = Some(self.store.reader()?);
        }
        let Known { reader: Some(reader), readings, findings, .. } = known else { return Ok(()) };
        let id = seen.asset.to_string();
        if let Some((count, newest)) = &seen.readings {
            let before = readings.insert(seen.asset.clone(), *count);
            let is_news = match before {
                Some(before) => before != *count,
                None => newest.as_ref().is_some_and(|entry| entry.recorded_at >= self.run),
            };
            if is_news {
                let mut names = SourceNames::new(reader);
                let latest: Option<Result<_>> = newest.as_ref().map(|entry| {
                    let from = names.of(entry.judged.corrected.id.batch)?;
                    Ok(ReadingStatement::of(entry, from))
                });
                let latest = latest.transpose()?;
                let news = ReadingsNews { asset: id.clone(), readings: *count, latest };
                self.tell("readings", Some(id.clone()), &news);
            }
        }
        let now = reader.findings(Some(&seen.asset), When::ALWAYS)?;
        let before = findings.insert(seen.asset.clone(), now.clone()).unwrap_or_default();
        for finding in now.iter().filter(|f| !before.contains(f)) {
            // What ended before it was ever seen to stand is history, not news.
            let same = |old: &Finding| {
                (old.kind, &old.phase, old.since) == (finding.kind, &finding.phase, finding.since)
            };
            let stands = matches!(finding.state, FindingState::Open | FindingState::Acknowledged);
            if stands || before.iter().any(same) {
                self.tell("finding", Some(id.clone()), &row(finding.clone()));
            }
        }
        Ok(())
    }
}

impl Onlooker for News {
    fn settled(&self, seen: &Seen) {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Err(e) = self.compare(&mut known, seen) {
            known.reader = None;
            tracing::debug!(asset = %seen.asset, "listeners were not told: {e}");
        }
    }
}
