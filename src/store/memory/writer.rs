//! Writing into memory.

use std::collections::{BTreeMap, HashSet};
use std::path::Path;
use std::sync::Arc;

use super::{MemoryStore, Reject, Row, State};
use crate::model::{Asset, AssetId, Finding, Mark, Precision, Reading, ReadingId, Stamp, Text};
use crate::store::episodes::{self, Episode};
use crate::store::same::{self, Origins, Rest, Slot};
use crate::store::{
    Change, Entry, Message, Parcel, PendingMark, Receipt, RecordPlace, Recorded, RejectItem,
    Result, Source, StoreError, Stored, Turn, When, Writer,
};

/// A delivery on its way in.
struct Delivery<'a> {
    now: Stamp,
    source: &'a Source,
    /// The number its batch has, once something new was in it.
    batch: u64,
    receipt: Receipt,
    /// Readings of other deliveries that this one's coarse readings were found equal to.
    claimed: HashSet<ReadingId>,
    rejects: Vec<(RecordPlace, RejectItem)>,
    touched: BTreeMap<AssetId, Stamp>,
}

type Written = Option<(Text, Text, Text)>;

/// The natural key: readings equal in it are one, unless they come from one delivery with coarse
/// times.
fn same_key(a: (&Reading, &Written), b: (&Reading, &Written)) -> bool {
    let texts = |w: &Written| w.as_ref().map(|(asset, phase, _)| (asset.clone(), phase.clone()));
    a.0.series == b.0.series
        && texts(a.1) == texts(b.1)
        && a.0.taken_at == b.0.taken_at
        && a.0.tester == b.0.tester
        && a.0.bound == b.0.bound
        && a.0.ohms == b.0.ohms
        && a.0.duration_s == b.0.duration_s
}

impl State {
    fn take_in(
        &mut self,
        to: &mut Delivery<'_>,
        place: RecordPlace,
        reading: Reading,
        written: Written,
        line: Option<&Vec<u8>>,
    ) -> Result<()> {
        let coarse = reading.precision != Precision::Fine;
        let mut differs = None;
        let mut nth = 0;
        for row in &self.readings {
            let old = &row.stored;
            if !same_key((&reading, &written), (&old.reading, &row.written)) {
                continue;
            }
            nth += 1;
            if coarse && to.claimed.contains(&old.id) {
                continue;
            }
            let one_call = old.id.batch == to.batch;
            let source = if one_call { to.source } else { self.source(old.id.batch) };
            let old_place = RecordPlace { record: old.id.record, part: old.id.part };
            let origins = Origins::of((to.source, place), (source, old_place), one_call);
            let differences = || Ok(Rest::of(&reading).differences(&Rest::of(&old.reading)));
            match origins.judge(reading.precision, differences)? {
                Slot::Apart => {}
                Slot::Duplicate { same_record } => {
                    if coarse && !same_record {
                        to.claimed.insert(old.id);
                    }
                    to.receipt.duplicate += 1;
                    return Ok(());
                }
                Slot::Differs(fields) => {
                    differs.get_or_insert((old.id, fields));
                }
            }
        }
        if let Some((id, fields)) = differs {
            let bytes = line.cloned().unwrap_or_default();
            to.rejects.push((place, same::conflict(bytes, id, &fields)));
            return Ok(());
        }
        match &written {
            Some(_) => to.receipt.tray += 1,
            None => {
                to.receipt.accepted += 1;
                let first = to.touched.entry(reading.series.asset.clone());
                let first = first.or_insert(reading.taken_at);
                *first = reading.taken_at.min(*first);
            }
        }
        let RecordPlace { record, part } = place;
        if let Some(line) = line {
            self.lines.entry((to.batch, record)).or_insert_with(|| line.clone());
        }
        let id = ReadingId { batch: to.batch, record, part };
        let in_tray = written.is_some();
        let stored = Stored { id, reading, recorded_at: to.now, in_tray };
        self.readings.push(Row { stored, written, nth });
        Ok(())
    }

    fn knows_reject(&self, source: &Source, place: RecordPlace, item: &RejectItem) -> bool {
        self.rejects.iter().filter(|r| r.place == place).any(|old| {
            let from = self.source(old.batch);
            match (&source.file, &from.file) {
                (Some(new), Some(old)) => new.digest == old.digest,
                (None, None) => {
                    let same = |i: &RejectItem| (i.kind.clone(), i.bytes.clone(), i.reason.clone());
                    same::same_name(source, from) && same(item) == same(&old.item)
                }
                _ => false,
            }
        })
    }
}

