//! A station: the sheet that lies open there, what its stream brings, and whom a value belongs to.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, RwLock};

use super::act::{Act, Entry, Point};
use super::live::{Live, LiveValue};
use super::proving::Settings;
use super::refusal::Refusal;
use super::sheet::Sheet;
use super::take::{Command, Facts, Taken, open, take};
use super::{readings, wire, words};
use crate::model::{Asset, AssetId, Reading, Stamp, Text};
use crate::normalise::{Belongs, Identify, OnBench};
use crate::store::{Change, Reader, SheetKey, SheetStep, StoreError, When, Writer};

/// What the configuration says of a station, as far as a run sheet asks.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Setup {
    /// The tester; empty: not stated.
    pub tester: Text,
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// Whether the stream itself tells when a test begins; else a person does.
    pub starts_itself: bool,
    /// Whether the seconds of a test are counted from its first line, and not told by the tester.
    pub counts_seconds: bool,
    /// What always lies there while no sheet is open.
    pub always: Option<OnBench>,
}

/// A station as the daemon runs it.
#[derive(Debug)]
pub struct Station {
    /// Its name.
    pub name: Text,
    /// As configured.
    pub setup: Setup,
    state: Mutex<State>,
}

#[derive(Debug, Default)]
struct State {
    /// The latest sheet, open or ended.
    sheet: Option<Sheet>,
    live: Live,
    /// When the line arrived that is being looked at.
    arrived: Option<Stamp>,
}

/// What whoever watches a station sees at once.
#[derive(Clone, Debug)]
pub struct Watched {
    /// The latest sheet; none: there has never been one.
    pub sheet: Option<Sheet>,
    /// The last value of the stream.
    pub last: Option<LiveValue>,
    /// The values of the test under way or just ended.
    pub test: Vec<LiveValue>,
    /// When the voltage of the test under way went on, as far as is known.
    pub started: Option<Stamp>,
    /// Whether its seconds began anew meanwhile.
    pub is_in_doubt: bool,
}

/// What somebody has seen of a sheet before asking something of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// The sheet.
    pub opened: Stamp,
    /// The number of its last step.
    pub version: u32,
}

/// Who asks, and when.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The person.
    pub by: &'a str,
    /// The time.
    pub now: Stamp,
    /// The numbers of the workshop.
    pub settings: &'a Settings,
}

impl Station {
    /// The station with the sheet that was last open there.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn new(name: Text, setup: Setup, reader: &dyn Reader) -> Result<Self, StoreError> {
        let sheet = match reader.sheets(Some(&name), 1)?.pop() {
            Some(key) => sheet_of(reader, &key)?,
            None => None,
        };
        // Of a test that was under way the first line is forgotten.
        let under_way = sheet.as_ref().is_some_and(|sheet| sheet.under_way().is_some());
        let live = match under_way && setup.counts_seconds {
            true => Live::interrupted(),
            false => Live::default(),
        };
        let state = State { sheet, live, arrived: None };
        Ok(Station { name, setup, state: Mutex::new(state) })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How it stands now.
    pub fn watched(&self) -> Watched {
        let state = self.state();
        let under_way = state.sheet.as_ref().and_then(Sheet::under_way);
        let started = under_way.and_then(|(_, attempt)| match self.setup.starts_itself {
            true => state.live.started(),
            false => Some(attempt.begun),
        });
        let (sheet, last, test) = (state.sheet.clone(), state.live.last, state.live.test.clone());
        Watched { sheet, last, test, started, is_in_doubt: state.live.is_in_doubt() }
    }

