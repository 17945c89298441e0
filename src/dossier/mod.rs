//! The one way to ask "what about this asset": readings, what was done with each, and the
//! assessment that follows from them.

mod brief;
mod causes;
mod due;
mod evidence;
mod fleet;
mod quality;
mod ranking;
mod records;
mod statement;
mod thin;
pub mod words;

use std::collections::{BTreeMap, HashMap};

use crate::model::{
    Alias, Asset, AssetId, CASE, Case, Event, Limit, Line, Occasion, Outcome, ReadingId, Stamp,
    Text, Verdict, Volts,
};
use crate::store::{Reader, Recorded, StoreError, When};
use crate::trend::{Assessment, Assessor, Context};
use crate::visits::{
    self, Corrected, Doubt, Exclusion, Judged, Ratio, Role, Suspicion, doubts, near_rated, ratios,
};

pub use brief::Brief;
pub use causes::{Cause, CauseEvidence, causes, finding as cause_finding};
pub use due::{Due, Task, due, tests as tests_due};
use due::{Wait, Waits};
pub use evidence::Evidence;
pub use fleet::{Fleet, Standing};
pub use quality::{Quality, TesterUse};
pub use ranking::{Ranked, expected_false, ranked, row};
use records::Gathered;
pub use records::Records;
pub use statement::{
    FindingStatement, FitStatement, LineStatement, QualityStatement, RatioStatement,
    ReadingStatement, SourceNames, Statement, TesterStatement, findings_at, told,
};
pub use words::{CAUTION, limit_words, line_words, notices, role_words, used_words};

/// How assets are assessed: how readings become visits, and what the detector is told.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// Readings to visits.
    pub visits: visits::Settings,
    /// Visits to verdicts.
    pub trend: crate::trend::Settings,
    /// Days after which streamed readings on which nothing rests are thinned out; none: never.
    pub keep_days: Option<u32>,
}

/// Why there is no dossier.
#[derive(Debug, thiserror::Error)]
pub enum DossierError {
    /// The asset is not known.
    #[error("there is no asset `{0}` (`ohmward asset list` shows all)")]
    NoAsset(AssetId),
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// A reading, what was done with it, and what it says by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The reading and its part in a visit.
    pub judged: Judged,
    /// When it became known.
    pub recorded_at: Stamp,
    /// What it says at once against each limit.
    pub outcomes: Vec<(Limit, Outcome)>,
    /// What is in doubt about it.
    pub doubts: Vec<Doubt>,
}

/// What belongs on one chart: lines of one setup, test voltage and kind of counterpart.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The setup.
    pub setup: Text,
    /// The nominal test voltage.
    pub test_voltage: Option<Volts>,
    /// Against the case; false: against other phases.
    pub against_case: bool,
    /// The points and what was done to the asset.
    pub case: Case,
    /// What follows from them.
    pub assessment: Assessment,
}

/// Everything about one asset at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Dossier {
    /// The asset as known.
    pub asset: Asset,
    /// Which rows counted.
    pub when: When,
    /// Its readings by time.
    pub entries: Vec<Entry>,
    /// Its events by time.
    pub events: Vec<Recorded<Event>>,
    /// Stretches in which a tester's readings don't count.
    pub suspicions: Vec<Suspicion>,
    /// Ratios of timed readings by time.
    pub ratios: Vec<Ratio>,
    /// The charts, the most urgent first.
    pub groups: Vec<Group>,
    /// How it stands to the fleet.
    pub standing: Standing,
    /// What was merged into it: its history is here.
    pub merged: Vec<Recorded<Alias>>,
}

/// Opens dossiers: the parts that are the same for every asset are prepared once.
pub struct Desk<'a, R: Reader + ?Sized> {
    records: Records<'a, R>,
    assessor: &'a Assessor,
    occasions: HashMap<AssetId, Vec<Occasion>>,
    context: Context,
}

impl<'a, R: Reader + ?Sized> Desk<'a, R> {
    /// Prepares for many dossiers of one state of the store.
    pub fn new(
        reader: &'a R,
        when: When,
        settings: &'a Settings,
        assessor: &'a Assessor,
    ) -> Result<Self, DossierError> {
        let records = Records::new(reader, when, settings)?;
        let occasions = causes::left_out(causes(reader, when)?);
        let context = context(reader)?;
        Ok(Desk { records, assessor, occasions, context })
    }

