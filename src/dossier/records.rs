//! The readings of an asset with what was done with each, before anything is made of them.

use std::collections::HashMap;
use std::sync::Arc;

use super::fleet::Mergers;
use super::{DossierError, Settings, group};
use crate::model::{AssetId, Case, Line, Occasion, Proof, ReadingId, Series, Stamp, Text};
use crate::store::{Reader, When};
use crate::visits::{
    Corrected, Judged, Suspicion, TesterRecord, apply, by_time, gather, suspicions,
};

/// One state of the store, for looking at the readings of many assets; cheap to prepare.
pub struct Records<'a, R: Reader + ?Sized> {
    pub(super) reader: &'a R,
    pub(super) when: When,
    pub(super) settings: &'a Settings,
    pub(super) mergers: Mergers,
    suspicions: HashMap<Text, Vec<Suspicion>>,
    pub(super) testers: HashMap<Text, TesterRecord>,
}

/// The readings of one asset with what was done with each.
pub(super) struct Gathered {
    pub(super) recorded: HashMap<ReadingId, Stamp>,
    pub(super) suspicions: Vec<Suspicion>,
    pub(super) judged: Vec<Judged>,
    pub(super) lines: Vec<Line>,
}

impl<'a, R: Reader + ?Sized> Records<'a, R> {
    /// Prepares for many assets.
    pub fn new(reader: &'a R, when: When, settings: &'a Settings) -> Result<Self, DossierError> {
        let proofs: Vec<Proof> = reader.proofs(None, when)?.into_iter().map(|r| r.value).collect();
        let mut by_tester: HashMap<Text, Vec<Suspicion>> = HashMap::new();
        for suspicion in suspicions(&proofs, &settings.visits) {
            by_tester.entry(suspicion.tester.clone()).or_default().push(suspicion);
        }
        let mut testers: HashMap<Text, TesterRecord> = HashMap::new();
        for row in reader.gear_versions(when)? {
            let record = testers.entry(row.value.id).or_default();
            record.dues.push((row.mark.recorded_at, row.value.due));
        }
        for proof in proofs {
            testers.entry(proof.tester.clone()).or_default().proofs.push(proof);
        }
        let mergers = Mergers::read(reader, when)?;
        Ok(Records { reader, when, settings, mergers, suspicions: by_tester, testers })
    }

    /// The charts of one asset, those readings included that a common cause leaves out: what such
    /// a cause is found by. Empty for an asset that is not registered or was merged into another,
    /// and for a training part, which says nothing of the fleet.
    pub fn cases(&self, id: &AssetId) -> Result<Vec<Case>, DossierError> {
        let Some(asset) = self.reader.asset(id, self.when)? else {
            return Ok(Vec::new());
        };
        if self.is_merged(id) || asset.training.is_some() {
            return Ok(Vec::new());
        }
        let lines = self.gathered(id, &[])?.lines;
        Ok(group(&asset, lines, &[]).into_values().collect())
    }

    pub(super) fn gathered(
        &self,
        id: &AssetId,
        occasions: &[Occasion],
    ) -> Result<Gathered, DossierError> {
        let mut recorded = HashMap::new();
        let mut corrected = self.of_one(id, &mut recorded)?;
        for part in self.mergers.parts(id) {
            let Ok(part) = AssetId::new(&part.value.written) else { continue };
            corrected.extend(self.of_one(&part, &mut recorded)?.into_iter().map(|mut c| {
                let series = Series { asset: id.clone(), ..(*c.reading.series).clone() };
                c.reading = c.reading.moved(Arc::new(series));
                c
            }));
            by_time(&mut corrected);
        }
        let suspicions = self.suspicions_of(&corrected);
        let (judged, lines) = gather(corrected, &suspicions, occasions, &self.settings.visits);
        Ok(Gathered { recorded, suspicions, judged, lines })
    }
    /// What readings come to, gathered by themselves: as [`Records::gathered`] does.
    pub(super) fn gather_again(&self, corrected: Vec<Corrected>) -> (Vec<Judged>, Vec<Line>) {
        let suspicions = self.suspicions_of(&corrected);
        gather(corrected, &suspicions, &[], &self.settings.visits)
    }

    /// The stretches in which the testers of these readings don't count, by time.
    fn suspicions_of(&self, corrected: &[Corrected]) -> Vec<Suspicion> {
        let mut suspicions: Vec<Suspicion> = Vec::new();
        for tester in self.suspicions.keys() {
            if corrected.iter().any(|c| c.reading.tester == *tester) {
                suspicions.extend(self.suspicions[tester].iter().cloned());
            }
        }
        suspicions.sort_by_key(|s| s.from);
        suspicions
    }

    /// When an asset was measured last, voided readings aside, what was merged into it included.
    pub fn last_tested(&self, id: &AssetId) -> Result<Option<Stamp>, DossierError> {
        let judged = self.gathered(id, &[])?.judged.into_iter().map(|j| j.corrected);
        Ok(judged.filter(|c| c.voided.is_none()).map(|c| c.reading.taken_at).max())
    }

    /// The readings that belong to an asset itself, without what was merged into it.
    fn of_one(
        &self,
        id: &AssetId,
        recorded: &mut HashMap<ReadingId, Stamp>,
    ) -> Result<Vec<Corrected>, DossierError> {
        let stored = self.reader.readings(id, self.when)?;
        recorded.extend(stored.iter().map(|s| (s.id, s.recorded_at)));
        let corrections: Vec<_> =
            self.reader.corrections(id, self.when)?.into_iter().map(|c| c.value).collect();
        Ok(apply(id, stored.into_iter().map(|s| (s.id, s.reading)), &corrections))
    }

    /// What an asset is the same as, in the end: itself where it was not merged.
    pub fn survivor<'b>(&'b self, id: &'b AssetId) -> &'b AssetId {
        self.mergers.survivor(id)
    }

    /// Whether it was merged into another.
    pub fn is_merged(&self, id: &AssetId) -> bool {
        self.survivor(id) != id
    }
}
