//! The readings of an asset with what was done with each, before anything is made of them.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use super::fleet::Mergers;
use super::{DossierError, Settings, group};
use crate::model::{AssetId, Case, Line, Occasion, Proof, Series, Stamp, Text};
use crate::store::{Reader, When};
use crate::visits::{
    Corrected, Corrections, Gathering, Judged, Suspicion, Suspicions, TesterRecord, by_time, gather,
};

/// One state of the store, for looking at the readings of many assets; cheap to prepare.
pub struct Records<'a, R: Reader + ?Sized> {
    pub(super) reader: &'a R,
    pub(super) when: When,
    pub(super) settings: &'a Settings,
    pub(super) mergers: Mergers,
    pub(super) suspicions: Suspicions,
    pub(super) testers: HashMap<Text, TesterRecord>,
}

/// The readings of one asset with what was done with each.
pub(super) struct Gathered {
    /// By time.
    pub(super) judged: Vec<Judged>,
    /// When each became known.
    pub(super) recorded: Vec<Stamp>,
    /// The lines of all readings.
    pub(super) lines: Vec<Line>,
}

impl<'a, R: Reader + ?Sized> Records<'a, R> {
    /// Prepares for many assets.
    pub fn new(reader: &'a R, when: When, settings: &'a Settings) -> Result<Self, DossierError> {
        let proofs: Vec<Proof> = reader.proofs(None, when)?.into_iter().map(|r| r.value).collect();
        let suspicions = Suspicions::new(&proofs, &settings.visits);
        let mut testers: HashMap<Text, TesterRecord> = HashMap::new();
        for row in reader.gear_versions(when)? {
            let record = testers.entry(row.value.id).or_default();
            record.dues.push((row.mark.recorded_at, row.value.due));
        }
        for proof in proofs {
            testers.entry(proof.tester.clone()).or_default().proofs.push(proof);
        }
        let mergers = Mergers::read(reader, when)?;
        Ok(Records { reader, when, settings, mergers, suspicions, testers })
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
        let lines = self.gathered_of(id, &[], &mut |_| false)?.lines;
        Ok(group(&asset, lines, &[]).into_values().collect())
    }

    /// The readings of an asset with what was done with each.
    pub(super) fn gathered(
        &self,
        id: &AssetId,
        occasions: &[Occasion],
    ) -> Result<Gathered, DossierError> {
        self.gathered_of(id, occasions, &mut |_| true)
    }

    /// The same, of which only the wanted readings are kept; all of them are looked at.
    pub(super) fn gathered_of(
        &self,
        id: &AssetId,
        occasions: &[Occasion],
        wanted: &mut dyn FnMut(&Corrected) -> bool,
    ) -> Result<Gathered, DossierError> {
        let mut gathering = Gathering::new(&self.suspicions, occasions, &self.settings.visits);
        let mut seated = Vec::new();
        self.for_each(id, &mut |corrected, recorded_at| {
            let seat = gathering.add(&corrected);
            if wanted(&corrected) {
                seated.push((corrected, recorded_at, seat));
            }
        })?;
        let (lines, chosen) = gathering.finish();
        let (mut judged, mut recorded) = (Vec::with_capacity(seated.len()), Vec::new());
        for (corrected, recorded_at, seat) in seated {
            judged.push(chosen.judge(corrected, seat));
            recorded.push(recorded_at);
        }
        Ok(Gathered { judged, recorded, lines })
    }

    /// What readings come to, gathered by themselves: as [`Records::gathered`] does.
    pub(super) fn gather_again(&self, corrected: Vec<Corrected>) -> (Vec<Judged>, Vec<Line>) {
        gather(corrected, &self.suspicions, &[], &self.settings.visits)
    }

    /// The stretches in which the testers of these readings don't count, by time.
    pub(super) fn suspicions_of(&self, judged: &[Judged]) -> Vec<Suspicion> {
        let testers: BTreeSet<&Text> = judged.iter().map(|j| &j.corrected.reading.tester).collect();
        let of_all = testers.into_iter().flat_map(|tester| self.suspicions.of(tester));
        let mut suspicions: Vec<Suspicion> = of_all.cloned().collect();
        suspicions.sort_by_key(|s| s.from);
        suspicions
    }

    /// When an asset was measured last, voided readings aside, what was merged into it included.
    pub fn last_tested(&self, id: &AssetId) -> Result<Option<Stamp>, DossierError> {
        let mut last = None;
        self.for_each(id, &mut |c, _| {
            if c.voided.is_none() {
                last = last.max(Some(c.reading.taken_at));
            }
        })?;
        Ok(last)
    }

    /// Hands out the readings of an asset after corrections, what was merged into it included, in
    /// the order of [`by_time`], each with when it became known. In bounded memory, but where
    /// assets were merged.
    pub(super) fn for_each(
        &self,
        id: &AssetId,
        each: &mut dyn FnMut(Corrected, Stamp),
    ) -> Result<(), DossierError> {
        let parts = self.mergers.parts(id);
        if parts.is_empty() {
            return self.for_each_of(id, each);
        }
        let mut all: Vec<(Corrected, Stamp)> = Vec::new();
        self.for_each_of(id, &mut |c, at| all.push((c, at)))?;
        for part in parts {
            let Ok(part) = AssetId::new(&part.value.written) else { continue };
            self.for_each_of(&part, &mut |mut c, at| {
                let series = Series { asset: id.clone(), ..(*c.reading.series).clone() };
                c.reading = c.reading.moved(Arc::new(series));
                all.push((c, at));
            })?;
        }
        all.sort_by(|(a, _), (b, _)| by_time(a, b));
        all.into_iter().for_each(|(c, at)| each(c, at));
        Ok(())
    }

    /// Those that belong to an asset itself, without what was merged into it.
    fn for_each_of(
        &self,
        id: &AssetId,
        each: &mut dyn FnMut(Corrected, Stamp),
    ) -> Result<(), DossierError> {
        let corrections = self.reader.corrections(id, self.when)?.into_iter().map(|c| c.value);
        let corrections = Corrections::new(id, corrections);
        // A correction may change the order within an instant.
        let mut instant: Vec<(Corrected, Stamp)> = Vec::new();
        let mut hand_out = |instant: &mut Vec<(Corrected, Stamp)>| {
            instant.sort_by(|(a, _), (b, _)| by_time(a, b));
            instant.drain(..).for_each(|(c, at)| each(c, at));
        };
        self.reader.for_each_of(id, self.when, &mut |stored| {
            let at = stored.reading.taken_at;
            if instant.first().is_some_and(|(first, _)| first.reading.taken_at != at) {
                hand_out(&mut instant);
            }
            let corrected = corrections.apply(stored.id, stored.reading);
            instant.extend(corrected.map(|corrected| (corrected, stored.recorded_at)));
            Ok(())
        })?;
        hand_out(&mut instant);
        Ok(())
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
