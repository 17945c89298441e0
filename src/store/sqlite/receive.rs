//! Stores one run of a delivery: readings under their natural key, rejects, lines, and what
//! follows from them, in the transaction of the caller.

use std::sync::LazyLock;

use rusqlite::types::Null;
use rusqlite::{CachedStatement, Connection, params};
use rustc_hash::{FxHashMap, FxHashSet};

use super::batches::{self, Span};
use super::delivery::{Delivery, Outcome};
use super::names::{NOBODY, Names, SeriesNo};
use super::pending::{self, Marking};
use super::registers::assets;
use super::rejects::{self, NewReject};
use super::row::{Column, Row};
use super::run::Run;
use super::slots::{Found, Incoming, Slots};
use super::temperatures::Sums;
use crate::model::ReadingId;
use crate::store::{Receipt, RecordPlace, RejectItem, Result, same};

/// Rows of one insert statement: starting a statement costs as much as inserting a row.
const TOGETHER: usize = 12;

/// Parameters of a row: all columns but the batch, which is one for all.
const COLUMNS: usize = 13;

/// The insert statements of a run; their texts take longer to make than to run.
static ONE: LazyLock<String> = LazyLock::new(|| insert_of(1));
static MANY: LazyLock<String> = LazyLock::new(|| insert_of(TOGETHER));

/// An insert of so many rows at once; parameter 1 is the batch. `OR IGNORE` passes over taken keys
/// like `ON CONFLICT DO NOTHING`, and unlike that needs no journal of its own to take back half a
/// statement: every value is bound with its type, so no other constraint can fail.
fn insert_of(rows: usize) -> String {
    let row = |i: usize| {
        let first = 2 + i * COLUMNS;
        let columns: Vec<_> = (first..first + COLUMNS).map(|n| format!("?{n}")).collect();
        format!("(?1, {})", columns.join(", "))
    };
    let rows: Vec<_> = (0..rows).map(row).collect();
    format!(
        "INSERT OR IGNORE INTO reading (batch, series, taken_at, tester, bound, ohms, duration,
           nth, record, flags, note, temperature, delivered, humidity) VALUES {}",
        rows.join(", ")
    )
}

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

/// The insert statements of a run, prepared.
struct Inserts<'a> {
    one: CachedStatement<'a>,
    many: CachedStatement<'a>,
}

