//! The tray after a new alias: what it explains leaves the tray by itself.

use std::collections::BTreeSet;

use super::HandError;
use crate::model::{Asset, AssetId, Correction, CorrectionKind, Stamp};
use crate::normalise::{AliasBook, PhaseRule, phase_of};
use crate::store::{Change, Reader, When, Writer};

/// Places every waiting reading whose asset and phase the aliases now tell; returns how many.
pub fn place_waiting(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    now: Stamp,
    by: &str,
) -> Result<usize, HandError> {
    let aliases: Vec<_> = reader.aliases(When::ALWAYS)?.into_iter().map(|row| row.value).collect();
    let book = AliasBook::new(&aliases);
    let mut known: BTreeSet<AssetId> =
        reader.assets(When::ALWAYS)?.into_iter().map(|a| a.id).collect();
    let (mut changes, mut placed) = (Vec::new(), 0);
    for stored in reader.tray(When::ALWAYS)? {
        let item = &stored.item;
        let at = item.reading.taken_at;
        let resolved = book.resolve(&item.written_asset, &item.written_phase, at);
        let phase = match resolved.phase {
            Some(phase) => phase,
            None => match phase_of(&item.written_phase)? {
                PhaseRule::Phase(phase) => phase,
                PhaseRule::Unmapped(_) => continue,
            },
        };
        if resolved.asset.trim().is_empty() {
            continue;
        }
        let asset = AssetId::new(&resolved.asset)?;
        if !known.contains(&asset) {
            changes.push(Change::Asset(Asset::first_met(asset.clone())));
            known.insert(asset.clone());
        }
        placed += 1;
        changes.push(Change::Correction(Correction {
            reading: stored.id,
            kind: CorrectionKind::Move { asset, phase },
            reason: "an alias says so".into(),
        }));
    }
    if !changes.is_empty() {
        writer.record(now, by, &changes)?;
    }
    Ok(placed)
}
