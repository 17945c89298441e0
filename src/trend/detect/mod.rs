//! The detector: every visit of one asset folded in time order, judged after each UTC day.
//!
//! Live and replay are the same fold: the state after a day depends on what was measured by its
//! end and on nothing later, and events count by their own time.

mod context;
mod episode;
mod fold;
mod track;
mod visit;

pub use context::{Context, Temperatures};
pub use episode::{Alarm, Projected};
pub use track::Label;

use super::companion::Says;
use super::filter::{self, Chance, Grid, Interval, Prior};
use super::learn::{Quarter, Term};
use super::projection::Projector;
use crate::model::{Case, Insulation, Phase, Stamp, Text, Verdict};

/// Every number of the detector that is not of the filter.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The filter's own.
    pub filter: filter::Settings,
    /// A finding opens at this probability, for an asset of one series; for more, see `fold`.
    pub alarm: f64,
    /// A repeat is asked for at this probability.
    pub watch: f64,
    /// A finding closes below this probability.
    pub clear: f64,
    /// The step rule: decades below the baseline.
    pub drop: f64,
    /// Least log10 ratio of phases that is a finding; the project's own choice, no published limit.
    pub imbalance: f64,
    /// Readings with a pause longer than this, in hours, are two visits.
    pub visit_hours: f64,
    /// Fewer visits than this in an epoch make no verdict and no decline.
    pub fewest: u32,
    /// Where visits follow one another within so many days, a decline is named when two
    /// judgements running find it probable enough.
    pub near_days: f64,
    /// Whether the priors that the fleet taught are used, or only shown.
    pub learnt_priors: bool,
    /// Whether the tester offsets that the fleet taught are used, or only shown.
    pub learnt_testers: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            filter: filter::Settings::default(),
            alarm: 0.34,
            watch: 0.25,
            clear: 0.15,
            drop: 1.0,
            imbalance: 0.7,
            visit_hours: 4.0,
            fewest: 4,
            near_days: 14.0,
            learnt_priors: false,
            learnt_testers: false,
        }
    }
}

/// The detector, prepared once for its settings and used for every asset.
#[derive(Clone, Debug)]
pub struct Detector {
    settings: Settings,
    grid: Grid,
    projector: Projector,
    priors: [Prior; 4],
}

impl Detector {
    /// Prepares grid, time steps and priors: some milliseconds, so not once per asset.
    pub fn new(settings: Settings) -> Self {
        let grid = Grid::new(settings.filter.clone());
        let projector = Projector::new(&grid);
        let priors = [
            Insulation::Thermosetting,
            Insulation::Thermoplastic,
            Insulation::None,
            Insulation::Unknown,
        ]
        .map(|class| Prior::of(&grid, class));
        Detector { settings, grid, projector, priors }
    }

    /// The settings it was built from.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The grid, for the filter alone.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The prior of a class.
    pub fn prior(&self, class: Insulation) -> &Prior {
        let [setting, plastic, none, unknown] = &self.priors;
        match class {
            Insulation::Thermosetting => setting,
            Insulation::Thermoplastic => plastic,
            Insulation::None => none,
            Insulation::Unknown => unknown,
        }
    }

    /// Folds all visits of a case and says what was found when, and what stands at the end.
    pub fn detect(&self, case: &Case, context: &Context) -> Detection {
        fold::fold(self, case, context)
    }

    /// What an asset's visits say at the end of each quarter that it was visited in, whatever
    /// `context` says of learning: see [`super::learn`].
    pub(super) fn terms(&self, case: &Case, context: &Context) -> Vec<(Quarter, Term)> {
        fold::terms(self, case, context)
    }
}

/// What the detector says of one asset.
#[derive(Clone, Debug, PartialEq)]
pub struct Detection {
    /// Every finding raised, in the order of raising; none is ever taken back.
    pub alarms: Vec<Alarm>,
    /// The projection of every evaluation at which a finding or watch stood.
    pub projections: Vec<Projected>,
    /// The worst verdict of the series.
    pub verdict: Verdict,
    /// The series whose probability is the largest, as an index into `series`.
    pub leading: Option<usize>,
    /// The final state of each series.
    pub series: Vec<Judged>,
    /// What a person should know or do.
    pub notices: Vec<Notice>,
}

/// The final state of one series.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// Which it is.
    pub label: Label,
    /// The verdict.
    pub verdict: Verdict,
    /// The chance that somebody should act.
    pub chance: Chance,
    /// What the companion rules say of its last visit.
    pub says: Says,
    /// log10 ohm at 40 °C.
    pub level: Interval,
    /// Decades a year, negative when falling.
    pub decades_per_year: Interval,
    /// Decades per 10 K that its readings fall with temperature.
    pub coefficient: f64,
    /// Scatter of a reading, decades.
    pub scatter: f64,
    /// When the trend reaches the limit; open unless a finding or watch stands.
    pub crossing: CrossingTimes,
    /// Visits like the healthy ones, at the usual pace, that would end the finding; none where
    /// nothing stands or more than [`MOST_TO_CLEAR`] would be needed.
    pub clears_after: Option<u32>,
    /// Visits in the present epoch.
    pub visits: u32,
    /// The last visit.
    pub last: Stamp,
}

/// More visits than this are not tried when asking what would end a finding.
pub const MOST_TO_CLEAR: u32 = 6;

/// First time at or below the limit: 5, 50 and 95 %; none is an open end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct CrossingTimes {
    /// 5 %.
    pub lower: Option<Stamp>,
    /// 50 %.
    pub mid: Option<Stamp>,
    /// 95 %.
    pub upper: Option<Stamp>,
}

/// Something a person should know or do; not a finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Notice {
    /// The measuring time it belongs to.
    pub at: Stamp,
    /// The phase; none: the asset.
    pub phase: Option<Phase>,
    /// What.
    pub kind: NoticeKind,
}

/// Kinds of notices.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoticeKind {
    /// A value at the limit or far down, alone: repeat this test.
    Repeat,
    /// The level jumped up and stayed: was something done that is not recorded?
    UnrecordedRepair,
    /// The last visit has no temperature; one was taken from earlier readings of this station, or of
    /// the fleet.
    TemperatureTaken(Text),
}
