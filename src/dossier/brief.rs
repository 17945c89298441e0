//! What the watch has to know of an asset: the verdict and what leads to findings, without the
//! readings. A stream's history may be of any length; this takes little memory of it.

use std::collections::BTreeMap;

use super::{Desk, DossierError, Entry, Group, Standing, Wait, Waits};
use crate::model::{Asset, AssetId, Stamp, Text, Verdict};
use crate::store::Reader;
use crate::visits::{Corrected, Exclusion, Gathering, Seat};

/// A dossier without its readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Brief {
    /// The asset as known.
    pub asset: Asset,
    /// How it stands to the fleet.
    pub standing: Standing,
    /// The charts, the most urgent first.
    pub groups: Vec<Group>,
    /// How many readings it has.
    pub readings: usize,
    /// How many of them are left out of the trend.
    pub left_out: usize,
    /// The reading that came last.
    pub newest: Option<Entry>,
    /// The testers whose failed proofs leave readings out, each with the last of these.
    pub failed: BTreeMap<Text, Stamp>,
    /// When it was not tested for longer than it should, by time.
    pub(super) waits: Vec<Wait>,
}

impl Brief {
    /// The worst verdict of its charts; `too few` where there is none.
    pub fn verdict(&self) -> Verdict {
        super::worst(&self.groups)
    }
}

/// Readings counted one after the other.
#[derive(Default)]
struct Count {
    readings: usize,
    left_out: usize,
    newest: Option<(Corrected, Stamp, Seat)>,
    failed: BTreeMap<Text, Stamp>,
}

impl Count {
    fn add(&mut self, corrected: Corrected, recorded_at: Stamp, seat: Seat) {
        self.readings += 1;
        if let Some(why) = seat.exclusion() {
            self.left_out += 1;
            if matches!(why, Exclusion::ProofFailed(_)) {
                // They come by time.
                self.failed.insert(corrected.reading.tester.clone(), corrected.reading.taken_at);
            }
        }
        if self.newest.as_ref().is_none_or(|(newest, ..)| newest.id < corrected.id) {
            self.newest = Some((corrected, recorded_at, seat));
        }
    }
}

impl<R: Reader + ?Sized> Desk<'_, R> {
    /// The brief of one asset; of one that was merged into another, that of the other.
    pub fn brief(&self, id: &AssetId) -> Result<Brief, DossierError> {
        let asset = self.asset(id)?;
        let mut gathering = Gathering::new(
            &self.records.suspicions,
            self.occasions(&asset.id),
            &self.records.settings.visits,
        );
        let mut count = Count::default();
        let mut waits = Waits::of(&asset);
        self.records.for_each(&asset.id, &mut |corrected, recorded_at| {
            let seat = gathering.add(&corrected);
            waits.add(&corrected);
            count.add(corrected, recorded_at, seat);
        })?;
        let (lines, chosen) = gathering.finish();
        let story = self.story(&asset)?;
        let newest = count.newest.map(|(corrected, recorded_at, seat)| {
            self.entry(&asset, chosen.judge(corrected, seat), recorded_at)
        });
        Ok(Brief {
            groups: self.groups(&asset, lines, &story.events),
            standing: story.standing,
            readings: count.readings,
            left_out: count.left_out,
            newest,
            failed: count.failed,
            waits: waits.finish(),
            asset,
        })
    }
}