    /// Opens a sheet for an asset, which is registered first if it is new (`register`).
    ///
    /// # Errors
    /// An open sheet, an asset that is not known or must not be tested, a store that refuses.
    pub fn open(
        &self,
        (reader, writer): (&dyn Reader, &mut dyn Writer),
        asked: Asked<'_>,
        id: &AssetId,
        register: Option<Asset>,
        energised: bool,
    ) -> Result<(), Refusal> {
        let mut state = self.state();
        if let Some(sheet) = state.sheet.as_ref().filter(|sheet| sheet.end.is_none()) {
            return Err(Refusal::Open(sheet.asset.clone()));
        }
        let merged = reader.aliases(When::ALWAYS)?.into_iter().map(|row| row.value);
        if let Some(alias) = merged.into_iter().find(|a| a.merged && a.written == id.as_str()) {
            return Err(Refusal::Merged { asset: id.clone(), into: alias.asset });
        }
        let known = reader.asset(id, When::ALWAYS)?;
        let (asset, changes) = match (known, register) {
            (Some(asset), _) => (asset, vec![]),
            (None, Some(asset)) => (asset.clone(), vec![Change::Asset(asset)]),
            (None, None) => return Err(Refusal::NoAsset(id.clone())),
        };
        let act = open(&asset, energised)?;
        let key = SheetKey { station: self.name.clone(), opened: asked.now };
        let taken = Taken { acts: vec![act], changes };
        let log = record(writer, &key, 0, &taken, asked)?;
        state.live.begin();
        state.sheet = Sheet::of(key, log);
        Ok(())
    }

    /// Does what a person asks of a sheet: the one that lies open here, or an earlier one whose
    /// readings are to be put right.
    ///
    /// # Errors
    /// Why it was refused; then nothing was changed.
    pub fn command(
        &self,
        (reader, writer): (&dyn Reader, &mut dyn Writer),
        asked: Asked<'_>,
        seen: &Seen,
        command: &Command,
    ) -> Result<(), Refusal> {
        let mut state = self.state();
        let key = SheetKey { station: self.name.clone(), opened: seen.opened };
        let current = state.sheet.as_ref().filter(|sheet| sheet.key == key);
        let sheet = match current {
            Some(sheet) => sheet.clone(),
            None => sheet_of(reader, &key)?.ok_or_else(|| Refusal::NoSheet(self.name.clone()))?,
        };
        if sheet.version() != seen.version {
            let since = sheet.log.iter().filter(|entry| entry.number > seen.version);
            let told: Vec<String> = since.map(|entry| words::entry(&sheet, entry)).collect();
            return Err(Refusal::Stale(told.join("; ")));
        }
        let asset = reader.asset(&sheet.asset, When::ALWAYS)?;
        let asset = asset.ok_or_else(|| Refusal::NoAsset(sheet.asset.clone()))?;
        let gear: Vec<_> = reader.gear(When::ALWAYS)?.into_iter().map(|row| row.value).collect();
        let of_tests = readings::of_tests(reader, &sheet)?;
        let live = state.live.last.filter(|live| live.at > sheet.since());
        let facts = Facts {
            now: asked.now,
            asset: &asset,
            gear: &gear,
            live: live.map(|live| live.value),
            starts_itself: self.setup.starts_itself,
            readings: &of_tests,
            applied_s: state.live.test.iter().filter_map(|v| v.seconds).reduce(f64::max),
            settings: asked.settings,
        };
        let taken = take(&sheet, command, &facts)?;
        if let Command::Move { asset, .. } = command
            && reader.asset(asset, When::ALWAYS)?.is_none()
        {
            return Err(Refusal::NoAsset(asset.clone()));
        }
        let more = record(writer, &key, sheet.version(), &taken, asked)?;
        let begins = taken.acts.iter().any(|act| matches!(act, Act::Begun(_)));
        if state.sheet.as_ref().is_some_and(|current| current.key == key) {
            state.sheet = Some(sheet.with(more));
            if begins {
                state.live.begin();
            }
        }
        Ok(())
    }
}

/// Records acts behind the last step that was seen, together with what they change.
fn record(
    writer: &mut dyn Writer,
    key: &SheetKey,
    version: u32,
    taken: &Taken,
    asked: Asked<'_>,
) -> Result<Vec<Entry>, Refusal> {
    let (mut changes, mut log) = (Vec::new(), Vec::new());
    for (number, act) in (version + 1..).zip(&taken.acts) {
        let (word, details) = wire::encode(act);
        let (sheet, at) = (key.clone(), asked.now);
        changes.push(Change::Step(SheetStep { sheet, number, at, act: word, details }));
        log.push(Entry { number, at: asked.now, by: asked.by.into(), act: act.clone() });
    }
    // What an act changes comes before it in the same commit: an asset is registered, then chosen.
    changes.splice(0..0, taken.changes.iter().cloned());
    writer.record(asked.now, asked.by, &changes)?;
    Ok(log)
}

