//! Known temperatures summed by station and UTC day.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};
use rustc_hash::FxHashMap;

use super::run::Run;
use crate::model::Stamp;
use crate::store::{DayTemperature, Result};

/// Sums of one transaction, by context of its run and day.
#[derive(Debug, Default)]
pub(super) struct Sums(FxHashMap<(usize, i64), (i64, f64, f64)>);

impl Sums {
    /// Counts one reading in.
    pub(super) fn add(&mut self, context: usize, taken_at: i64, celsius: Option<f64>) {
        if let Some(celsius) = celsius {
            let day = Stamp::from_micros(taken_at).utc_day();
            let (n, sum, squares) = self.0.entry((context, day)).or_default();
            *n += 1;
            *sum += celsius;
            *squares += celsius * celsius;
        }
    }

    /// Adds them to the table.
    pub(super) fn store(self, db: &Connection, run: &Run) -> Result<()> {
        let mut by_station: BTreeMap<(&str, i64), (i64, f64, f64)> = BTreeMap::new();
        for ((context, day), (n, sum, squares)) in self.0 {
            let station = run.contexts[context].note.station.as_str();
            let all = by_station.entry((station, day)).or_default();
            *all = (all.0 + n, all.1 + sum, all.2 + squares);
        }
        let mut add = db.prepare_cached(
            "INSERT INTO day_temperature (station, day, n, sum, squares) VALUES (?1, ?2, ?3, ?4, ?5)
             ON CONFLICT DO UPDATE SET n = n + excluded.n, sum = sum + excluded.sum,
                                       squares = squares + excluded.squares",
        )?;
        for ((station, day), (n, sum, squares)) in by_station {
            add.execute(params![station, day, n, sum, squares])?;
        }
        Ok(())
    }
}

/// All sums, by station and day.
pub(super) fn all(db: &Connection) -> Result<Vec<DayTemperature>> {
    let mut ask = db.prepare_cached(
        "SELECT station, day, n, sum, squares FROM day_temperature ORDER BY station, day",
    )?;
    let rows = ask.query_map([], |row| {
        Ok(DayTemperature {
            station: row.get::<_, String>(0)?.into(),
            day: row.get(1)?,
            n: row.get(2)?,
            sum: row.get(3)?,
            squares: row.get(4)?,
        })
    })?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}
