//! Corrections of readings by a person: void, restore, move, assign, overrule.

use crate::model::{
    AssetId, Correction, CorrectionKind, Invalid, Phase, ReadingId, Stamp, Text, text,
};
use crate::store::{Change, Reader, StoreError, Writer};

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

/// Where a moved or assigned reading belongs.
pub fn destination(asset: &str, phase: &str) -> Result<CorrectionKind, Invalid> {
    Ok(CorrectionKind::Move { asset: AssetId::new(asset)?, phase: Phase::new(phase)? })
}
