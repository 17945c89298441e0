//! The store in memory: the oracle of the suite and a quick stand-in for tests. Plain on purpose:
//! lists that are walked from end to end.

mod changes;
mod outbox;
mod reader;
mod writer;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::episodes::Episode;
use super::{
    Batch, Change, FindingAct, Posted, RecordPlace, Recorded, RejectItem, Source, Stored, When,
};
use crate::model::{
    Asset, AssetClass, AssetId, CorrectionKind, Finding, Mark, Reading, ReadingId, Stamp, Text,
    as_meant,
};

/// A store in memory. Clones share it: one writes, the others read.
#[derive(Clone, Debug, Default)]
pub struct MemoryStore {
    state: Arc<Mutex<State>>,
}

impl MemoryStore {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[derive(Clone, Debug, Default)]
struct State {
    batches: Vec<Batch>,
    readings: Vec<Row>,
    /// Readings that were thinned out: their temperatures are still known.
    thinned: Vec<Reading>,
    rejects: Vec<Reject>,
    lines: BTreeMap<(u64, u64), Vec<u8>>,
    /// Register rows and corrections as they were recorded, assets as first met among them.
    changes: Vec<Recorded<Change>>,
    /// Which of them an import made.
    first_met: BTreeSet<usize>,
    findings: BTreeMap<i64, History>,
    /// By asset: from when, and under which mark.
    pending: BTreeMap<AssetId, (Stamp, u64)>,
    last_mark: u64,
    messages: Vec<Posted>,
}

/// A reading with what only the store knows of it.
#[derive(Clone, Debug)]
struct Row {
    stored: Stored,
    /// In the tray: what was written for asset and phase, and why it is there.
    written: Option<(Text, Text, Text)>,
    /// Among equal readings of coarse times.
    nth: u32,
}

#[derive(Clone, Debug)]
struct Reject {
    batch: u64,
    place: RecordPlace,
    item: RejectItem,
    settled_by: Option<u64>,
}

/// A finding with everything that was ever said about it.
#[derive(Clone, Debug, Default)]
struct History {
    versions: Vec<(Stamp, Finding, bool)>,
    /// With a running number over all findings.
    acts: Vec<(usize, Recorded<FindingAct>)>,
}

impl History {
    fn at(&self, known_at: Stamp) -> Option<Episode> {
        let mut latest = self.versions.iter().rev();
        let (_, finding, stands) = latest.find(|(recorded_at, ..)| *recorded_at <= known_at)?;
        let answered = self.acts_at(known_at).next().is_some();
        Some(Episode { finding: finding.clone(), stands: *stands, answered })
    }

    fn shown(&self, when: When) -> Option<Finding> {
        let last_act = self.acts_at(when.known_at).last().map(|(_, row)| row.value.act);
        self.at(when.known_at)?.shown(when.as_of, last_act)
    }

    fn acts_at(&self, known_at: Stamp) -> impl Iterator<Item = &(usize, Recorded<FindingAct>)> {
        self.acts.iter().filter(move |(_, row)| row.mark.recorded_at <= known_at)
    }
}

impl State {
    fn source(&self, batch: u64) -> &Source {
        &self.batches[batch as usize - 1].source
    }

    fn add_batch(&mut self, now: Stamp, source: Source) -> u64 {
        let number = self.batches.len() as u64 + 1;
        self.batches.push(Batch { number, received_at: now, source });
        number
    }

    fn row(&self, id: ReadingId) -> Option<&Row> {
        self.readings.iter().find(|row| row.stored.id == id)
    }

    /// The changes that `pick` picks, as they were known.
    fn known<T>(
        &self,
        known_at: Stamp,
        pick: impl Fn(&Change) -> Option<T>,
    ) -> impl Iterator<Item = (T, Mark)> {
        self.changes
            .iter()
            .filter(move |row| row.mark.recorded_at <= known_at)
            .filter_map(move |row| pick(&row.value).map(|value| (value, row.mark.clone())))
    }

    /// One asset in its own words.
    fn asset(&self, id: &AssetId, when: When) -> Option<Asset> {
        self.known(when.known_at, |change| match change {
            Change::Asset(asset) if asset.id == *id => Some(asset.clone()),
            _ => None,
        })
        .last()
        .map(|(asset, _)| asset)
    }

    fn classes(&self, when: When) -> Vec<Recorded<AssetClass>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Class(class) => Some(class.clone()),
            _ => None,
        });
        let last: BTreeMap<Text, _> =
            all.map(|(value, mark)| (value.name.clone(), Recorded { value, mark })).collect();
        last.into_values().collect()
    }

    /// All assets in their own words, by id.
    fn registered(&self, when: When) -> Vec<Asset> {
        let all = self.known(when.known_at, |change| match change {
            Change::Asset(asset) => Some(asset.clone()),
            _ => None,
        });
        let last: BTreeMap<AssetId, _> = all.map(|(asset, _)| (asset.id.clone(), asset)).collect();
        last.into_values().collect()
    }

    /// An asset with what its class says where it is silent.
    fn meant(&self, asset: Asset, when: When) -> Asset {
        let classes = self.classes(when);
        as_meant(asset, |name| classes.iter().map(|row| &row.value).find(|c| c.name == name))
    }

    /// Where a reading was taken in; none for the tray.
    fn home<'a>(&self, row: &'a Row) -> Option<&'a AssetId> {
        (!row.stored.in_tray).then_some(&row.stored.reading.series.asset)
    }

    /// The assets a reading was moved to.
    fn targets(&self, id: ReadingId, known_at: Stamp) -> Vec<AssetId> {
        self.known(known_at, |change| match change {
            Change::Correction(c) if c.reading == id => match &c.kind {
                CorrectionKind::Move { asset, .. } => Some(asset.clone()),
                _ => None,
            },
            _ => None,
        })
        .map(|(asset, _)| asset)
        .collect()
    }

    /// Every use of a tester: asset and time, where the reading was taken in and wherever it was
    /// moved to.
    fn uses(&self, tester: &str) -> Vec<(AssetId, Stamp)> {
        let mut uses = Vec::new();
        for row in &self.readings {
            let reading = &row.stored.reading;
            if reading.tester != tester || tester.is_empty() {
                continue;
            }
            let moved = self.targets(row.stored.id, Stamp::MAX);
            let places = self.home(row).cloned().into_iter().chain(moved);
            uses.extend(places.map(|asset| (asset, reading.taken_at)));
        }
        uses
    }
}
