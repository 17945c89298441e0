//! The readings that an export holds, in its order: by time, then by what is written of them.

use std::cmp::Ordering;
use std::collections::{BTreeMap, HashSet};
use std::io;

use crate::model::{AssetId, Correction, CorrectionKind, Reading, ReadingId, Stamp, Text};
use crate::store::{Reader, StoreError, Stored, StoredTray, When};

/// What stands for the asset of a reading in the tray.
const UNPLACED: &str = "?";

/// What went wrong while exporting.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An asset could not be assessed.
    #[error(transparent)]
    Dossier(#[from] crate::dossier::DossierError),
    /// The output could not be written.
    #[error("cannot write the export: {0}")]
    Io(#[from] io::Error),
}

/// How corrections show in an export.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Corrections {
    /// Readings as they count now: moved ones at their place, voided ones left out.
    Applied,
    /// Readings as taken in: the corrections travel in a register of their own.
    Beside,
}

/// Which readings an export holds.
#[derive(Clone, Debug)]
pub struct Selection {
    /// Measured and known by.
    pub when: When,
    /// Measured at this instant or later.
    pub from: Stamp,
    /// Of these assets; empty: of all, the tray included.
    pub assets: Vec<AssetId>,
    /// How corrections show.
    pub corrections: Corrections,
}

impl Selection {
    /// Every reading there is.
    pub fn all(when: When, corrections: Corrections) -> Self {
        Selection { when, from: Stamp::MIN, assets: Vec::new(), corrections }
    }

    fn takes(&self, row: &Row) -> bool {
        row.reading.taken_at >= self.from
            && (self.assets.is_empty() || self.assets.iter().any(|a| a.as_str() == row.asset))
    }
}

/// A reading under the asset and phase it is exported with: both may be empty in the tray.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its id, for the caller.
    pub id: ReadingId,
    /// The asset.
    pub asset: Text,
    /// The phase.
    pub phase: Text,
    /// The reading.
    pub reading: Reading,
}

/// Is handed each row, and whether it is equal by the rule of duplicates to the row before it:
/// then it is a separate reading whose source wrote times coarser than a second.
pub(super) type EachRow<'a> = &'a mut dyn FnMut(&Row, bool) -> Result<(), ExportError>;

/// Walks through the readings of a selection; returns their number. Memory stays bounded: only the
/// tray, the corrected readings and those of one instant are held, or those of the assets named.
pub fn each_reading<R: Reader + ?Sized>(
    reader: &R,
    selection: &Selection,
    each: EachRow<'_>,
) -> Result<u64, ExportError> {
    let (corrected, mut aside) = match selection.corrections {
        Corrections::Applied => applied(reader, selection.when)?,
        Corrections::Beside => (HashSet::new(), Vec::new()),
    };
    let waiting = reader.tray(selection.when)?;
    let mut elsewhere = corrected;
    elsewhere.extend(waiting.iter().map(|t| t.id));
    aside.extend(waiting.into_iter().map(|StoredTray { id, item, .. }| Row {
        id,
        asset: Text::default(),
        phase: item.written_phase,
        reading: item.reading,
    }));
    aside.sort_by_key(|row| row.reading.taken_at);
    let mut aside = aside.into_iter().peekable();
    let mut order = Order { selection, instant: Vec::new(), count: 0, each };
    let mut failed: Option<ExportError> = None;
    let mut take = |stored: &Stored| {
        let at = stored.reading.taken_at;
        let mut push = || -> Result<(), ExportError> {
            while let Some(row) = aside.next_if(|row| row.reading.taken_at <= at) {
                order.push(row)?;
            }
            if elsewhere.is_empty() || !elsewhere.contains(&stored.id) {
                order.push(as_taken_in(stored))?;
            }
            Ok(())
        };
        push().map_err(|e| {
            failed = Some(e);
            StoreError::Other("the export was stopped".into())
        })
    };
    let walked = match selection.assets.is_empty() {
        true => reader.for_each_reading(selection.when, &mut take),
        false => of_assets(reader, selection).and_then(|all| all.iter().try_for_each(take)),
    };
    // The walk only stops early when the output failed: its own error says more.
    if let Some(e) = failed {
        return Err(e);
    }
    walked?;
    for row in aside {
        order.push(row)?;
    }
    order.hand_out()?;
    Ok(order.count)
}

/// The readings of some assets by time.
fn of_assets<R: Reader + ?Sized>(
    reader: &R,
    selection: &Selection,
) -> crate::store::Result<Vec<Stored>> {
    let mut all = Vec::new();
    for asset in &selection.assets {
        all.extend(reader.readings(asset, selection.when)?);
    }
    all.sort_by_key(|stored| (stored.reading.taken_at, stored.id));
    // One that was moved from one of them to another was asked for twice.
    all.dedup_by_key(|stored| stored.id);
    Ok(all)
}

