//! A run: what one transaction of a delivery stores, in the order of the clustered key.

use rustc_hash::FxHashMap;

use super::row::{Context, Home, Packed, Row};
use super::spool::Spool;
use crate::model::Asset;
use crate::store::{RecordPlace, RejectItem, Result};

/// Rows that are handed out at once.
const WINDOW: usize = 8 * 1024;

/// Rows of one home that are put in order with each other across parts. A series has thousands;
/// this keeps a file with one series only within the memory.
const ORDERED: usize = 64 * 1024;

/// Entries of a delivery, packed.
#[derive(Debug, Default)]
pub(super) struct Run {
    /// Earlier parts, on the disk.
    pub(super) spool: Option<Spool>,
    /// The latest part.
    pub(super) part: Part,
    pub(super) homes: Vec<Home>,
    pub(super) contexts: Vec<Context>,
    pub(super) rejects: Vec<(RecordPlace, RejectItem)>,
    /// Records of which only the line is kept.
    pub(super) asides: Vec<u64>,
    /// Original lines of streams, by record.
    pub(super) lines: FxHashMap<u64, Vec<u8>>,
    /// The assets in it as they are to be registered when they are new, by id.
    pub(super) assets: Vec<Asset>,
}

impl Run {
    /// Whether there is nothing in it.
    pub(super) fn is_empty(&self) -> bool {
        self.part.rows.is_empty()
            && self.rejects.is_empty()
            && self.asides.is_empty()
            && self.spool.is_none()
    }

    /// Hands out all rows, home by home in the order given, each home by time and then as
    /// delivered.
    pub(super) fn each_window(
        &self,
        homes: &[u32],
        each: &mut dyn FnMut(&[Row]) -> Result<()>,
    ) -> Result<()> {
        let mut parts: Vec<_> = self.spool.iter().flat_map(Spool::readers).collect();
        let mut window: Vec<Row> = Vec::with_capacity(WINDOW + 1024);
        for &home in homes {
            let mut first = window.len();
            let mut take = |row| {
                window.push(row);
                if window.len() - first >= ORDERED {
                    window[first..].sort_by_key(|row| row.taken_at);
                    each(&window)?;
                    window.clear();
                    first = 0;
                }
                Ok(())
            };
            for part in &mut parts {
                part.each(home as usize, &mut take)?;
            }
            self.part.rows_of(home).try_for_each(&mut take)?;
            let rows = &mut window[first..];
            if !rows.is_sorted_by_key(|row| row.taken_at) {
                rows.sort_by_key(|row| row.taken_at);
            }
            if window.len() >= WINDOW {
                each(&window)?;
                window.clear();
            }
        }
        each(&window)
    }
}

/// Packed rows, with the order in which they are to be stored.
#[derive(Debug, Default)]
pub(super) struct Part {
    pub(super) rows: Vec<Packed>,
    /// Numbers that are not whole thousandths.
    pub(super) exact: Vec<f64>,
    /// Indices into `rows`: by home, then time, then as delivered.
    order: Vec<u32>,
    /// Where in `order` the rows of each home end.
    ends: Vec<u32>,
}

impl Part {
    /// Bytes that it takes, roughly.
    pub(super) fn bytes(&self) -> usize {
        size_of_val(self.rows.as_slice()) + size_of_val(self.exact.as_slice())
    }

    /// Empties it and keeps its buffers.
    pub(super) fn clear(&mut self) {
        self.rows.clear();
        self.exact.clear();
        self.order.clear();
        self.ends.clear();
    }

    /// Groups the rows by home with one counting pass, then orders each group by time, which most
    /// files are in already. Returns where each home's rows end.
    pub(super) fn sort(&mut self, homes: usize) -> Vec<u32> {
        let rows = &self.rows;
        let mut next = vec![0_u32; homes + 1];
        for row in rows {
            next[row.home as usize + 1] += 1;
        }
        for i in 1..next.len() {
            next[i] += next[i - 1];
        }
        self.order.clear();
        self.order.resize(rows.len(), 0);
        for (i, row) in rows.iter().enumerate() {
            let place = &mut next[row.home as usize];
            self.order[*place as usize] = i as u32;
            *place += 1;
        }
        // Now each has moved on to where its home ends.
        next.pop();
        let mut start = 0;
        for &end in &next {
            let group = &mut self.order[start as usize..end as usize];
            if !group.is_sorted_by_key(|&i| rows[i as usize].taken_at) {
                group.sort_by_key(|&i| rows[i as usize].taken_at);
            }
            start = end;
        }
        self.ends.clone_from(&next);
        next
    }

    /// All rows in order.
    pub(super) fn in_order(&self) -> impl Iterator<Item = Row> {
        self.order.iter().map(|&i| self.rows[i as usize].row(&self.exact))
    }

    fn rows_of(&self, home: u32) -> impl Iterator<Item = Row> {
        let home = home as usize;
        let end = |home: usize| self.ends.get(home).copied().unwrap_or(0) as usize;
        let start = home.checked_sub(1).map_or(0, end);
        self.order[start..end(home)].iter().map(|&i| self.rows[i as usize].row(&self.exact))
    }
}
