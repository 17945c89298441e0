//! What corrections make of the readings: moved, voided, restored, overruled.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::model::{AssetId, Correction, CorrectionKind, Reading, ReadingId, Series, Text};

/// A reading of an asset after corrections.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// Its id.
    pub id: ReadingId,
    /// The reading under the series it belongs to now.
    pub reading: Reading,
    /// Why it does not count, when a person voided it.
    pub voided: Option<Text>,
    /// Where it was taken in, when a person moved it.
    pub moved_from: Option<Arc<Series>>,
    /// Why it counts although a proof failed, when a person overruled that.
    pub overruled: Option<Text>,
}

/// Applies corrections, oldest first, to readings as taken in, and keeps those that belong to
/// `asset` afterwards, by time, then series. Of several corrections of one kind the last counts.
pub fn apply(
    asset: &AssetId,
    readings: impl IntoIterator<Item = (ReadingId, Reading)>,
    corrections: &[Correction],
) -> Vec<Corrected> {
    let mut of: BTreeMap<ReadingId, Vec<&Correction>> = BTreeMap::new();
    for correction in corrections {
        of.entry(correction.reading).or_default().push(correction);
    }
    let mut out: Vec<Corrected> = Vec::new();
    for (id, reading) in readings {
        let mut now = Corrected { id, reading, voided: None, moved_from: None, overruled: None };
        for correction in of.get(&id).into_iter().flatten() {
            match &correction.kind {
                CorrectionKind::Void => now.voided = Some(correction.reason.clone()),
                CorrectionKind::Restore => now.voided = None,
                CorrectionKind::Overrule => now.overruled = Some(correction.reason.clone()),
                CorrectionKind::Move { asset, phase } => {
                    let from = now.moved_from.take().unwrap_or_else(|| now.reading.series.clone());
                    let to = Series {
                        asset: asset.clone(),
                        phase: phase.clone(),
                        ..(*now.reading.series).clone()
                    };
                    now.reading = now.reading.moved(Arc::new(to));
                    now.moved_from = Some(from);
                }
            }
        }
        if now.reading.series.asset == *asset {
            out.push(now);
        }
    }
    by_time(&mut out);
    out
}

/// Orders readings by time, then series, as [`gather`](super::gather) takes them.
pub fn by_time(readings: &mut [Corrected]) {
    readings.sort_by(|a, b| {
        (a.reading.taken_at, &a.reading.series, a.id).cmp(&(
            b.reading.taken_at,
            &b.reading.series,
            b.id,
        ))
    });
}