/// A sheet as the store has it.
///
/// # Errors
/// When the store cannot be read, or a step does not read back.
pub fn sheet_of(reader: &dyn Reader, key: &SheetKey) -> Result<Option<Sheet>, StoreError> {
    let log: Vec<Entry> = reader.steps(key)?.iter().map(wire::decode).collect::<Result<_, _>>()?;
    Ok(Sheet::of(key.clone(), log))
}

impl Identify for Station {
    fn identify(&self, at: Stamp, seconds: Option<f64>) -> Belongs {
        let mut state = self.state();
        let State { sheet, live, arrived } = &mut *state;
        *arrived = Some(at);
        let Some(sheet) = sheet.as_ref().filter(|sheet| sheet.end.is_none()) else {
            let always = self.setup.always.clone();
            return always.map_or(Belongs::Nobody, |bench| Belongs::To(Box::new(bench)));
        };
        if let Some(Point::Proof(..)) = sheet.next() {
            return Belongs::Aside;
        }
        let (Some((test, attempt)), Some(plan)) = (sheet.under_way(), &sheet.plan) else {
            return Belongs::Nobody;
        };
        let counted = at.micros().saturating_sub(attempt.begun.micros()).max(0) as f64 / 1e6;
        let counted = (!self.setup.starts_itself).then(|| (counted * 10.0).round() / 10.0);
        let seconds = seconds.or(counted);
        // What had arrived before the test may begin is not of it.
        if at < attempt.begun || !live.belongs(at, seconds, plan.rated_s) {
            return Belongs::Nobody;
        }
        Belongs::To(Box::new(OnBench {
            asset: sheet.asset.clone(),
            phase: sheet.tests[test].phase.clone(),
            setup: plan.setup.clone(),
            test_voltage_v: Some(plan.test_voltage_v),
            tester: sheet.gear.as_ref().map(|gear| gear.tester.clone()).unwrap_or_default(),
            operator: plan.operator.clone(),
            seconds,
            temperature: plan.temperature,
            humidity_pct: plan.humidity_pct,
        }))
    }

    fn saw(&self, value: &Reading, belongs: &Belongs) {
        let mut state = self.state();
        let at = state.arrived.unwrap_or(value.taken_at);
        let under_way = state.sheet.as_ref().is_some_and(|sheet| sheet.under_way().is_some());
        let of_test = under_way && matches!(belongs, Belongs::To(_));
        state.live.saw(at, value, of_test);
    }
}

/// The stations that are running.
#[derive(Debug)]
pub struct Stations {
    all: RwLock<BTreeMap<Text, Arc<Station>>>,
    settings: RwLock<Settings>,
}

impl Stations {
    /// None so far.
    pub fn new(settings: Settings) -> Self {
        Stations { all: RwLock::default(), settings: RwLock::new(settings) }
    }

    /// The numbers of the workshop.
    pub fn settings(&self) -> Settings {
        self.settings.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Other numbers from now on.
    pub fn set(&self, settings: Settings) {
        *self.settings.write().unwrap_or_else(PoisonError::into_inner) = settings;
    }

    /// One more, or another in place of the one with its name.
    pub fn add(&self, station: Arc<Station>) {
        let mut all = self.all.write().unwrap_or_else(PoisonError::into_inner);
        all.insert(station.name.clone(), station);
    }

    /// One less.
    pub fn remove(&self, name: &str) {
        self.all.write().unwrap_or_else(PoisonError::into_inner).remove(name);
    }

    /// All of them, by name.
    pub fn all(&self) -> Vec<Arc<Station>> {
        let all = self.all.read().unwrap_or_else(PoisonError::into_inner);
        all.values().cloned().collect()
    }

    /// One of them.
    ///
    /// # Errors
    /// [`Refusal::NoStation`].
    pub fn find(&self, name: &str) -> Result<Arc<Station>, Refusal> {
        let all = self.all.read().unwrap_or_else(PoisonError::into_inner);
        all.get(name).cloned().ok_or_else(|| Refusal::NoStation(name.into()))
    }
}
