//! Thinning: what goes of an asset's streamed readings so that its assessment stays as it is. Off
//! unless somebody asks for it.

use std::collections::{BTreeSet, HashMap};

use super::records::{Gathered, Records};
use super::{DossierError, group};
use crate::model::{AssetId, ReadingId, Stamp};
use crate::store::Reader;
use crate::visits::{Corrected, ratios, thinnable};

impl<R: Reader + ?Sized> Records<'_, R> {
    /// The streamed readings of an asset, measured before `before`, on which nothing rests. The rest
    /// is gathered once more without them: unless points and ratios are the same, none may go.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn thinnable(&self, id: &AssetId, before: Stamp) -> Result<Vec<ReadingId>, DossierError> {
        let Some(asset) = self.reader.asset(id, self.when)? else { return Ok(Vec::new()) };
        // What was merged stays as it was recorded, should the two part again.
        if self.is_merged(id) || !self.mergers.parts(id).is_empty() {
            return Ok(Vec::new());
        }
        let corrections = self.reader.corrections(id, self.when)?;
        let corrected: BTreeSet<ReadingId> = corrections.iter().map(|c| c.value.reading).collect();
        let Gathered { judged, lines, .. } = self.gathered(id, &[])?;
        let mut streams: HashMap<u64, bool> = HashMap::new();
        for j in &judged {
            let batch = j.corrected.id.batch;
            if let std::collections::hash_map::Entry::Vacant(entry) = streams.entry(batch) {
                let of = self.reader.batch(batch)?;
                entry.insert(of.is_some_and(|batch| batch.source.kind == "serial"));
            }
        }
        let may = |c: &Corrected| {
            c.reading.taken_at < before && streams[&c.id.batch] && !corrected.contains(&c.id)
        };
        let out = thinnable(&judged, &may);
        if out.is_empty() {
            return Ok(out);
        }
        let gone: BTreeSet<ReadingId> = out.iter().copied().collect();
        let rest = judged.iter().map(|j| j.corrected.clone()).filter(|c| !gone.contains(&c.id));
        let (judged_again, lines_again) = self.gather_again(rest.collect());
        let same = ratios(&judged_again) == ratios(&judged)
            && group(&asset, lines_again, &[]) == group(&asset, lines, &[]);
        Ok(if same { out } else { Vec::new() })
    }
}