impl Writer for MemoryStore {
    fn receive_kept(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
        kept: &mut dyn FnMut() -> Result<()>,
    ) -> Result<Receipt> {
        kept()?;
        let mut state = self.state();
        let batch = state.batches.len() as u64 + 1;
        let mut to = Delivery {
            now,
            source,
            batch,
            receipt: Receipt::default(),
            claimed: HashSet::new(),
            rejects: Vec::new(),
            touched: BTreeMap::new(),
        };
        for parcel in parcels {
            for (i, (place, entry)) in parcel.entries.into_iter().enumerate() {
                let line = parcel.lines.get(i);
                match entry {
                    Entry::Reading(reading) => {
                        state.take_in(&mut to, place, reading, None, line)?;
                    }
                    Entry::Tray(item) => {
                        let mut facts = item.reading.into_facts();
                        facts.series = Arc::new(same::tray_series(&facts.series));
                        let reading =
                            Reading::new(facts).map_err(|e| StoreError::Other(e.to_string()))?;
                        let written = (item.written_asset, item.written_phase, item.reason);
                        state.take_in(&mut to, place, reading, Some(written), line)?;
                    }
                    Entry::Reject(item) => to.rejects.push((place, item)),
                    Entry::Aside => {
                        to.receipt.aside += 1;
                        if let Some(line) = line {
                            state.lines.insert((batch, place.record), line.clone());
                        }
                    }
                }
            }
        }
        to.rejects.sort_by_key(|(place, _)| *place);
        to.receipt.rejected = to.rejects.len() as u64;
        to.receipt.first_rejects =
            to.rejects.iter().take(Receipt::FIRST_REJECTS).cloned().collect();
        to.rejects.dedup();
        to.rejects.retain(|(place, item)| !state.knows_reject(source, *place, item));
        let kept = to.receipt.accepted + to.receipt.tray + to.receipt.aside;
        if kept == 0 && to.rejects.is_empty() {
            return Ok(to.receipt);
        }
        to.receipt.batch = Some(state.add_batch(now, source.clone()));
        let rejects = to.rejects.into_iter();
        state.rejects.extend(rejects.map(|(place, item)| Reject {
            batch,
            place,
            item,
            settled_by: None,
        }));
        if !to.touched.is_empty() {
            state.last_mark += 1;
        }
        for (asset, from) in to.touched {
            if state.asset(&asset, When::ALWAYS).is_none() {
                let mark = Mark { recorded_at: now, by: source.name.clone() };
                let value = Change::Asset(first_met(asset.clone()));
                if source.kind != "hand" {
                    let row = state.changes.len();
                    state.first_met.insert(row);
                }
                state.changes.push(Recorded { value, mark });
                to.receipt.new_assets.push(asset.clone());
            }
            state.mark(&asset, from);
        }
        Ok(to.receipt)
    }

    fn record(&mut self, now: Stamp, by: &str, changes: &[Change]) -> Result<u64> {
        let mut state = self.state();
        let mark = Mark { recorded_at: now, by: by.into() };
        // Tried on a copy: all of the changes count, or none.
        let mut next = state.clone();
        next.last_mark += 1;
        let mut new = 0;
        for change in changes {
            new += u64::from(next.change(change, &mark)?);
        }
        if new > 0 {
            let (kind, profile) = ("hand".into(), Text::default());
            next.add_batch(now, Source { kind, name: by.into(), profile, file: None });
            *state = next;
        }
        Ok(new)
    }

    fn settle_rejects(&mut self, numbers: &[u64], batch: u64) -> Result<()> {
        let mut state = self.state();
        for &number in numbers {
            let reject = (number as usize).checked_sub(1).and_then(|i| state.rejects.get_mut(i));
            if let Some(reject) = reject {
                reject.settled_by.get_or_insert(batch);
            }
        }
        Ok(())
    }

    fn settle(
        &mut self,
        now: Stamp,
        asset: &AssetId,
        seen: PendingMark,
        new: &[Finding],
    ) -> Result<()> {
        let mut state = self.state();
        let known: BTreeMap<i64, Episode> = state
            .findings
            .iter()
            .filter_map(|(&no, history)| Some((no, history.at(Stamp::MAX)?)))
            .filter(|(_, episode)| episode.finding.asset == *asset)
            .collect();
        let matches = episodes::match_episodes(&known, new);
        for (episode, matched) in new.iter().zip(&matches) {
            let no = match matched {
                Some(no) if known[no].stands && known[no].says(episode) => continue,
                Some(no) => *no,
                None => state.findings.len() as i64 + 1,
            };
            let history = state.findings.entry(no).or_default();
            history.versions.push((now, episode.clone(), true));
        }
        for (no, old) in &known {
            if old.stands && !matches.contains(&Some(*no)) {
                let history = state.findings.entry(*no).or_default();
                history.versions.push((now, old.finding.clone(), false));
            }
        }
        if state.pending.get(asset).is_some_and(|(_, mark)| *mark <= seen.0) {
            state.pending.remove(asset);
        }
        Ok(())
    }

    fn post(&mut self, now: Stamp, messages: &[Message]) -> Result<u64> {
        Ok(self.state().post(now, messages))
    }

    fn turn(&mut self, now: Stamp, number: u64, turn: &Turn) -> Result<()> {
        self.state().turn(now, number, turn);
        Ok(())
    }

    fn thin(&mut self, readings: &[ReadingId]) -> Result<u64> {
        let mut state = self.state();
        let rows = std::mem::take(&mut state.readings);
        let (gone, rest): (Vec<Row>, Vec<Row>) =
            rows.into_iter().partition(|row| readings.contains(&row.stored.id));
        state.readings = rest;
        for row in &gone {
            let ReadingId { batch, record, .. } = row.stored.id;
            let same = |r: &Row| (r.stored.id.batch, r.stored.id.record) == (batch, record);
            if !state.readings.iter().any(same) {
                state.lines.remove(&(batch, record));
            }
        }
        let count = gone.len() as u64;
        state.thinned.extend(gone.into_iter().map(|row| row.stored.reading));
        Ok(count)
    }

    fn backup(&mut self, path: &Path) -> Result<()> {
        let path = path.display().to_string();
        Err(StoreError::File { path, why: "a store in memory has no file to copy".to_owned() })
    }
}
