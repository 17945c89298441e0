//! Asking the memory.

use std::collections::BTreeMap;

use super::{MemoryStore, Row, State};
use crate::model::{
    Access, Account, Alias, Asset, AssetClass, AssetId, Correction, CorrectionKind, Event, Finding,
    FindingKind, Gear, Mark, Proof, Reading, ReadingId, Stamp, Text, Token,
};
use crate::store::{
    Batch, Change, DayTemperature, FindingAct, PastChange, Pending, PendingMark, Posted, Reader,
    Recorded, Result, SheetKey, SheetStep, Stored, StoredReject, StoredTray, Telling, TrayItem,
    When, episodes, same,
};

/// The latest of equal keys, unless it was taken back: `Some` stands, `None` is void.
fn standing<K: Ord, T>(rows: impl Iterator<Item = (K, Option<T>)>) -> Vec<T> {
    let mut standing = BTreeMap::new();
    for (key, row) in rows {
        match row {
            Some(row) => standing.insert(key, row),
            None => standing.remove(&key),
        };
    }
    standing.into_values().collect()
}

impl Row {
    /// In the tray: what was written for asset and phase.
    fn texts(&self) -> Option<(Text, Text)> {
        self.written.as_ref().map(|(asset, phase, _)| (asset.clone(), phase.clone()))
    }
}

impl State {
    pub(super) fn events(&self, when: When) -> Vec<Recorded<Event>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Event(event) => Some((event.clone(), true)),
            Change::EventVoid(event) => Some((event.clone(), false)),
            _ => None,
        });
        let all = all.filter(|((event, _), _)| event.at <= when.as_of);
        standing(all.map(|((value, stands), mark)| {
            let key = (value.at, value.asset.clone(), value.kind.word().to_owned());
            (key, stands.then_some(Recorded { value, mark }))
        }))
    }

    pub(super) fn event_at(&self, event: &Event) -> Option<Event> {
        let same = |e: &Event| e.at == event.at && e.asset == event.asset && e.kind == event.kind;
        self.events(When::ALWAYS).into_iter().map(|row| row.value).find(same)
    }

    pub(super) fn gear(&self, when: When) -> Vec<Recorded<Gear>> {
        let all = self.gear_versions(when).into_iter();
        standing(all.map(|row| (row.value.id.clone(), Some(row))))
    }

    pub(super) fn gear_versions(&self, when: When) -> Vec<Recorded<Gear>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Gear(gear) => Some(gear.clone()),
            _ => None,
        });
        all.map(|(value, mark)| Recorded { value, mark }).collect()
    }

    /// The steps of all run sheets as they were recorded.
    pub(super) fn sheet_steps(&self) -> impl Iterator<Item = Recorded<SheetStep>> {
        let all = self.known(Stamp::MAX, |change| match change {
            Change::Step(step) => Some(step.clone()),
            _ => None,
        });
        all.map(|(value, mark)| Recorded { value, mark })
    }

    pub(super) fn proofs(&self, when: When) -> Vec<Recorded<Proof>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Proof(proof) => Some((proof.clone(), true)),
            Change::ProofVoid(proof) => Some((proof.clone(), false)),
            _ => None,
        });
        let mut proofs: Vec<Recorded<Proof>> = Vec::new();
        for ((value, stands), mark) in all.filter(|((proof, _), _)| proof.at <= when.as_of) {
            match stands {
                true => proofs.push(Recorded { value, mark }),
                false => proofs.retain(|row| row.value != value),
            }
        }
        proofs.sort_by(|a, b| (a.value.at, &a.value.tester).cmp(&(b.value.at, &b.value.tester)));
        proofs
    }

    pub(super) fn aliases(&self, when: When) -> Vec<Recorded<Alias>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Alias(alias) => Some((alias.clone(), true)),
            Change::AliasVoid(alias) => Some((alias.clone(), false)),
            _ => None,
        });
        standing(all.map(|((value, stands), mark)| {
            (same::alias_key(&value), stands.then_some(Recorded { value, mark }))
        }))
    }

    pub(super) fn alias_like(&self, alias: &Alias) -> Option<Alias> {
        let key = same::alias_key(alias);
        let all = self.aliases(When::ALWAYS).into_iter().map(|row| row.value);
        all.into_iter().find(|a| same::alias_key(a) == key)
    }

    fn accounts(&self, when: When) -> Vec<Recorded<Account>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Account(account) => Some(account.clone()),
            _ => None,
        });
        standing(all.map(|(value, mark)| (value.name.clone(), Some(Recorded { value, mark }))))
    }

    fn tokens(&self, when: When) -> Vec<Recorded<Token>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Token(token) => Some(token.clone()),
            _ => None,
        });
        standing(all.map(|(value, mark)| (value.name.clone(), Some(Recorded { value, mark }))))
    }

    /// Whether a register row stands just as it is.
    pub(super) fn stands(&self, change: &Change) -> bool {
        let when = When::ALWAYS;
        match change {
            Change::Event(event) => self.event_at(event).as_ref() == Some(event),
            Change::Gear(gear) => self.gear(when).iter().any(|row| row.value == *gear),
            Change::Proof(proof) => self.proofs(when).iter().any(|row| row.value == *proof),
            Change::Alias(alias) => self.alias_like(alias).as_ref() == Some(alias),
            Change::Account(account) => self.accounts(when).iter().any(|r| r.value == *account),
            Change::Token(token) => self.tokens(when).iter().any(|row| row.value == *token),
            _ => false,
        }
    }

    pub(super) fn corrections(&self, when: When) -> Vec<Recorded<Correction>> {
        let all = self.known(when.known_at, |change| match change {
            Change::Correction(correction) => Some(correction.clone()),
            _ => None,
        });
        all.map(|(value, mark)| Recorded { value, mark }).collect()
    }

    fn rows(&self, when: When) -> Vec<&Row> {
        let within = |row: &&Row| {
            row.stored.reading.taken_at <= when.as_of && row.stored.recorded_at <= when.known_at
        };
        let mut rows: Vec<_> = self.readings.iter().filter(within).collect();
        rows.sort_by_key(|row| (row.texts(), row.nth));
        rows.sort_by(|a, b| same::by_time(&a.stored.reading, &b.stored.reading));
        rows
    }
}