struct Storing<'a> {
    db: &'a Connection,
    delivery: &'a Delivery,
    run: &'a Run,
    homes: Vec<SeriesNo>,
    /// By context: tester and note.
    contexts: Vec<(i64, i64)>,
    slots: Slots<'a>,
    receipt: Receipt,
    /// By asset: the earliest new reading.
    touched: FxHashMap<i64, i64>,
    /// By tester and asset: first and last new use.
    uses: FxHashMap<(i64, i64), Span>,
    /// The latest stretch of new readings: asset and tester, and when.
    using: Option<((i64, i64), Span)>,
    /// Known temperatures of the new readings.
    temperatures: Sums,
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
            contexts: run
                .contexts
                .iter()
                .map(|c| Ok((names.tester(db, &c.tester)?, names.note(db, &c.note)?)))
                .collect::<Result<_>>()?,
            slots: Slots::new(db, delivery.number, batch, &delivery.source)?,
            receipt: Receipt::default(),
            touched: FxHashMap::default(),
            uses: FxHashMap::default(),
            using: None,
            temperatures: Sums::default(),
            span: None,
            conflicts: Vec::new(),
            kept_lines: FxHashSet::default(),
        })
    }

    /// All readings in the order of the clustered key: that is worth ten times the speed.
    fn readings(&mut self) -> Result<()> {
        let (db, run) = (self.db, self.run);
        let mut homes: Vec<_> = (0..self.homes.len() as u32).collect();
        homes.sort_unstable_by_key(|&home| self.homes[home as usize].series);
        let mut inserts =
            Inserts { one: db.prepare_cached(&ONE)?, many: db.prepare_cached(&MANY)? };
        inserts.one.raw_bind_parameter(1, self.slots.batch)?;
        inserts.many.raw_bind_parameter(1, self.slots.batch)?;
        run.each_window(&homes, &mut |rows| self.window(&mut inserts, rows))
    }

    /// Some rows, a statement for as many as it takes.
    fn window(&mut self, inserts: &mut Inserts<'a>, rows: &[Row]) -> Result<()> {
        let mut first = 0;
        for (i, row) in rows.iter().enumerate() {
            let earlier = rows[..i].iter().rev();
            let repeated = earlier
                .take_while(|earlier| earlier.taken_at == row.taken_at && earlier.home == row.home)
                .any(|earlier| earlier.place() == row.place());
            if repeated {
                // Told from its first by going in alone, after it.
                self.insert(inserts, &rows[first..i])?;
                self.insert(inserts, &rows[i..=i])?;
                first = i + 1;
            } else if i + 1 - first == TOGETHER {
                self.insert(inserts, &rows[first..=i])?;
                first = i + 1;
            }
        }
        self.insert(inserts, &rows[first..])
    }

    /// Inserts some rows, all in one statement or each alone; where not all of a statement went in,
    /// looks closer.
    fn insert(&mut self, inserts: &mut Inserts<'a>, rows: &[Row]) -> Result<()> {
        if rows.len() < TOGETHER {
            for row in rows {
                self.bind(&mut inserts.one, 2, row, 0)?;
                match inserts.one.raw_execute()? {
                    0 => self.look_closer(inserts, row, false)?,
                    _ => self.stored(row),
                }
            }
            return Ok(());
        }
        for (i, row) in rows.iter().enumerate() {
            self.bind(&mut inserts.many, 2 + i * COLUMNS, row, 0)?;
        }
        let inserted = inserts.many.raw_execute()?;
        for row in rows {
            match inserted == rows.len() {
                true => self.stored(row),
                false => self.look_closer(inserts, row, inserted > 0)?,
            }
        }
        Ok(())
    }

    fn look_closer(
        &mut self,
        inserts: &mut Inserts<'a>,
        row: &Row,
        perhaps_in: bool,
    ) -> Result<()> {
        match self.slots.find(&self.incoming(row), perhaps_in)? {
            Found::Itself => self.stored(row),
            Found::Free(nth) => {
                self.bind(&mut inserts.one, 2, row, nth)?;
                inserts.one.raw_execute()?;
                self.stored(row);
            }
            Found::Duplicate => self.receipt.duplicate += 1,
            Found::Conflict(id, fields) => self.conflict(row.place(), id, &fields),
        }
        Ok(())
    }

    fn incoming<'r>(&self, row: &'r Row) -> Incoming<'r>
    where
        'a: 'r,
    {
        let context = row.words.context();
        let (tester, note) = self.contexts[context];
        let note_text = &self.run.contexts[context].note;
        let series = self.homes[row.home as usize].series;
        Incoming { row, series, tester, note, note_text }
    }

    fn bind(
        &self,
        statement: &mut CachedStatement<'_>,
        from: usize,
        row: &Row,
        nth: i64,
    ) -> Result<()> {
        let (tester, note) = self.contexts[row.words.context()];
        statement.raw_bind_parameter(from, self.homes[row.home as usize].series)?;
        statement.raw_bind_parameter(from + 1, row.taken_at)?;
        statement.raw_bind_parameter(from + 2, tester)?;
        statement.raw_bind_parameter(from + 3, row.words.bound())?;
        statement.raw_bind_parameter(from + 4, row.ohms)?;
        statement.raw_bind_parameter(from + 5, row.duration())?;
        statement.raw_bind_parameter(from + 6, nth)?;
        statement.raw_bind_parameter(from + 7, row.place().record as i64)?;
        statement.raw_bind_parameter(from + 8, row.flags())?;
        statement.raw_bind_parameter(from + 9, note)?;
        let measured = [row.temperature, row.delivered, row.humidity];
        for (i, column) in (from + 10..).zip(measured) {
            match column {
                Column::None => statement.raw_bind_parameter(i, Null)?,
                Column::Thousandths(whole) => statement.raw_bind_parameter(i, whole)?,
                Column::Exact(value) => statement.raw_bind_parameter(i, value)?,
            }
        }
        Ok(())
    }

    /// Notes what follows from a reading that went in.
    fn stored(&mut self, row: &Row) {
        let home = self.homes[row.home as usize];
        let here = (Span::of(home.series), Span::of(row.taken_at));
        self.span = Some(self.span.map_or(here, |s| (s.0.and(here.0), s.1.and(here.1))));
        self.temperatures.add(row.words.context(), row.taken_at, row.temperature.get());
        if !self.run.lines.is_empty() {
            self.kept_lines.insert(row.place().record);
        }
        if home.asset == NOBODY {
            self.receipt.tray += 1;
            return;
        }
        self.receipt.accepted += 1;
        let use_of = (home.asset, self.contexts[row.words.context()].0);
        match &mut self.using {
            Some((same, span)) if *same == use_of => *span = span.and(here.1),
            _ => {
                self.used();
                self.using = Some((use_of, here.1));
            }
        }
    }

    /// Notes the latest stretch of readings with one tester on one asset.
    fn used(&mut self) {
        if let Some(((asset, tester), new)) = self.using.take() {
            let earliest = self.touched.entry(asset).or_insert(new.low);
            *earliest = new.low.min(*earliest);
            if tester != 0 {
                let span = self.uses.entry((tester, asset)).or_insert(new);
                *span = span.and(new);
            }
        }
    }

    fn conflict(&mut self, place: RecordPlace, id: ReadingId, fields: &[&'static str]) {
        let bytes = self.run.lines.get(&place.record).cloned().unwrap_or_default();
        self.conflicts.push((place, same::conflict(bytes, id, fields)));
    }

    /// What follows from the readings: batch, assets, marks, uses, rejects, lines.
    fn finish(mut self, names: &mut Names) -> Result<Outcome> {
        self.used();
        let (db, source) = (self.db, &self.delivery.source);
        let mut all: Vec<_> = self.conflicts.iter().chain(&self.run.rejects).collect();
        all.sort_by_key(|(place, _)| *place);
        self.receipt.rejected = all.len() as u64;
        self.receipt.aside = self.run.asides.len() as u64;
        self.kept_lines.extend(&self.run.asides);
        self.receipt.first_rejects =
            all.iter().take(Receipt::FIRST_REJECTS).map(|&r| r.clone()).collect();
        let new_rejects: Vec<NewReject<'_>> = rejects::new_ones(db, source, all)?;

        let batch = self.slots.batch;
        if self.span.is_some() || !new_rejects.is_empty() || !self.run.asides.is_empty() {
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
        std::mem::take(&mut self.temperatures).store(db, self.run)?;
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
