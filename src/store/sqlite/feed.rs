//! Feeds a delivery to the writer: as soon as that is idle it gets what is packed; while it is busy,
//! more is packed, on the disk when the memory is full. So runs grow with the delivery, and its time
//! grows no faster than its size.

use super::packer::Packer;
use super::run::{Part, Run};
use crate::model::{Asset, AssetId};
use crate::store::{Parcel, Result};

/// Who writes the runs of one delivery, one after the other.
pub(super) trait RunWriter {
    /// Whether the last run is written.
    fn is_idle(&mut self) -> Result<bool>;

    /// Waits until the last run is written and hands over the next.
    fn hand_over(&mut self, run: Run) -> Result<()>;

    /// Buffers of a run that is written, to be used again.
    fn spare(&mut self) -> Option<Part>;
}

/// Packs all parcels and hands over the runs. The packer may have been filled once already; `more`
/// says whether parcels are left.
pub(super) fn feed(
    mut packer: Packer,
    mut more: bool,
    first_met: &dyn Fn(AssetId) -> Asset,
    parcels: &mut dyn Iterator<Item = Parcel>,
    writer: &mut dyn RunWriter,
) -> Result<()> {
    loop {
        if more && !packer.must_go() && !writer.is_idle()? {
            packer.spill()?;
        } else {
            let run = packer.take(first_met);
            if !run.is_empty() {
                writer.hand_over(run)?;
            }
            if !more {
                return Ok(());
            }
            if let Some(spare) = writer.spare() {
                packer.reuse(spare);
            }
        }
        more = packer.fill(parcels)?;
    }
}
