//! Which readings are those of a sheet's tests: what came in from its station while a test was
//! under way. Nothing is kept twice: the store has the readings, the sheet the times.

use super::act::Act;
use super::sheet::Sheet;
use crate::model::{ReadingId, Stamp, TimeDoubt};
use crate::store::{Reader, Result, Stored, When};

/// The readings of each test with their seconds, in the order of the plan.
pub(super) type OfTests = Vec<Vec<(ReadingId, Option<f64>)>>;

/// Finds them.
pub(super) fn of_tests(reader: &dyn Reader, sheet: &Sheet) -> Result<OfTests> {
    if !sheet.has_begun() {
        return Ok(vec![Vec::new(); sheet.tests.len()]);
    }
    let stored = reader.readings(&sheet.asset, When::ALWAYS)?;
    let of = |test| {
        let own = stored.iter().filter(|stored| is_of(sheet, test, stored));
        own.map(|stored| (stored.id, stored.reading.duration_s)).collect()
    };
    Ok((0..sheet.tests.len()).map(of).collect())
}

/// Whether a reading, as it was taken in, came while a test was under way: when its line arrived,
/// which is its own time where it had none. A line with a time of its own (a tester's clock may be
/// anywhere) is known by when it was stored; by its own time where it came from another
/// installation.
fn is_of(sheet: &Sheet, test: usize, stored: &Stored) -> bool {
    let of = &sheet.tests[test];
    let reading = &stored.reading;
    if reading.station != sheet.key.station || reading.series.phase != of.phase {
        return false;
    }
    let stored_at = match reading.time_doubt {
        TimeDoubt::Arrival => reading.taken_at,
        _ => stored.recorded_at,
    };
    of.attempts.iter().any(|attempt| {
        let span = attempt.begun..next_begun(sheet, attempt.begun);
        span.contains(&stored_at) || span.contains(&reading.taken_at)
    })
}

/// When the next test began: what was measured before it may be stored a little later, but not
/// after it.
fn next_begun(sheet: &Sheet, begun: Stamp) -> Stamp {
    let later = sheet.log.iter().filter(|entry| matches!(entry.act, Act::Begun(_)));
    let next = later.map(|entry| entry.at).filter(|at| *at > begun).min();
    let end = sheet.end.as_ref().map(|end| end.at.plus_days(AFTER_DAYS));
    next.or(end).unwrap_or(Stamp::MAX)
}

/// How long after the end of a sheet a value of it may still be stored, in days: a minute.
const AFTER_DAYS: f64 = 1.0 / 1_440.0;