impl Reader for MemoryStore {
    fn origin(&self) -> Result<String> {
        Ok("memory".to_owned())
    }

    fn assets(&self, when: When) -> Result<Vec<Asset>> {
        let state = self.state();
        let all = state.registered(when).into_iter();
        Ok(all.map(|asset| state.meant(asset, when)).collect())
    }

    fn asset(&self, id: &AssetId, when: When) -> Result<Option<Asset>> {
        let state = self.state();
        Ok(state.asset(id, when).map(|asset| state.meant(asset, when)))
    }

    fn assets_as_registered(&self, when: When) -> Result<Vec<Asset>> {
        Ok(self.state().registered(when))
    }

    fn asset_as_registered(&self, id: &AssetId, when: When) -> Result<Option<Asset>> {
        Ok(self.state().asset(id, when))
    }

    fn classes(&self, when: When) -> Result<Vec<Recorded<AssetClass>>> {
        Ok(self.state().classes(when))
    }

    fn for_each_of(
        &self,
        asset: &AssetId,
        when: When,
        each: &mut dyn FnMut(Stored) -> Result<()>,
    ) -> Result<()> {
        let state = self.state();
        let here = |row: &&Row| {
            state.home(row) == Some(asset)
                || state.targets(row.stored.id, when.known_at).contains(asset)
        };
        let rows = state.rows(when).into_iter().filter(here).map(|row| row.stored.clone());
        let rows: Vec<_> = rows.collect();
        // Not under the lock: `each` may ask for something itself.
        drop(state);
        rows.into_iter().try_for_each(each)
    }

