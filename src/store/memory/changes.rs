//! Changes that people make, in memory.

use std::collections::{BTreeMap, BTreeSet};

use super::State;
use crate::model::{Asset, AssetId, Correction, CorrectionKind, FindingKind, Mark, Proof, Stamp};
use crate::store::episodes::{self, Episode};
use crate::store::same;
use crate::store::{Change, FindingAct, Recorded, Result, SheetStep, StoreError, When};

impl State {
    /// Marks an asset, to be assessed from a measuring time on.
    pub(super) fn mark(&mut self, asset: &AssetId, from: Stamp) {
        let mark = self.last_mark;
        let pending = self.pending.entry(asset.clone()).or_insert((from, mark));
        *pending = (from.min(pending.0), mark);
    }

    /// Marks every asset that a tester was used on at `from` or later.
    fn mark_users(&mut self, tester: &str, from: Stamp) {
        let uses = self.uses(tester).into_iter();
        let users: BTreeSet<AssetId> =
            uses.filter(|(_, at)| same::use_until(*at) >= from).map(|(asset, _)| asset).collect();
        users.iter().for_each(|asset| self.mark(asset, from));
    }

    /// Records one change; whether it was new.
    pub(super) fn change(&mut self, change: &Change, mark: &Mark) -> Result<bool> {
        let new = match change {
            Change::Class(class) if class.name.is_empty() => {
                let why = "a class without a name cannot be registered";
                return Err(StoreError::Other(why.to_owned()));
            }
            Change::Class(class) => {
                !self.classes(When::ALWAYS).iter().any(|row| row.value == *class)
            }
            Change::Asset(asset) => self.asset(&asset.id, When::ALWAYS).as_ref() != Some(asset),
            Change::Event(_)
            | Change::Gear(_)
            | Change::Proof(_)
            | Change::Alias(_)
            | Change::Account(_)
            | Change::Token(_) => !self.stands(change),
            Change::Access(_) => true,
            Change::EventVoid(event) => self.event_at(event).is_some(),
            Change::ProofVoid(proof) => self.stands(&Change::Proof(proof.clone())),
            Change::AliasVoid(alias) => self.alias_like(alias).is_some(),
            Change::Correction(correction) => self.is_new_correction(correction)?,
            Change::FindingAct(act) => return self.act(act.clone(), mark),
            Change::Step(step) => self.follows(step)?,
        };
        if !new {
            return Ok(false);
        }
        match change {
            Change::Class(class) => {
                let of_class = |asset: &Asset| asset.class == class.name;
                for asset in self.registered(When::ALWAYS).into_iter().filter(of_class) {
                    self.mark(&asset.id, Stamp::MIN);
                }
            }
            Change::Asset(asset) => self.mark(&asset.id, Stamp::MIN),
            Change::Event(event) | Change::EventVoid(event) => self.mark(&event.asset, event.at),
            Change::Gear(gear) => self.mark_users(&gear.id, Stamp::MIN),
            Change::Proof(proof) | Change::ProofVoid(proof) => {
                let from = self.last_good_proof(proof);
                self.mark_users(&proof.tester, from);
                if let Ok(subject) = AssetId::of_tester(&proof.tester) {
                    self.mark(&subject, from);
                }
            }
            Change::Alias(alias) | Change::AliasVoid(alias) => {
                let from = alias.from.unwrap_or(Stamp::MIN);
                self.mark(&alias.asset, from);
                if let Some(replaced) = self.alias_like(alias) {
                    self.mark(&replaced.asset, from);
                }
                if let Ok(written) = AssetId::new(&alias.written)
                    && self.asset(&written, When::ALWAYS).is_some()
                {
                    self.mark(&written, from);
                }
            }
            Change::Correction(correction) => self.mark_corrected(correction)?,
            // Nothing that is assessed depends on them.
            Change::FindingAct(_)
            | Change::Account(_)
            | Change::Token(_)
            | Change::Access(_)
            | Change::Step(_) => {}
        }
        self.changes.push(Recorded { value: change.clone(), mark: mark.clone() });
        Ok(true)
    }

    /// A step has to follow the last one of its sheet.
    fn follows(&self, step: &SheetStep) -> Result<bool> {
        let of_sheet = self.sheet_steps().filter(|row| row.value.sheet == step.sheet);
        let last = of_sheet.map(|row| row.value.number).max().unwrap_or(0);
        match step.number == last + 1 {
            true => Ok(true),
            false => Err(StoreError::Stale { station: step.sheet.station.to_string(), last }),
        }
    }

    fn is_new_correction(&self, new: &Correction) -> Result<bool> {
        self.row(new.reading).ok_or(StoreError::NoReading(new.reading))?;
        let class = |kind: &CorrectionKind| match kind {
            CorrectionKind::Void | CorrectionKind::Restore => 0,
            CorrectionKind::Move { .. } => 1,
            CorrectionKind::Overrule => 2,
        };
        let standing = self.known(Stamp::MAX, |change| match change {
            Change::Correction(old)
                if old.reading == new.reading && class(&old.kind) == class(&new.kind) =>
            {
                Some(old.clone())
            }
            _ => None,
        });
        Ok(standing.last().map(|(old, _)| old).as_ref() != Some(new))
    }

    fn mark_corrected(&mut self, correction: &Correction) -> Result<()> {
        let id = correction.reading;
        let row = self.row(id).ok_or(StoreError::NoReading(id))?;
        let mut assets = self.targets(id, Stamp::MAX);
        assets.extend(self.home(row).cloned());
        if let CorrectionKind::Move { asset, .. } = &correction.kind {
            assets.push(asset.clone());
        }
        let at = row.stored.reading.taken_at;
        assets.iter().for_each(|asset| self.mark(asset, at));
        Ok(())
    }

    fn last_good_proof(&self, proof: &Proof) -> Stamp {
        self.proofs(When::ALWAYS)
            .into_iter()
            .map(|row| row.value)
            .filter(|p| p.passed && p.kind == proof.kind && p.tester == proof.tester)
            .map(|p| p.at)
            .filter(|&at| at < proof.at)
            .max()
            .unwrap_or(Stamp::MIN)
    }

    fn act(&mut self, mut act: FindingAct, mark: &Mark) -> Result<bool> {
        let known: BTreeMap<i64, Episode> =
            self.findings.iter().filter_map(|(&no, h)| Some((no, h.at(Stamp::MAX)?))).collect();
        let Some(no) = episodes::answered(&known, &act) else {
            let FindingAct { asset, kind, since, .. } = act;
            return Err(StoreError::NoFinding { asset, kind, since });
        };
        let number = self.findings.values().map(|h| h.acts.len()).sum();
        let history = self.findings.entry(no).or_default();
        if history
            .acts
            .last()
            .is_some_and(|(_, old)| old.value.act == act.act && old.value.remark == act.remark)
        {
            return Ok(false);
        }
        act.since = known[&no].finding.since;
        history.acts.push((number, Recorded { value: act.clone(), mark: mark.clone() }));
        if act.kind == FindingKind::CommonCause {
            self.mark(&act.asset, act.since);
        }
        Ok(true)
    }
}