    /// The dossier of one asset; of one that was merged into another, the dossier of that one.
    pub fn open(&self, id: &AssetId) -> Result<Dossier, DossierError> {
        let asset = self.asset(id)?;
        let Gathered { judged, recorded, lines } =
            self.records.gathered(&asset.id, self.occasions(&asset.id))?;
        let Story { events, standing, merged } = self.story(&asset)?;
        let groups = self.groups(&asset, lines, &events);
        let ratios = ratios(&judged);
        let suspicions = self.records.suspicions_of(&judged);
        let entries = self.entries(&asset, judged, recorded);
        let when = self.records.when;
        Ok(Dossier { asset, when, entries, events, suspicions, ratios, groups, standing, merged })
    }

    /// Whether an asset was merged into another, whose dossier [`Desk::open`] gives.
    pub fn is_merged(&self, id: &AssetId) -> bool {
        self.records.is_merged(id)
    }

    /// The wanted readings of one asset with what was done with each; looks for no trend. They are
    /// asked for by time, once each.
    pub fn history(
        &self,
        id: &AssetId,
        wanted: &mut dyn FnMut(&Corrected) -> bool,
    ) -> Result<Vec<Entry>, DossierError> {
        let asset = self.asset(id)?;
        let Gathered { judged, recorded, .. } =
            self.records.gathered_of(&asset.id, self.occasions(&asset.id), wanted)?;
        Ok(self.entries(&asset, judged, recorded))
    }

    /// One reading of an asset; none when it belongs to another.
    pub fn reading(&self, asset: &AssetId, id: ReadingId) -> Result<Option<Entry>, DossierError> {
        Ok(self.history(asset, &mut |corrected| corrected.id == id)?.pop())
    }

    /// The asset as it is meant; of one that was merged into another, that one.
    fn asset(&self, id: &AssetId) -> Result<Asset, DossierError> {
        let Records { reader, when, mergers, .. } = &self.records;
        let id = mergers.survivor(id);
        reader.asset(id, *when)?.ok_or_else(|| DossierError::NoAsset(id.clone()))
    }

    /// The common causes to which it belongs.
    fn occasions(&self, id: &AssetId) -> &[Occasion] {
        self.occasions.get(id).map_or(&[][..], Vec::as_slice)
    }

    fn story(&self, asset: &Asset) -> Result<Story, DossierError> {
        let Records { reader, when, mergers, .. } = &self.records;
        let mut events = reader.events(Some(&asset.id), *when)?;
        let standing = mergers.standing(asset, &events);
        let merged: Vec<_> = mergers.parts(&asset.id).into_iter().cloned().collect();
        for part in &merged {
            if let Ok(part) = AssetId::new(&part.value.written) {
                events.extend(reader.events(Some(&part), *when)?);
            }
        }
        events.sort_by_key(|row| row.value.at);
        Ok(Story { events, standing, merged })
    }

    /// The charts that lines make, assessed, the most urgent first.
    fn groups(&self, asset: &Asset, lines: Vec<Line>, events: &[Recorded<Event>]) -> Vec<Group> {
        let cases = group(asset, lines, events);
        let mut groups: Vec<Group> = cases
            .into_iter()
            .map(|((setup, test_voltage, across), case)| Group {
                setup,
                test_voltage,
                against_case: !across,
                assessment: self.assessor.assess(&case, &self.context),
                case,
            })
            .collect();
        groups.sort_by(|a, b| {
            let newest = |g: &Group| {
                g.case.lines.iter().flat_map(|l| l.points.last()).map(|p| p.taken_at).max()
            };
            b.assessment.verdict.cmp(&a.assessment.verdict).then(newest(b).cmp(&newest(a)))
        });
        groups
    }

    fn entries(&self, asset: &Asset, judged: Vec<Judged>, recorded: Vec<Stamp>) -> Vec<Entry> {
        let all = judged.into_iter().zip(recorded);
        all.map(|(judged, recorded_at)| self.entry(asset, judged, recorded_at)).collect()
    }

