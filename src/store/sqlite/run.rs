//! A run: some hundred thousand entries of a delivery, packed and ordered for the clustered key.
//!
//! Packing happens on the caller's thread and knows nothing of the database: series, testers and
//! notes get numbers of the run, which the writer translates once per run.

use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::model::{
    Asset, AssetId, Precision, Reading, Series, Stamp, TemperatureOf, Text, TimeDoubt,
};
use crate::store::{Entry, Parcel, RecordPlace, RejectItem, Result, StoreError, same};

/// Where a reading is kept: in a series, or in the tray as written.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Home {
    pub(super) series: Arc<Series>,
    /// In the tray: what was written for asset and phase.
    pub(super) written: Option<(Text, Text)>,
}

/// What readings seldom say one by one.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Note {
    pub(super) operator: Text,
    pub(super) station: Text,
    pub(super) remark: Text,
    pub(super) reason: Text,
}

/// One reading, packed. NaN stands for "not stated".
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    pub(super) record: u64,
    pub(super) taken_at: i64,
    pub(super) ohms: f64,
    pub(super) duration: f64,
    pub(super) temperature: f64,
    pub(super) delivered: f64,
    pub(super) humidity: f64,
    pub(super) home: u32,
    pub(super) tester: u32,
    pub(super) note: u32,
    pub(super) flags: u32,
}

/// Bits of [`Row::flags`]; those below [`STORED_BITS`] are the column `flags`.
pub(super) const PART_SHIFT: u32 = 6;
pub(super) const STORED_BITS: u32 = 22;

impl Row {
    pub(super) fn place(&self) -> RecordPlace {
        RecordPlace { record: self.record, part: part_of(i64::from(self.flags)) }
    }
    pub(super) fn bound(&self) -> i64 {
        i64::from(self.flags >> STORED_BITS)
    }
    pub(super) fn stored_flags(&self) -> i64 {
        i64::from(self.flags & ((1 << STORED_BITS) - 1))
    }
    pub(super) fn precision(&self) -> Precision {
        Precision::ALL[(self.flags & 3) as usize]
    }
}

/// The part of a record out of the column `flags`.
pub(super) fn part_of(flags: i64) -> u16 {
    ((flags >> PART_SHIFT) & 0xFFFF) as u16
}

fn flags(reading: &Reading, part: u16) -> u32 {
    let precision = match reading.precision {
        Precision::Fine => 0,
        Precision::Minute => 1,
        Precision::Day => 2,
    };
    let doubt = match reading.time_doubt {
        TimeDoubt::None => 0,
        TimeDoubt::RepeatedHour => 1,
        TimeDoubt::Arrival => 2,
        TimeDoubt::Given => 3,
    };
    let of = match reading.temperature_of {
        None => 0,
        Some(TemperatureOf::Winding) => 1,
        Some(TemperatureOf::Ambient) => 2,
    };
    let bound = reading.bound as u32;
    precision | doubt << 2 | of << 4 | u32::from(part) << PART_SHIFT | bound << STORED_BITS
}

/// Some entries of a delivery, packed.
#[derive(Debug, Default)]
pub(super) struct Run {
    pub(super) rows: Vec<Row>,
    /// Indices into `rows`: grouped by home, in each by time, then as delivered.
    pub(super) order: Vec<u32>,
    pub(super) homes: Vec<Home>,
    pub(super) testers: Vec<Text>,
    pub(super) notes: Vec<Note>,
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
    testers: FxHashMap<Text, u32>,
    notes: FxHashMap<Note, u32>,
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
        self.run.rows.len() * size_of::<Row>() + self.heavy
    }

    /// Hands out the run, ordered, and starts a new one in the buffers of an earlier one.
    pub(super) fn take(&mut self, first_met: &dyn Fn(AssetId) -> Asset, spare: Run) -> Run {
        let mut run = std::mem::replace(&mut self.run, spare.emptied());
        self.known.clear();
        self.homes.clear();
        self.testers.clear();
        self.notes.clear();
        self.last = None;
        self.heavy = 0;
        run.sort();
        let mut last = None;
        run.assets = Vec::new();
        let mut ids: Vec<_> =
            run.homes.iter().filter(|h| h.written.is_none()).map(|h| &h.series.asset).collect();
        ids.sort_unstable();
        for id in ids {
            if last.replace(id) != Some(id) {
                run.assets.push(first_met(id.clone()));
            }
        }
        run
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
        let tester = &reading.tester;
        let tester = number(&mut self.testers, &mut self.run.testers, tester, &mut self.heavy);
        let note = Note {
            operator: reading.operator.clone(),
            station: reading.station.clone(),
            remark: reading.remark.clone(),
            reason,
        };
        let note = number(&mut self.notes, &mut self.run.notes, &note, &mut self.heavy);
        self.run.rows.push(Row {
            record: place.record,
            taken_at: reading.taken_at.micros(),
            ohms: reading.ohms,
            duration: same::key_duration(reading),
            temperature: reading.temperature_c.unwrap_or(f64::NAN),
            delivered: reading.delivered_voltage_v.unwrap_or(f64::NAN),
            humidity: reading.humidity_pct.unwrap_or(f64::NAN),
            home,
            tester,
            note,
            flags: flags(reading, place.part),
        });
    }
}

/// The number of a value in this run. The last value is looked at first: neighbours are alike.
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

    fn emptied(mut self) -> Self {
        self.rows.clear();
        self.order.clear();
        Run { rows: self.rows, order: self.order, ..Run::default() }
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

    /// When its first and last reading were taken.
    pub(super) fn span(&self) -> Option<(Stamp, Stamp)> {
        let times = || self.rows.iter().map(|r| r.taken_at);
        Some((Stamp::from_micros(times().min()?), Stamp::from_micros(times().max()?)))
    }
}