/// Puts the rows of one instant in order, by what is written and not by how a store numbers things.
struct Order<'a> {
    selection: &'a Selection,
    instant: Vec<Row>,
    count: u64,
    each: EachRow<'a>,
}

impl Order<'_> {
    fn push(&mut self, row: Row) -> Result<(), ExportError> {
        if self.instant.first().is_some_and(|r| r.reading.taken_at != row.reading.taken_at) {
            self.hand_out()?;
        }
        if self.selection.takes(&row) {
            self.instant.push(row);
        }
        Ok(())
    }

    fn hand_out(&mut self) -> Result<(), ExportError> {
        if self.instant.len() > 1 {
            self.instant.sort_by(order);
        }
        for (i, row) in self.instant.iter().enumerate() {
            let again = i > 0 && equal_key(&self.instant[i - 1], row);
            self.count += 1;
            (self.each)(row, again)?;
        }
        self.instant.clear();
        Ok(())
    }
}

/// The order of rows of one instant: by series, then by all else that is written.
fn order(a: &Row, b: &Row) -> Ordering {
    let number = |x: Option<f64>, y: Option<f64>| {
        x.unwrap_or(f64::NEG_INFINITY).total_cmp(&y.unwrap_or(f64::NEG_INFINITY))
    };
    let (r, s) = (&a.reading, &b.reading);
    (
        &a.asset,
        &a.phase,
        &r.series.against,
        &r.series.setup,
        r.series.test_voltage,
        &r.tester,
        r.bound,
    )
        .cmp(&(
            &b.asset,
            &b.phase,
            &s.series.against,
            &s.series.setup,
            s.series.test_voltage,
            &s.tester,
            s.bound,
        ))
        .then_with(|| r.ohms.total_cmp(&s.ohms))
        .then_with(|| number(r.duration_s, s.duration_s))
        .then_with(|| number(r.delivered_voltage_v, s.delivered_voltage_v))
        .then_with(|| number(r.temperature_c, s.temperature_c))
        .then_with(|| r.temperature_of.cmp(&s.temperature_of))
        .then_with(|| number(r.humidity_pct, s.humidity_pct))
        .then_with(|| {
            (&r.operator, &r.station, &r.remark).cmp(&(&s.operator, &s.station, &s.remark))
        })
}

/// Equal by the rule that makes a reading a duplicate, the instant being the same.
fn equal_key(a: &Row, b: &Row) -> bool {
    let (r, s) = (&a.reading, &b.reading);
    (&a.asset, &a.phase, &r.series.against, &r.series.setup, r.series.test_voltage)
        == (&b.asset, &b.phase, &s.series.against, &s.series.setup, s.series.test_voltage)
        && (&r.tester, r.bound, r.duration_s) == (&s.tester, s.bound, s.duration_s)
        && r.ohms == s.ohms
}

/// The row of a reading as it was taken in; one that came without asset has none here either.
fn as_taken_in(stored: &Stored) -> Row {
    let series = &stored.reading.series;
    let placed = *series.asset.as_str() != *UNPLACED;
    let text = |t: &str| if placed { Text::from(t) } else { Text::default() };
    Row {
        id: stored.id,
        asset: text(series.asset.as_str()),
        phase: text(series.phase.as_str()),
        reading: stored.reading.clone(),
    }
}

/// The ids of corrected readings, and the rows of those among them that still count.
fn applied<R: Reader + ?Sized>(
    reader: &R,
    when: When,
) -> Result<(HashSet<ReadingId>, Vec<Row>), ExportError> {
    let mut of: BTreeMap<ReadingId, Vec<Correction>> = BTreeMap::new();
    for c in reader.all_corrections(when)? {
        of.entry(c.value.reading).or_default().push(c.value);
    }
    let mut rows = Vec::new();
    for (&id, list) in &of {
        let Some(stored) = reader
            .find(id)?
            .filter(|s| s.reading.taken_at <= when.as_of && s.recorded_at <= when.known_at)
        else {
            continue;
        };
        let mut row = as_taken_in(&stored);
        let mut voided = false;
        for c in list {
            match &c.kind {
                CorrectionKind::Void => voided = true,
                CorrectionKind::Restore => voided = false,
                CorrectionKind::Overrule => {}
                CorrectionKind::Move { asset, phase } => {
                    row.asset = asset.as_str().into();
                    row.phase = phase.as_str().into();
                }
            }
        }
        if !voided {
            rows.push(row);
        }
    }
    Ok((of.into_keys().collect(), rows))
}
