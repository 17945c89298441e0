//! Stores one run of a delivery: readings under their natural key, rejects, lines, and what
//! follows from them, in the transaction of the caller.

use rusqlite::types::Null;
use rusqlite::{CachedStatement, Connection, params};
use rustc_hash::{FxHashMap, FxHashSet};

use super::batches::{self, Span};
use super::names::{NOBODY, Names, SeriesNo};
use super::pending::{self, Marking};
use super::registers::assets;
use super::rejects::{self, NewReject};
use super::run::{Row, Run};
use super::slots::{Found, Incoming, Slots, thousandths};
use crate::model::{ReadingId, Stamp};
use crate::store::{Receipt, RecordPlace, RejectItem, Result, Source, same};

/// A delivery on its way in. Changed only after a commit, so that a failed run can be repeated.
#[derive(Debug)]
pub(super) struct Delivery {
    /// Tells the deliveries of one connection apart.
    pub(super) number: i64,
    pub(super) now: Stamp,
    pub(super) source: Source,
    pub(super) receipt: Receipt,
    /// Whether slots of other deliveries were claimed.
    claimed: bool,
}

/// What one run came to, to be added to the delivery after the commit.
#[derive(Debug, Default)]
pub(super) struct Outcome {
    receipt: Receipt,
    claimed: bool,
}

impl Delivery {
    pub(super) fn new(number: i64, now: Stamp, source: &Source) -> Self {
        let receipt = Receipt::default();
        Delivery { number, now, source: source.clone(), receipt, claimed: false }
    }

    /// Counts in what was committed.
    pub(super) fn add(&mut self, outcome: Outcome) {
        let Outcome { receipt: new, claimed } = outcome;
        let sum = &mut self.receipt;
        sum.batch = sum.batch.or(new.batch);
        sum.accepted += new.accepted;
        sum.duplicate += new.duplicate;
        sum.tray += new.tray;
        sum.rejected += new.rejected;
        let room = Receipt::FIRST_REJECTS - sum.first_rejects.len();
        sum.first_rejects.extend(new.first_rejects.into_iter().take(room));
        sum.new_assets.extend(new.new_assets);
        self.claimed |= claimed;
    }

    /// Ends the delivery: forgets its claims, hands out the receipt.
    pub(super) fn end(mut self, db: &Connection) -> Result<Receipt> {
        if self.claimed {
            db.execute("DELETE FROM temp.claimed WHERE delivery = ?1", params![self.number])?;
        }
        self.receipt.new_assets.sort_unstable();
        Ok(self.receipt)
    }
}

const INSERT: &str = "INSERT INTO reading (batch, series, taken_at, tester, bound, ohms, duration,
    nth, record, flags, note, temperature, delivered, humidity)
    VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14) ON CONFLICT DO NOTHING";

/// Stores a run. Nothing of it is counted in `delivery`: that is for after the commit.
pub(super) fn store_run(
    db: &Connection,
    names: &mut Names,
    delivery: &Delivery,
    run: &Run,
) -> Result<Outcome> {
    let mut storing = Storing::new(db, names, delivery, run)?;
    storing.readings()?;
    storing.finish(names)
}

struct Storing<'a> {
    db: &'a Connection,
    delivery: &'a Delivery,
    run: &'a Run,
    homes: Vec<SeriesNo>,
    testers: Vec<i64>,
    notes: Vec<i64>,
    slots: Slots<'a>,
    receipt: Receipt,
    /// By asset: the earliest new reading.
    touched: FxHashMap<i64, i64>,
    /// By tester and asset: first and last new use.
    uses: FxHashMap<(i64, i64), Span>,
    /// In which series and times the new readings lie.
    span: Option<(Span, Span)>,
    conflicts: Vec<(RecordPlace, RejectItem)>,
    /// Records of streams of which something was stored.
    kept_lines: FxHashSet<u64>,
}

impl<'a> Storing<'a> {
    fn new(
        db: &'a Connection,
        names: &mut Names,
        delivery: &'a Delivery,
        run: &'a Run,
    ) -> Result<Self> {
        let batch = match delivery.receipt.batch {
            Some(batch) => batch as i64,
            None => batches::next(db)?,
        };
        Ok(Storing {
            db,
            delivery,
            run,
            homes: run.homes.iter().map(|h| names.home(db, h)).collect::<Result<_>>()?,
            testers: run.testers.iter().map(|t| names.tester(db, t)).collect::<Result<_>>()?,
            notes: run.notes.iter().map(|n| names.note(db, n)).collect::<Result<_>>()?,
            slots: Slots {
                db,
                delivery: delivery.number,
                batch,
                source: &delivery.source,
                sources: FxHashMap::default(),
                claimed: false,
            },
            receipt: Receipt::default(),
            touched: FxHashMap::default(),
            uses: FxHashMap::default(),
            span: None,
            conflicts: Vec::new(),
            kept_lines: FxHashSet::default(),
        })
    }

    /// All readings in the order of the clustered key: that is worth ten times the speed.
    fn readings(&mut self) -> Result<()> {
        let run = self.run;
        let mut groups: Vec<_> = run.groups().collect();
        groups.sort_unstable_by_key(|&(home, _)| self.homes[home as usize].series);
        let db = self.db;
        let mut insert = db.prepare_cached(INSERT)?;
        insert.raw_bind_parameter(1, self.slots.batch)?;
        for (home, group) in groups {
            let home = self.homes[home as usize];
            insert.raw_bind_parameter(2, home.series)?;
            let mut taken: Option<Span> = None;
            let mut stored = 0;
            let mut uses: Option<(i64, Span)> = None;
            for &i in group {
                let row = &run.rows[i as usize];
                if !self.reading(&mut insert, row, home.series)? {
                    continue;
                }
                stored += 1;
                let at = Span::of(row.taken_at);
                taken = Span::over(taken, Some(at));
                let tester = self.testers[row.tester as usize];
                uses = match uses {
                    Some((same, span)) if same == tester => Some((same, span.and(at))),
                    earlier => {
                        self.used(earlier, home.asset);
                        Some((tester, at))
                    }
                };
            }
            self.used(uses, home.asset);
            if let Some(taken) = taken {
                self.stored(home, stored, taken);
            }
        }
        Ok(())
    }

