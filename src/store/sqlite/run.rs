//! A run: some hundred thousand entries of a delivery, packed and ordered for the clustered key.
//!
//! Packing happens on the caller's thread and knows nothing of the database: series, testers and
//! notes get numbers of the run, which the writer translates once per run.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use super::row::{Column, Context, Home, Note, Row, Short};
use crate::model::{Asset, AssetId, Reading, Series, Text};
use crate::store::{Entry, Parcel, RecordPlace, RejectItem, Result, StoreError, same};

/// Rows of a full run. More in one transaction touch each page of the table less often; at 48 bytes
/// each, twice, this is what the memory allows.
const RUN_ROWS: usize = RUN_BYTES / size_of::<Row>();

/// Bytes of packed readings that are written in one transaction. Two runs are in memory at once:
/// one being packed, one being written.
pub(super) const RUN_BYTES: usize = 36 * 1024 * 1024;

/// Rows up to which the buffer of a run grows by doubling.
const GROWN: usize = 1 << 15;

/// Some entries of a delivery, packed.
#[derive(Debug, Default)]
pub(super) struct Run {
    pub(super) rows: Vec<Row>,
    /// Indices into `rows`: grouped by home, in each by time, then as delivered.
    pub(super) order: Vec<u32>,
    pub(super) homes: Vec<Home>,
    pub(super) contexts: Vec<Context>,
    /// Numbers that are not whole thousandths.
    exact: Vec<f64>,
    pub(super) rejects: Vec<(RecordPlace, RejectItem)>,
    /// Original lines of streams, by record.
    pub(super) lines: FxHashMap<u64, Vec<u8>>,
    /// The assets met in this run as they are to be registered when they are new, by home.
    pub(super) assets: Vec<Asset>,
}

/// Fills runs from parcels.
#[derive(Debug, Default)]
pub(super) struct Packer {
    run: Run,
    known: FxHashMap<usize, u32>,
    homes: FxHashMap<Home, u32>,
    contexts: FxHashMap<Context, u32>,
    last: Option<(usize, u32)>,
    heavy: usize,
}

// The addresses are only compared: each is that of an `Arc` held in `run.homes`.

impl Packer {
    /// Takes over the entries of a parcel.
    pub(super) fn push(&mut self, parcel: Parcel) -> Result<()> {
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
            }
        }
        Ok(())
    }

    /// Bytes that the packed entries take, roughly.
    pub(super) fn bytes(&self) -> usize {
        self.run.rows.len() * size_of::<Row>() + self.run.exact.len() * 8 + self.heavy
    }

    /// Hands out the run, ordered, and starts a new one.
    pub(super) fn take(&mut self, first_met: &dyn Fn(AssetId) -> Asset) -> Run {
        let mut run = std::mem::take(&mut self.run);
        self.known.clear();
        self.homes.clear();
        self.contexts.clear();
        self.last = None;
        self.heavy = 0;
        run.sort();
        let homes = run.homes.iter().filter(|home| home.written.is_none());
        let mut ids: Vec<_> = homes.map(|home| &home.series.asset).collect();
        ids.sort_unstable();
        ids.dedup();
        run.assets = ids.into_iter().map(|id| first_met(id.clone())).collect();
        run
    }

    /// Packs on in the buffers of a run that is done with; nothing may have been packed yet.
    pub(super) fn reuse(&mut self, mut spare: Run) {
        spare.rows.clear();
        spare.order.clear();
        if self.run.is_empty() {
            self.run = Run { rows: spare.rows, order: spare.order, ..Run::default() };
        }
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
        let run = &mut self.run;
        if run.rows.len() == GROWN && run.rows.capacity() == GROWN {
            // One step to the full size: doubling would take half as much again for nothing.
            run.rows.reserve_exact(RUN_ROWS - GROWN);
        }
        let row = Row::new(place, reading, (home, context), &mut run.exact);
        run.rows.push(row);
    }

    /// The number of a context in this run. The last one is looked at first: neighbours are alike.
    fn context(&mut self, reading: &Reading, reason: Text) -> u32 {
        if let Some(row) = self.run.rows.last() {
            let Context { tester, note } = &self.run.contexts[row.context()];
            if *tester == reading.tester
                && note.operator == reading.operator
                && note.station == reading.station
                && note.remark == reading.remark
                && note.reason == reason
            {
                return row.context() as u32;
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

impl Run {
    /// Whether there is nothing in it.
    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty() && self.rejects.is_empty()
    }

    /// Groups the rows by home with one counting pass, then orders each group by time, which most
    /// files are in already.
    fn sort(&mut self) {
        let mut ends = vec![0_u32; self.homes.len() + 1];
        for row in &self.rows {
            ends[row.home as usize + 1] += 1;
        }
        for i in 1..ends.len() {
            ends[i] += ends[i - 1];
        }
        let starts = ends.clone();
        self.order.clear();
        self.order.resize(self.rows.len(), 0);
        for (i, row) in self.rows.iter().enumerate() {
            let next = &mut ends[row.home as usize];
            self.order[*next as usize] = i as u32;
            *next += 1;
        }
        let rows = &self.rows;
        for pair in starts.windows(2) {
            let group = &mut self.order[pair[0] as usize..pair[1] as usize];
            if !group.is_sorted_by_key(|&i| rows[i as usize].taken_at) {
                group.sort_by_key(|&i| rows[i as usize].taken_at);
            }
        }
    }

    /// The groups of equal home: its number and the indices of its rows.
    pub(super) fn groups(&self) -> impl Iterator<Item = (u32, &[u32])> {
        let rows = &self.rows;
        self.order
            .chunk_by(|&a, &b| rows[a as usize].home == rows[b as usize].home)
            .map(|group| (rows[group[0] as usize].home, group))
    }

    /// A number of one of its rows.
    pub(super) fn number(&self, short: Short) -> Column {
        short.column(&self.exact)
    }
}