    fn entry(&self, asset: &Asset, judged: Judged, recorded_at: Stamp) -> Entry {
        Entry {
            outcomes: self.outcomes(asset, &judged),
            doubts: self.doubts(&judged),
            recorded_at,
            judged,
        }
    }

    fn doubts(&self, judged: &Judged) -> Vec<Doubt> {
        let tester = self.records.testers.get(&judged.corrected.reading.tester);
        doubts(judged, tester, &self.records.settings.visits)
    }

    /// What a reading says at once. One that does not count says nothing against any limit, and a
    /// high one off the rated time does not show that the limit is met; a low one always counts.
    fn outcomes(&self, asset: &Asset, judged: &Judged) -> Vec<(Limit, Outcome)> {
        let invalid = match &judged.role {
            Role::LeftOut(Exclusion::Voided(_)) => Some("void"),
            Role::LeftOut(Exclusion::ProofFailed(_)) => Some("a proof of its tester failed"),
            Role::LeftOut(Exclusion::NoContact(_)) => Some("contact was not confirmed"),
            _ => None,
        };
        if let Some(why) = invalid {
            return asset.limits().map(|limit| (limit, Outcome::Invalid(why))).collect();
        }
        let reading = &judged.corrected.reading;
        let mut outcomes = self.assessor.outcomes(asset, reading);
        if !near_rated(reading, &self.records.settings.visits) {
            for (_, outcome) in outcomes.iter_mut().filter(|(_, o)| *o == Outcome::Meets) {
                *outcome = Outcome::CannotTell("not measured for the rated time");
            }
        }
        outcomes
    }
}

/// What was done to an asset, and how it stands.
struct Story {
    events: Vec<Recorded<Event>>,
    standing: Standing,
    merged: Vec<Recorded<Alias>>,
}

/// What the store knows beside an asset's own readings: the temperatures of its stations.
pub fn context<R: Reader + ?Sized>(reader: &R) -> Result<Context, StoreError> {
    let mut context = Context::default();
    for day in reader.day_temperatures()? {
        let n = u32::try_from(day.n).unwrap_or(u32::MAX);
        context.temperatures.add_day(&day.station, day.day, (n, day.sum, day.squares));
    }
    Ok(context)
}

/// Lines that belong on one chart, by setup, voltage, and whether they run between phases.
type GroupKey = (Text, Option<Volts>, bool);

fn group(asset: &Asset, lines: Vec<Line>, events: &[Recorded<Event>]) -> BTreeMap<GroupKey, Case> {
    let mut cases: BTreeMap<GroupKey, Case> = BTreeMap::new();
    for line in lines {
        let s = &line.series;
        let key = (s.setup.clone(), s.test_voltage, s.against != CASE);
        cases
            .entry(key)
            .or_insert_with(|| Case {
                asset: asset.clone(),
                lines: Vec::new(),
                events: events.iter().map(|e| e.value.clone()).collect(),
            })
            .lines
            .push(line);
    }
    cases
}

fn worst(groups: &[Group]) -> Verdict {
    groups.iter().map(|g| g.assessment.verdict).max().unwrap_or(Verdict::TooFew)
}

impl Dossier {
    /// The worst verdict of its charts; `too few` where there is none.
    pub fn verdict(&self) -> Verdict {
        worst(&self.groups)
    }

    /// How it stands to the fleet and what was merged into it, a sentence each; none for an asset
    /// that is simply in service.
    pub fn standing_words(&self) -> Vec<String> {
        let own = self.standing.sentence();
        let parts = self.merged.iter().map(|row| {
            let Alias { written, remark, .. } = &row.value;
            let day = row.mark.recorded_at.date();
            format!("`{written}` is the same (merged on {day} by {}): {remark}", row.mark.by)
        });
        Some(own).filter(|own| !own.is_empty()).into_iter().chain(parts).collect()
    }

    /// Readings left out of the trend.
    pub fn left_out(&self) -> impl Iterator<Item = &Entry> {
        self.entries.iter().filter(|e| matches!(e.judged.role, visits::Role::LeftOut(_)))
    }
}
