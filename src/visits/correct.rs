//! What corrections make of the readings: moved, voided, restored, overruled.

use std::cmp::Ordering;
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

/// The corrections of an asset's readings by the reading they are of.
pub struct Corrections<'a> {
    asset: &'a AssetId,
    of: BTreeMap<ReadingId, Vec<Correction>>,
}

impl<'a> Corrections<'a> {
    /// Of one asset, oldest first. Of several corrections of one kind the last counts.
    pub fn new(asset: &'a AssetId, corrections: impl IntoIterator<Item = Correction>) -> Self {
        let mut of: BTreeMap<ReadingId, Vec<Correction>> = BTreeMap::new();
        for correction in corrections {
            of.entry(correction.reading).or_default().push(correction);
        }
        Corrections { asset, of }
    }

    /// What they make of a reading as taken in; none when it belongs to another asset afterwards.
    pub fn apply(&self, id: ReadingId, reading: Reading) -> Option<Corrected> {
        let mut now = Corrected { id, reading, voided: None, moved_from: None, overruled: None };
        for correction in self.of.get(&id).into_iter().flatten() {
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
        (now.reading.series.asset == *self.asset).then_some(now)
    }
}

/// How readings are ordered, as [`Gathering`](super::Gathering) takes them: by time, then series.
pub fn by_time(a: &Corrected, b: &Corrected) -> Ordering {
    let (left, right) = (&a.reading, &b.reading);
    (left.taken_at, &left.series, a.id).cmp(&(right.taken_at, &right.series, b.id))
}
