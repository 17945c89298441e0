//! Corrections of readings. A row names its reading by id and by natural key, so that it is found
//! without a search afterwards.

use rusqlite::{Connection, OptionalExtension, params};

use super::Recording;
use crate::model::{AssetId, Correction, CorrectionKind, Phase, ReadingId};
use crate::store::sqlite::batches::Span;
use crate::store::sqlite::cells::{Cells, collect};
use crate::store::sqlite::lexicon::Lexicon;
use crate::store::sqlite::names::{self, NOBODY};
use crate::store::sqlite::pending;
use crate::store::sqlite::readings;
use crate::store::sqlite::rejects::{place_number, place_of};
use crate::store::{Change, RecordPlace, Recorded, Result, StoreError, When, same};

/// Where a reading to be corrected is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Located {
    home: i64,
    series: i64,
    taken_at: i64,
    tester: i64,
    bound: i64,
    ohms: f64,
    duration: f64,
    nth: i64,
}

/// Finds all readings that the changes name, in one pass: an id alone needs a search.
pub(super) fn locate_all(to: &mut Recording<'_>, changes: &[Change]) -> Result<()> {
    let ids: Vec<_> = changes
        .iter()
        .filter_map(|change| match change {
            Change::Correction(correction) => Some(correction.reading),
            _ => None,
        })
        .collect();
    for found in readings::by_ids(to.db, &Lexicon::default(), &ids)? {
        let reading = &found.stored.reading;
        let located = Located {
            home: found.asset,
            series: found.series,
            taken_at: reading.taken_at.micros(),
            tester: found.tester,
            bound: reading.bound as i64,
            ohms: reading.ohms,
            duration: same::key_duration(reading),
            nth: found.nth,
        };
        to.located.insert(found.stored.id, located);
    }
    Ok(())
}

fn number(id: ReadingId) -> i64 {
    place_number(RecordPlace { record: id.record, part: id.part })
}

fn word(kind: &CorrectionKind) -> &'static str {
    match kind {
        CorrectionKind::Void => "void",
        CorrectionKind::Restore => "restore",
        CorrectionKind::Move { .. } => "move",
        CorrectionKind::Overrule => "overrule",
    }
}

/// Records a correction.
pub(super) fn add(to: &mut Recording<'_>, correction: &Correction) -> Result<bool> {
    let id = correction.reading;
    let at = *to.located.get(&id).ok_or(StoreError::NoReading(id))?;
    let class = match correction.kind {
        CorrectionKind::Void | CorrectionKind::Restore => "c.kind IN ('void', 'restore')",
        CorrectionKind::Move { .. } => "c.kind = 'move'",
        CorrectionKind::Overrule => "c.kind = 'overrule'",
    };
    let of = format!("c.of_batch = ?1 AND c.of_place = ?2 AND {class}");
    let standing = select(to.db, &of, params![id.batch as i64, number(id)])?.pop();
    if standing.is_some_and(|row| row.value == *correction) {
        return Ok(false);
    }
    let (target, phase) = match &correction.kind {
        CorrectionKind::Move { asset, phase } => {
            (Some(to.names.asset(to.db, asset)?), Some(phase.as_str()))
        }
        _ => (None, None),
    };
    to.db
        .prepare_cached(
            "INSERT INTO correction (batch, of_batch, of_place, home, kind, target, phase, reason,
               series, taken_at, tester, bound, ohms, duration, nth)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
        )?
        .execute(params![
            to.batch,
            id.batch as i64,
            number(id),
            at.home,
            word(&correction.kind),
            target,
            phase,
            correction.reason.as_str(),
            at.series,
            at.taken_at,
            at.tester,
            at.bound,
            at.ohms,
            at.duration,
            at.nth
        ])?;
    if let Some(target) = target
        && at.tester != 0
    {
        pending::used(to.db, at.tester, target, Span::of(at.taken_at))?;
    }
    mark(to, id, at)
}

/// Marks where the reading was taken in, and wherever it was moved to.
fn mark(to: &mut Recording<'_>, id: ReadingId, at: Located) -> Result<bool> {
    if at.home != NOBODY {
        to.marking.asset(at.home, at.taken_at)?;
    }
    let targets = collect(
        to.db,
        "correction",
        "SELECT DISTINCT target FROM correction
         WHERE of_batch = ?1 AND of_place = ?2 AND target IS NOT NULL",
        params![id.batch as i64, number(id)],
        |cells| cells.get(0),
    )?;
    for target in targets {
        to.marking.asset(target, at.taken_at)?;
    }
    Ok(true)
}

/// The corrections of an asset's readings, those moved away or here included, oldest first.
pub(in crate::store::sqlite) fn of_asset(
    db: &Connection,
    asset: &AssetId,
    when: When,
) -> Result<Vec<Recorded<Correction>>> {
    let Some(asset) = names::known_asset(db, asset)? else {
        return Ok(Vec::new());
    };
    let known_at = when.known_at.micros();
    let touches: Option<i64> = db
        .prepare_cached("SELECT 1 FROM correction WHERE home = ?1 OR target = ?1 LIMIT 1")?
        .query_row([asset], |row| row.get(0))
        .optional()?;
    if touches.is_none() {
        return Ok(Vec::new());
    }
    select(
        db,
        "b.received_at <= ?2 AND (c.of_batch, c.of_place) IN (
           SELECT of_batch, of_place FROM correction WHERE home = ?1
           UNION
           SELECT m.of_batch, m.of_place FROM correction m JOIN batch mb ON mb.no = m.batch
           WHERE m.target = ?1 AND mb.received_at <= ?2)",
        params![asset, known_at],
    )
}

/// All corrections, oldest first.
pub(in crate::store::sqlite) fn all(
    db: &Connection,
    when: When,
) -> Result<Vec<Recorded<Correction>>> {
    select(db, "b.received_at <= ?1", params![when.known_at.micros()])
}

fn select(
    db: &Connection,
    which: &str,
    params: &[&dyn rusqlite::ToSql],
) -> Result<Vec<Recorded<Correction>>> {
    let sql = format!(
        "SELECT c.no, c.of_batch, c.of_place, c.kind, a.id, c.phase, c.reason, b.received_at, s.name
         FROM correction c JOIN batch b ON b.no = c.batch JOIN source s ON s.no = b.source
           LEFT JOIN asset a ON a.no = c.target
         WHERE {which} ORDER BY c.no"
    );
    collect(db, "correction", &sql, params, read)
}

fn read(cells: Cells<'_, '_>) -> Result<Recorded<Correction>> {
    let RecordPlace { record, part } = place_of(cells.get(2)?);
    let reading = ReadingId { batch: cells.get::<i64>(1)? as u64, record, part };
    let kind = match cells.text(3)?.as_str() {
        "void" => CorrectionKind::Void,
        "restore" => CorrectionKind::Restore,
        "overrule" => CorrectionKind::Overrule,
        "move" => {
            let phase: Option<Phase> = cells.maybe_phase(5)?;
            let phase = phase.ok_or_else(|| cells.damaged("a move without a phase"))?;
            CorrectionKind::Move { asset: cells.asset(4)?, phase }
        }
        other => return Err(cells.damaged(format!("unknown kind `{other}`"))),
    };
    let value = Correction { reading, kind, reason: cells.text(6)? };
    Ok(Recorded { value, mark: cells.mark(7)? })
}
