//! Packs the parcels of a delivery into runs, on the caller's thread and without the database:
//! series, testers and notes get numbers of the run, which the writer translates once per run.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rustc_hash::FxHashMap;

use super::row::{Context, Home, Note, Packed};
use super::run::{Part, Run};
use super::spool::Spool;
use crate::model::{Asset, AssetId, Reading, Series, Text};
use crate::store::{Entry, Parcel, RecordPlace, Result, StoreError, same};

/// Bytes of packed readings in memory until they are written or spooled; twice that while a run is
/// being written.
pub(super) const PART_BYTES: usize = 24 * 1024 * 1024;

/// Parts that one run has at most: some four million readings in one transaction.
const PARTS: usize = 8;

/// Rows up to which the buffer of a part grows by doubling.
const GROWN: usize = 1 << 15;

/// Fills runs from parcels.
#[derive(Debug)]
pub(super) struct Packer {
    data: PathBuf,
    most: usize,
    run: Run,
    /// By address: each is that of an `Arc` held in `run.homes`, and is only compared.
    known: FxHashMap<usize, u32>,
    homes: FxHashMap<Home, u32>,
    contexts: FxHashMap<Context, u32>,
    last: Option<(usize, u32)>,
    /// Bytes that all but the rows take, roughly.
    heavy: usize,
}

impl Packer {
    /// For runs whose parts take about `most` bytes.
    pub(super) fn new(data: &Path, most: usize) -> Self {
        Packer {
            data: data.to_owned(),
            most,
            run: Run::default(),
            known: FxHashMap::default(),
            homes: FxHashMap::default(),
            contexts: FxHashMap::default(),
            last: None,
            heavy: 0,
        }
    }

    /// Packs parcels until a part is full; false when there are no more.
    pub(super) fn fill(&mut self, parcels: &mut dyn Iterator<Item = Parcel>) -> Result<bool> {
        while self.run.part.bytes() + self.heavy < self.most {
            match parcels.next() {
                Some(parcel) => self.push(parcel)?,
                None => return Ok(false),
            }
        }
        Ok(true)
    }

    /// Whether the run has to be written before more is packed.
    pub(super) fn must_go(&self) -> bool {
        let parts = self.run.spool.as_ref().map_or(0, Spool::parts);
        parts >= PARTS || 2 * self.heavy > self.most || !self.run.lines.is_empty()
    }

    /// Puts the part aside on the disk, to go on packing the same run.
    pub(super) fn spill(&mut self) -> Result<()> {
        let run = &mut self.run;
        let ends = run.part.sort(run.homes.len());
        let spool = match &mut run.spool {
            Some(spool) => spool,
            none => none.insert(Spool::new(&self.data)?),
        };
        spool.add(ends, run.part.in_order())?;
        run.part.clear();
        Ok(())
    }

    /// Hands out the run, ordered, and starts a new one.
    pub(super) fn take(&mut self, first_met: &dyn Fn(AssetId) -> Asset) -> Run {
        let mut run = std::mem::take(&mut self.run);
        self.known.clear();
        self.homes.clear();
        self.contexts.clear();
        self.last = None;
        self.heavy = 0;
        run.part.sort(run.homes.len());
        let homes = run.homes.iter().filter(|home| home.written.is_none());
        let mut ids: Vec<_> = homes.map(|home| &home.series.asset).collect();
        ids.sort_unstable();
        ids.dedup();
        run.assets = ids.into_iter().map(|id| first_met(id.clone())).collect();
        run
    }

    /// Packs on in the buffers of a part that is done with, unless packing has begun.
    pub(super) fn reuse(&mut self, mut spare: Part) {
        if self.run.is_empty() {
            spare.clear();
            self.run.part = spare;
        }
    }
    /// Takes over the entries of a parcel.
    fn push(&mut self, parcel: Parcel) -> Result<()> {
        let mut lines = parcel.lines.into_iter();
        for (place, entry) in parcel.entries {
            if place.record > RecordPlace::LAST_RECORD {
                let most = RecordPlace::LAST_RECORD;
                let found = place.record;
                return Err(StoreError::Other(format!(
                    "expected record numbers up to {most}, found {found} (start a new connection)"
                )));
            }
            if let Some(line) = lines.next() {
                self.heavy += line.len() + 48;
                self.run.lines.insert(place.record, line);
            }
            match entry {
                Entry::Reading(reading) => {
                    let home = self.home(&reading.series);
                    self.row(place, &reading, home, Text::default());
                }
                Entry::Tray(item) => {
                    let series = Arc::new(same::tray_series(&item.reading.series));
                    let written = Some((item.written_asset, item.written_phase));
                    let home = self.home_number(Home { series, written });
                    self.row(place, &item.reading, home, item.reason);
                }
                Entry::Reject(item) => {
                    self.heavy += item.bytes.len() + item.reason.len() + 128;
                    self.run.rejects.push((place, item));
                }
                Entry::Aside => self.run.asides.push(place.record),
            }
        }
        Ok(())
    }

    fn home(&mut self, series: &Arc<Series>) -> u32 {
        let pointer = Arc::as_ptr(series).addr();
        if let Some((last, number)) = self.last
            && last == pointer
        {
            return number;
        }
        let number = match self.known.get(&pointer) {
            Some(&number) => number,
            None => {
                let before = self.run.homes.len();
                let number = self.home_number(Home { series: series.clone(), written: None });
                if self.run.homes.len() == before {
                    return number; // Equal to a known one, and its own pointer isn't held.
                }
                self.known.insert(pointer, number);
                number
            }
        };
        self.last = Some((pointer, number));
        number
    }

    fn home_number(&mut self, home: Home) -> u32 {
        number(&mut self.homes, &mut self.run.homes, &home, &mut self.heavy)
    }

    fn row(&mut self, place: RecordPlace, reading: &Reading, home: u32, reason: Text) {
        let context = self.context(reading, reason);
        let Part { rows, exact, .. } = &mut self.run.part;
        if rows.len() == GROWN && rows.capacity() == GROWN {
            // One step to the full size: doubling would take half as much again for nothing.
            rows.reserve_exact((self.most / size_of::<Packed>()).saturating_sub(GROWN));
        }
        rows.push(Packed::new(place, reading, (home, context), exact));
    }

    /// The number of a context in this run. The last one is looked at first: neighbours are alike.
    fn context(&mut self, reading: &Reading, reason: Text) -> u32 {
        if let Some(row) = self.run.part.rows.last() {
            let Context { tester, note } = &self.run.contexts[row.words.context()];
            if *tester == reading.tester
                && note.operator == reading.operator
                && note.station == reading.station
                && note.remark == reading.remark
                && note.reason == reason
            {
                return row.words.context() as u32;
            }
        }
        let note = Note {
            operator: reading.operator.clone(),
            station: reading.station.clone(),
            remark: reading.remark.clone(),
            reason,
        };
        let context = Context { tester: reading.tester.clone(), note };
        number(&mut self.contexts, &mut self.run.contexts, &context, &mut self.heavy)
    }
}

/// The number of a value in this run.
fn number<T: Clone + Eq + std::hash::Hash>(
    map: &mut FxHashMap<T, u32>,
    list: &mut Vec<T>,
    value: &T,
    heavy: &mut usize,
) -> u32 {
    if let Some(&number) = map.get(value) {
        return number;
    }
    let number = list.len() as u32;
    list.push(value.clone());
    map.insert(value.clone(), number);
    *heavy += 3 * size_of::<T>();
    number
}