    fn for_each_reading(
        &self,
        when: When,
        each: &mut dyn FnMut(&Stored) -> Result<()>,
    ) -> Result<()> {
        // Not under the lock: `each` may ask for something itself.
        let rows: Vec<_> = self.state().rows(when).into_iter().map(|r| r.stored.clone()).collect();
        rows.iter().try_for_each(each)
    }

    fn last_taken(&self, when: When) -> Result<Vec<(AssetId, Stamp)>> {
        let state = self.state();
        let corrections = state.corrections(When { as_of: Stamp::MAX, ..when });
        let mut last: BTreeMap<AssetId, Stamp> = BTreeMap::new();
        for row in state.rows(when) {
            let of = corrections.iter().filter(|c| c.value.reading == row.stored.id);
            let (mut asset, mut stands) = (state.home(row).cloned(), true);
            for correction in of {
                match &correction.value.kind {
                    CorrectionKind::Move { asset: to, .. } => asset = Some(to.clone()),
                    CorrectionKind::Void => stands = false,
                    CorrectionKind::Restore => stands = true,
                    CorrectionKind::Overrule => {}
                }
            }
            if let Some(asset) = asset.filter(|_| stands) {
                // Rows come by time.
                last.insert(asset, row.stored.reading.taken_at);
            }
        }
        Ok(last.into_iter().collect())
    }

    fn find(&self, id: ReadingId) -> Result<Option<Stored>> {
        Ok(self.state().row(id).map(|row| row.stored.clone()))
    }

    fn corrections(&self, asset: &AssetId, when: When) -> Result<Vec<Recorded<Correction>>> {
        let state = self.state();
        let mut all = state.corrections(when);
        all.retain(|row| {
            let id = row.value.reading;
            let home = state.row(id).and_then(|row| state.home(row));
            home == Some(asset) || state.targets(id, when.known_at).contains(asset)
        });
        Ok(all)
    }

    fn all_corrections(&self, when: When) -> Result<Vec<Recorded<Correction>>> {
        Ok(self.state().corrections(when))
    }

