//! Reading cells of a row as words of the model: what does not fit names table and row.

use std::fmt::Display;

use rusqlite::Row;
use rusqlite::types::{FromSql, ValueRef};

use super::error::damaged;
use super::slots::from_thousandths;
use crate::model::{AssetId, Mark, Phase, Stamp, Text};
use crate::store::{Result, StoreError};

/// A row with the table it belongs to; its first column is its number.
#[derive(Clone, Copy)]
pub(super) struct Cells<'a, 'r> {
    pub(super) row: &'a Row<'r>,
    pub(super) table: &'static str,
}

impl Cells<'_, '_> {
    /// An error about this row.
    pub(super) fn damaged(&self, why: impl Display) -> StoreError {
        let number = self.row.get_ref(0).ok().and_then(|v| v.as_i64().ok());
        damaged(self.table, number.map_or("unknown".to_owned(), |n| n.to_string()), why)
    }

    /// A value of a plain type.
    pub(super) fn get<T: FromSql>(&self, i: usize) -> Result<T> {
        self.row.get(i).map_err(|e| self.damaged(e))
    }

    fn value(&self, i: usize) -> Result<ValueRef<'_>> {
        self.row.get_ref(i).map_err(|e| self.damaged(e))
    }

    /// A text.
    pub(super) fn text(&self, i: usize) -> Result<Text> {
        let text = self.value(i)?.as_str().map_err(|e| self.damaged(e))?;
        Ok(text.into())
    }

    /// An instant.
    pub(super) fn stamp(&self, i: usize) -> Result<Stamp> {
        Ok(Stamp::from_micros(self.get(i)?))
    }

    /// An instant, where there is one.
    pub(super) fn maybe_stamp(&self, i: usize) -> Result<Option<Stamp>> {
        Ok(self.get::<Option<i64>>(i)?.map(Stamp::from_micros))
    }

    /// A number in thousandths, where there is one.
    pub(super) fn thousandths(&self, i: usize) -> Result<Option<f64>> {
        from_thousandths(self.value(i)?).map_err(|why| self.damaged(why))
    }

    /// An asset's id.
    pub(super) fn asset(&self, i: usize) -> Result<AssetId> {
        AssetId::new(&self.text(i)?).map_err(|e| self.damaged(e))
    }

    /// A phase, where there is one.
    pub(super) fn maybe_phase(&self, i: usize) -> Result<Option<Phase>> {
        let Some(text) = self.get::<Option<String>>(i)? else {
            return Ok(None);
        };
        Phase::new(&text).map(Some).map_err(|e| self.damaged(e))
    }

    /// A word of the trade.
    pub(super) fn word<T, E: Display>(
        &self,
        i: usize,
        parse: impl FnOnce(&str) -> std::result::Result<T, E>,
    ) -> Result<T> {
        parse(&self.text(i)?).map_err(|e| self.damaged(e))
    }

    /// When and by whom it was recorded, from two columns.
    pub(super) fn mark(&self, i: usize) -> Result<Mark> {
        Ok(Mark { recorded_at: self.stamp(i)?, by: self.text(i + 1)? })
    }
}

/// Runs a query and reads every row of it.
pub(super) fn collect<T>(
    db: &rusqlite::Connection,
    table: &'static str,
    sql: &str,
    params: &[&dyn rusqlite::ToSql],
    mut read: impl FnMut(Cells<'_, '_>) -> Result<T>,
) -> Result<Vec<T>> {
    let mut query = db.prepare_cached(sql)?;
    let mut rows = query.query(params)?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        all.push(read(Cells { row, table })?);
    }
    Ok(all)
}