    fn stored(&mut self, home: SeriesNo, stored: u64, taken: Span) {
        let here = (Span::of(home.series), taken);
        self.span = Some(self.span.map_or(here, |s| (s.0.and(here.0), s.1.and(here.1))));
        if home.asset == NOBODY {
            self.receipt.tray += stored;
            return;
        }
        self.receipt.accepted += stored;
        let earliest = self.touched.entry(home.asset).or_insert(taken.low);
        *earliest = taken.low.min(*earliest);
    }

    fn used(&mut self, uses: Option<(i64, Span)>, asset: i64) {
        if let Some((tester, new)) = uses
            && tester != 0
            && asset != NOBODY
        {
            let span = self.uses.entry((tester, asset)).or_insert(new);
            *span = span.and(new);
        }
    }

    /// One reading; whether it was stored.
    fn reading(
        &mut self,
        insert: &mut CachedStatement<'_>,
        row: &Row,
        series: i64,
    ) -> Result<bool> {
        let tester = self.testers[row.tester as usize];
        let note = self.notes[row.note as usize];
        insert.raw_bind_parameter(3, row.taken_at)?;
        insert.raw_bind_parameter(4, tester)?;
        insert.raw_bind_parameter(5, row.bound())?;
        insert.raw_bind_parameter(6, row.ohms)?;
        insert.raw_bind_parameter(7, row.duration)?;
        insert.raw_bind_parameter(8, 0)?;
        insert.raw_bind_parameter(9, row.record as i64)?;
        insert.raw_bind_parameter(10, row.stored_flags())?;
        insert.raw_bind_parameter(11, note)?;
        for (i, value) in [(12, row.temperature), (13, row.delivered), (14, row.humidity)] {
            match value.is_nan() {
                true => insert.raw_bind_parameter(i, Null)?,
                false => insert.raw_bind_parameter(i, thousandths(value))?,
            }
        }
        if insert.raw_execute()? == 0 {
            let note_text = &self.run.notes[row.note as usize];
            match self.slots.find(&Incoming { row, series, tester, note, note_text })? {
                Found::Free(nth) => {
                    insert.raw_bind_parameter(8, nth)?;
                    insert.raw_execute()?;
                }
                Found::Duplicate => {
                    self.receipt.duplicate += 1;
                    return Ok(false);
                }
                Found::Conflict(id, fields) => {
                    self.conflict(row.place(), id, &fields);
                    return Ok(false);
                }
            }
        }
        if !self.run.lines.is_empty() {
            self.kept_lines.insert(row.record);
        }
        Ok(true)
    }

    fn conflict(&mut self, place: RecordPlace, id: ReadingId, fields: &[&'static str]) {
        let bytes = self.run.lines.get(&place.record).cloned().unwrap_or_default();
        self.conflicts.push((place, same::conflict(bytes, id, fields)));
    }

    /// What follows from the readings: batch, assets, marks, uses, rejects, lines.
    fn finish(mut self, names: &mut Names) -> Result<Outcome> {
        let (db, source) = (self.db, &self.delivery.source);
        let mut all: Vec<_> = self.conflicts.iter().chain(&self.run.rejects).collect();
        all.sort_by_key(|(place, _)| *place);
        self.receipt.rejected = all.len() as u64;
        self.receipt.first_rejects =
            all.iter().take(Receipt::FIRST_REJECTS).map(|&r| r.clone()).collect();
        let new_rejects: Vec<NewReject<'_>> = rejects::new_ones(db, source, all)?;

        let batch = self.slots.batch;
        if self.span.is_some() || !new_rejects.is_empty() {
            if self.delivery.receipt.batch.is_none() {
                batches::add(db, batch, self.delivery.now, source)?;
            }
            self.receipt.batch = Some(batch as u64);
        }
        if let Some((series, taken)) = self.span {
            batches::widen(db, batch, series, taken)?;
        }
        for asset in &self.run.assets {
            let no = names.asset(db, &asset.id)?;
            if self.touched.contains_key(&no) && assets::first_met(db, names, batch, no, asset)? {
                self.receipt.new_assets.push(asset.id.clone());
            }
        }
        let mut marking = Marking::new(db);
        for (&asset, &from) in &self.touched {
            marking.asset(asset, from)?;
        }
        for (&(tester, asset), &span) in &self.uses {
            pending::used(db, tester, asset, span)?;
        }
        rejects::add(db, batch, &new_rejects)?;
        self.lines(batch)?;
        Ok(Outcome { receipt: self.receipt, claimed: self.slots.claimed })
    }

    fn lines(&self, batch: i64) -> Result<()> {
        let mut records: Vec<_> = self.kept_lines.iter().copied().collect();
        records.sort_unstable();
        for record in records {
            if let Some(bytes) = self.run.lines.get(&record) {
                self.db
                    .prepare_cached(
                        "INSERT INTO line (batch, record, bytes) VALUES (?1, ?2, ?3)
                         ON CONFLICT DO NOTHING",
                    )?
                    .execute(params![batch, record as i64, bytes])?;
            }
        }
        Ok(())
    }
}