    fn events(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Recorded<Event>>> {
        let mut all = self.state().events(when);
        all.retain(|row| asset.is_none_or(|asset| row.value.asset == *asset));
        Ok(all)
    }

    fn gear(&self, when: When) -> Result<Vec<Recorded<Gear>>> {
        Ok(self.state().gear(when))
    }

    fn gear_versions(&self, when: When) -> Result<Vec<Recorded<Gear>>> {
        Ok(self.state().gear_versions(when))
    }

    fn proofs(&self, tester: Option<&str>, when: When) -> Result<Vec<Recorded<Proof>>> {
        let mut all = self.state().proofs(when);
        all.retain(|row| tester.is_none_or(|tester| row.value.tester == tester));
        Ok(all)
    }

    fn aliases(&self, when: When) -> Result<Vec<Recorded<Alias>>> {
        Ok(self.state().aliases(when))
    }

    fn tray(&self, when: When) -> Result<Vec<StoredTray>> {
        use crate::model::CorrectionKind::{Move, Restore, Void};
        let state = self.state();
        let corrections = state.corrections(when);
        let of = |id: ReadingId| {
            corrections.iter().map(|c| &c.value).filter(move |c| c.reading == id).map(|c| &c.kind)
        };
        let waits = |row: &&Row| {
            let id = row.stored.id;
            let counts = of(id).rfind(|kind| matches!(kind, Void | Restore));
            counts != Some(&Void) && !of(id).any(|kind| matches!(kind, Move { .. }))
        };
        let mut rows: Vec<_> = state.rows(when).into_iter().filter(waits).collect();
        rows.sort_by_key(|row| (row.stored.reading.taken_at, row.texts()));
        let items = rows.into_iter().filter_map(|row| {
            let (written_asset, written_phase, reason) = row.written.clone()?;
            let Stored { id, reading, recorded_at, .. } = row.stored.clone();
            let item = TrayItem { reading, written_asset, written_phase, reason };
            Some(StoredTray { id, item, recorded_at })
        });
        Ok(items.collect())
    }

    fn rejects(&self, settled: bool) -> Result<Vec<StoredReject>> {
        let state = self.state();
        let all = state.rejects.iter().enumerate().map(|(i, reject)| StoredReject {
            number: i as u64 + 1,
            batch: reject.batch,
            place: reject.place,
            item: reject.item.clone(),
            settled_by: reject.settled_by,
        });
        Ok(all.filter(|reject| settled || reject.settled_by.is_none()).collect())
    }

    fn line(&self, batch: u64, record: u64) -> Result<Option<Vec<u8>>> {
        Ok(self.state().lines.get(&(batch, record)).cloned())
    }

    fn day_temperatures(&self) -> Result<Vec<DayTemperature>> {
        let mut days: BTreeMap<(Text, i64), (i64, f64, f64)> = BTreeMap::new();
        let state = self.state();
        let stored = state.readings.iter().map(|row| &row.stored.reading);
        let mut all: Vec<&Reading> = stored.chain(&state.thinned).collect();
        all.sort_by(|a, b| same::by_time(a, b));
        for reading in all {
            if let Some(celsius) = reading.temperature_c {
                let key = (reading.station.clone(), reading.taken_at.utc_day());
                let (n, sum, squares) = days.entry(key).or_default();
                *n += 1;
                *sum += celsius;
                *squares += celsius * celsius;
            }
        }
        let all = days.into_iter().map(|((station, day), (n, sum, squares))| DayTemperature {
            station,
            day,
            n,
            sum,
            squares,
        });
        Ok(all.collect())
    }

    fn batches_of_file(&self, digest: &str) -> Result<Vec<u64>> {
        let of_file = |b: &&Batch| b.source.file.as_ref().is_some_and(|f| f.digest == digest);
        Ok(self.state().batches.iter().filter(of_file).map(|b| b.number).collect())
    }

    fn batch(&self, number: u64) -> Result<Option<Batch>> {
        let state = self.state();
        Ok((number as usize).checked_sub(1).and_then(|i| state.batches.get(i)).cloned())
    }

    fn uses_of_tester(
        &self,
        tester: &str,
        from: Stamp,
        to: Stamp,
    ) -> Result<Vec<(AssetId, Stamp)>> {
        let mut uses = self.state().uses(tester);
        uses.retain(|(_, at)| (from..=to).contains(at));
        uses.sort_unstable_by(|a, b| (a.1, &a.0).cmp(&(b.1, &b.0)));
        uses.dedup();
        Ok(uses)
    }

    fn acts(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Recorded<FindingAct>>> {
        let state = self.state();
        let mut acts = Vec::new();
        for history in state.findings.values() {
            let Some(episode) = history.at(when.known_at) else {
                continue;
            };
            let finding = episode.finding;
            if finding.since > when.as_of || asset.is_some_and(|asset| *asset != finding.asset) {
                continue;
            }
            for (number, row) in history.acts_at(when.known_at) {
                let value = FindingAct { since: finding.since, ..row.value.clone() };
                acts.push((*number, Recorded { value, mark: row.mark.clone() }));
            }
        }
        acts.sort_by_key(|(number, _)| *number);
        Ok(acts.into_iter().map(|(_, row)| row).collect())
    }

    fn findings(&self, asset: Option<&AssetId>, when: When) -> Result<Vec<Finding>> {
        let state = self.state();
        let all = state.findings.values().filter_map(|history| history.shown(when));
        let of = |finding: &Finding| asset.is_none_or(|asset| finding.asset == *asset);
        Ok(episodes::newest_first(all.filter(of).collect()))
    }

    fn findings_of(&self, kind: FindingKind, when: When) -> Result<Vec<Finding>> {
        let mut all = self.findings(None, when)?;
        all.retain(|finding| finding.kind == kind);
        Ok(all)
    }

    fn sheets(&self, station: Option<&str>, most: usize) -> Result<Vec<SheetKey>> {
        let state = self.state();
        let first = state.sheet_steps().filter(|row| row.value.number == 1);
        let mut keys: Vec<SheetKey> = first
            .map(|row| row.value.sheet)
            .filter(|key| station.is_none_or(|station| key.station == station))
            .collect();
        keys.sort_by(|a, b| b.opened.cmp(&a.opened).then(a.station.cmp(&b.station)));
        keys.truncate(most);
        Ok(keys)
    }

    fn steps(&self, sheet: &SheetKey) -> Result<Vec<Recorded<SheetStep>>> {
        Ok(self.state().sheet_steps().filter(|row| row.value.sheet == *sheet).collect())
    }

    fn accounts(&self, when: When) -> Result<Vec<Recorded<Account>>> {
        Ok(self.state().accounts(when))
    }

    fn tokens(&self, when: When) -> Result<Vec<Recorded<Token>>> {
        Ok(self.state().tokens(when))
    }

    fn accesses(&self, since: Stamp, when: When) -> Result<Vec<Recorded<Access>>> {
        let state = self.state();
        let all = state.known(when.known_at, |change| match change {
            Change::Access(access) => Some(access.clone()),
            _ => None,
        });
        let all = all.filter(|(_, mark)| mark.recorded_at >= since);
        Ok(all.map(|(value, mark)| Recorded { value, mark }).collect())
    }

    fn numbered_findings(&self, when: When) -> Result<Vec<(u64, Finding)>> {
        let state = self.state();
        let all = state.findings.iter();
        Ok(all.filter_map(|(&no, history)| Some((no as u64, history.shown(when)?))).collect())
    }

    fn outbox(&self, waiting: bool) -> Result<Vec<Posted>> {
        Ok(self.state().outbox(waiting))
    }

    fn tellings(&self, channel: &str) -> Result<Vec<Telling>> {
        Ok(self.state().tellings(channel))
    }

    fn posted_at(&self, channel: &str, key: &str) -> Result<Option<Stamp>> {
        Ok(self.state().posted_at(channel, key))
    }

    fn changes(&self) -> Result<Vec<PastChange>> {
        let acts = self
            .acts(None, When::ALWAYS)?
            .into_iter()
            .map(|act| Recorded { value: Change::FindingAct(act.value), mark: act.mark });
        let state = self.state();
        let all = state.changes.iter().enumerate().map(|(i, row)| PastChange {
            by_person: !state.first_met.contains(&i),
            row: row.clone(),
        });
        let acts = acts.map(|row| PastChange { by_person: true, row });
        Ok(all.chain(acts).filter(|c| !matches!(c.row.value, Change::Access(_))).collect())
    }

    fn entered_by_hand(&self) -> Result<Vec<Recorded<u64>>> {
        let state = self.state();
        let by_hand = state.batches.iter().filter(|batch| {
            let has_readings = || state.readings.iter().any(|r| r.stored.id.batch == batch.number);
            batch.source.kind == "hand" && has_readings()
        });
        let marked = by_hand.map(|batch| {
            let mark = Mark { recorded_at: batch.received_at, by: batch.source.name.clone() };
            Recorded { value: batch.number, mark }
        });
        Ok(marked.collect())
    }

    fn pending(&self) -> Result<Vec<Pending>> {
        let state = self.state();
        let all = state.pending.iter().map(|(asset, (from, mark))| Pending {
            asset: asset.clone(),
            from: *from,
            mark: PendingMark(*mark),
        });
        Ok(all.collect())
    }

    fn check(&self) -> Result<Vec<String>> {
        Ok(Vec::new())
    }
}
