//! Corrections of readings by a person: void, restore, move, assign, overrule.

use crate::model::{
    AssetId, Correction, CorrectionKind, Invalid, Phase, ReadingId, Stamp, Text, text,
};
use crate::normalise::{PhaseRule, phase_of};
use crate::store::{Change, Reader, StoreError, When, Writer};

use super::changes::known;

/// Why a correction was not made.
#[derive(Debug, thiserror::Error)]
pub enum HandError {
    /// A value that cannot be.
    #[error(transparent)]
    Invalid(#[from] Invalid),
    /// The store refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A correction without a reason or a name helps nobody later.
    #[error("`{0}` is missing: a correction is kept with who made it and why")]
    Missing(&'static str),
    /// What it is about is not registered.
    #[error("there is no asset `{0}` (a new one has to be added first)")]
    NoAsset(AssetId),
    /// What is to be taken back or answered does not stand.
    #[error("{0} (the list of them shows what stands)")]
    NotThere(String),
    /// A class that nobody registered.
    #[error(
        "`class`: expected one that is registered (known: {known}), found `{name}` (`ohmward class \
         add` adds one)"
    )]
    NoClass {
        /// What was named.
        name: Text,
        /// The names there are.
        known: String,
    },
    /// The phase as written says nothing of the winding.
    #[error("`phase` is missing: {0}")]
    NoPhase(String),
}

/// Corrects one reading, named by its id, with a name and a reason.
pub fn correct(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    now: Stamp,
    by: &str,
    reading: ReadingId,
    kind: CorrectionKind,
    reason: &str,
) -> Result<(), HandError> {
    let by = person(by)?;
    let reason = text("reason", reason)?;
    if reason.is_empty() {
        return Err(HandError::Missing("reason"));
    }
    if reader.find(reading)?.is_none() {
        return Err(StoreError::NoReading(reading).into());
    }
    writer.record(now, &by, &[Change::Correction(Correction { reading, kind, reason })])?;
    Ok(())
}

/// The name of the person who makes a change; never empty.
pub fn person(by: &str) -> Result<Text, HandError> {
    let by = text("by", by)?;
    if by.is_empty() {
        return Err(HandError::Missing("by"));
    }
    Ok(by)
}

/// Says where a reading belongs, in a series or out of the tray. Without a phase it keeps its own;
/// one in the tray keeps what was written, where that names a phase.
pub fn move_to(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    (now, by): (Stamp, &str),
    reading: ReadingId,
    (asset, phase): (&AssetId, Option<&str>),
    reason: &str,
) -> Result<(), HandError> {
    known(reader, asset)?;
    let stored = reader.find(reading)?.ok_or(StoreError::NoReading(reading))?;
    let phase = match phase {
        Some(phase) => Phase::new(phase)?,
        None if stored.in_tray => {
            let waiting = reader.tray(When::ALWAYS)?.into_iter().find(|t| t.id == reading);
            let written = waiting.map(|t| t.item.written_phase).unwrap_or_default();
            match phase_of(&written)? {
                PhaseRule::Phase(phase) => phase,
                PhaseRule::Unmapped(why) => return Err(HandError::NoPhase(why.to_string())),
            }
        }
        None => stored.reading.series.phase.clone(),
    };
    let kind = CorrectionKind::Move { asset: asset.clone(), phase };
    correct(reader, writer, now, by, reading, kind, reason)
}
