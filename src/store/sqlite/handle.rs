//! placeholder, to be replaced

use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use super::SqliteWriter;
use crate::model::{Asset, AssetId, Finding, Stamp};
use crate::store::{Change, Parcel, PendingMark, Receipt, Result, Source, Writer};

/// placeholder
#[derive(Clone, Debug)]
pub struct WriterHandle(pub(super) Arc<Mutex<SqliteWriter>>);

impl WriterHandle {
    fn with<T>(&self, f: impl FnOnce(&mut SqliteWriter) -> T) -> T {
        f(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Writer for WriterHandle {
    fn receive(
        &mut self,
        now: Stamp,
        source: &Source,
        first_met: &dyn Fn(AssetId) -> Asset,
        parcels: &mut dyn Iterator<Item = Parcel>,
    ) -> Result<Receipt> {
        self.with(|w| w.receive(now, source, first_met, parcels))
    }
    fn record(&mut self, now: Stamp, by: &str, changes: &[Change]) -> Result<u64> {
        self.with(|w| w.record(now, by, changes))
    }
    fn settle_rejects(&mut self, numbers: &[u64], batch: u64) -> Result<()> {
        self.with(|w| w.settle_rejects(numbers, batch))
    }
    fn settle(
        &mut self,
        now: Stamp,
        asset: &AssetId,
        seen: PendingMark,
        episodes: &[Finding],
    ) -> Result<()> {
        self.with(|w| w.settle(now, asset, seen, episodes))
    }
    fn backup(&mut self, path: &Path) -> Result<()> {
        self.with(|w| w.backup(path))
    }
}
