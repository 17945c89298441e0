//! The assets that somebody may choose from to measure one.

use crate::dossier::{Fleet, Standing};
use crate::model::Asset;
use crate::store::{Reader, Result, When};

/// The assets in service, and the parts to learn on: those are measured too. What was retired or
/// merged into another one is not offered; who types its id is not kept from it.
pub(super) fn offered<R: Reader + ?Sized>(reader: &R) -> Result<Vec<Asset>> {
    let fleet = Fleet::read(reader, When::ALWAYS)?;
    let measured =
        |standing: &Standing| standing.is_in_service() || *standing == Standing::Training;
    let assets = fleet.assets.into_iter().filter(|(_, standing)| measured(standing));
    Ok(assets.map(|(asset, _)| asset).collect())
}
