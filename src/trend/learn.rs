//! What the fleet's own history teaches: priors by class of asset, onsets of decline, offsets of
//! testers. Frozen per quarter: what holds in one was learnt from earlier quarters alone.
//!
//! ```text
//! let lessons = cases.map(|case| learn::lesson(&detector, case, &context)).collect();
//! context.learnt = learn::learn(&detector, lessons);
//! ```
//! A lesson needs the one asset only, so that they may be made side by side; `learn` adds them in
//! the order given, which should not change from run to run (by asset). A visit is then judged by
//! what was known when its quarter began, also when it is looked at again years later, so that
//! live and replay agree. Learning is always shown, and used where
//! [`Settings`](super::detect::Settings) say so.

use std::collections::{BTreeMap, HashMap};
use std::fmt;

use super::detect::{Context, Detector};
use super::filter::{Posterior, Prior};
use super::peers::{TesterSums, offsets, residuals, tester_sums};
use crate::model::{Asset, Case, Insulation, Stamp, Text};

/// As many asset-years must be known for their onsets to weigh as much as the shipped rate.
const ONSET_YEARS: f64 = 100.0;

/// A quarter of a calendar year in UTC, counted from year 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Quarter(i32);

impl Quarter {
    /// The quarter that an instant lies in; instants that no calendar reaches lie in the first.
    pub fn of(at: Stamp) -> Self {
        let instant = jiff::Timestamp::from_microsecond(at.micros());
        let date = instant.map(|instant| jiff::tz::TimeZone::UTC.to_datetime(instant).date());
        date.map_or(Quarter(i32::MIN), |date| {
            Quarter(i32::from(date.year()) * 4 + i32::from(date.month() - 1) / 3)
        })
    }

    /// The quarter after this.
    pub fn next(self) -> Self {
        Quarter(self.0.saturating_add(1))
    }
}

/// Year and quarter: `2026-Q1`.
impl fmt::Display for Quarter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-Q{}", self.0.div_euclid(4), self.0.rem_euclid(4) + 1)
    }
}

/// What is thought alike: the kind of asset and its insulation.
pub type Class = (Text, Insulation);

/// The class of an asset.
pub fn class(asset: &Asset) -> Class {
    (asset.kind.clone(), asset.insulation)
}

/// What one asset's visits say at the end of a quarter; sums over assets have the same shape.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Term {
    /// Assets.
    pub(super) assets: f64,
    /// Mean over its series.
    pub(super) posterior: Posterior,
    /// Years seen.
    pub(super) years: f64,
    /// Declines named.
    pub(super) declines: f64,
}

impl Term {
    fn add(&mut self, share: f64, other: &Term) {
        self.assets += share * other.assets;
        self.years += share * other.years;
        self.declines += share * other.declines;
        self.posterior.add(share, &other.posterior);
    }
}

/// What one asset teaches.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    class: Class,
    terms: Vec<(Quarter, Term)>,
    testers: Vec<(Quarter, TesterSums)>,
}

/// What one asset teaches, quarter by quarter; nothing learnt before is used for it.
pub fn lesson(detector: &Detector, case: &Case, context: &Context) -> Lesson {
    let mut testers: BTreeMap<Quarter, Vec<_>> = BTreeMap::new();
    for residual in residuals(case) {
        testers.entry(Quarter::of(residual.at)).or_default().push(residual);
    }
    Lesson {
        class: class(&case.asset),
        terms: detector.terms(case, context),
        testers: testers.into_iter().map(|(q, residuals)| (q, tester_sums(&residuals))).collect(),
    }
}

/// What is known when a quarter begins.
#[derive(Clone, Debug, PartialEq)]
pub struct Learnt {
    /// The quarter.
    pub quarter: Quarter,
    /// By class.
    pub classes: BTreeMap<Class, Taught>,
    /// Offset of each tester against the mean of all and its uncertainty, decades.
    pub testers: HashMap<Text, (f64, f64)>,
}

/// What the assets of one class taught.
#[derive(Clone, Debug, PartialEq)]
pub struct Taught {
    /// How many assets.
    pub assets: u32,
    /// Mean and spread of the level, log10 ohm at 40 °C.
    pub level: (f64, f64),
    /// Mean scatter of a reading, decades.
    pub scatter: f64,
    /// Mean temperature coefficient, decades per 10 K.
    pub coefficient: f64,
    /// Onsets of decline per asset and year: shown, and not used by the filter.
    pub onset: f64,
    /// Asset-years that it rests on.
    pub years: f64,
    /// The weights that all this follows from.
    pub prior: Prior,
}

impl Learnt {
    /// The prior of an asset; none where its class is not known yet.
    pub fn prior(&self, asset: &Asset) -> Option<&Prior> {
        self.classes.get(&class(asset)).map(|taught| &taught.prior)
    }
}

/// What is known at the start of each quarter in which that changed, in rising order.
pub fn learn(detector: &Detector, lessons: Vec<Lesson>) -> Vec<Learnt> {
    let mut news: BTreeMap<Quarter, Vec<(&Class, Term)>> = BTreeMap::new();
    let mut tests: BTreeMap<Quarter, Vec<&TesterSums>> = BTreeMap::new();
    for lesson in &lessons {
        // The last word of an asset replaces its earlier ones.
        let mut before = Term::default();
        for (quarter, term) in &lesson.terms {
            let mut change = term.clone();
            change.add(-1.0, &before);
            before = term.clone();
            news.entry(quarter.next()).or_default().push((&lesson.class, change));
        }
        for (quarter, sums) in &lesson.testers {
            tests.entry(quarter.next()).or_default().push(sums);
        }
    }
    let mut terms: BTreeMap<Class, Term> = BTreeMap::new();
    let mut testers = TesterSums::new();
    let quarter = |(quarter, changes): (Quarter, Vec<(&Class, Term)>)| {
        for (class, change) in changes {
            terms.entry(class.clone()).or_default().add(1.0, &change);
        }
        for (tester, (n, sum)) in tests.remove(&quarter).into_iter().flatten().flatten() {
            let all = testers.entry(tester.clone()).or_default();
            *all = (all.0 + n, all.1 + sum);
        }
        let taught = terms.iter().map(|(class, sum)| (class.clone(), taught(detector, class, sum)));
        Learnt { quarter, classes: taught.collect(), testers: centred(offsets(&testers)) }
    };
    news.into_iter().map(quarter).collect()
}

fn taught(detector: &Detector, class: &Class, sum: &Term) -> Taught {
    let prior = detector.prior(class.1).learnt(&sum.posterior);
    let shipped = detector.settings().filter.onset;
    Taught {
        assets: sum.assets.round() as u32,
        level: prior.start_level(detector.grid()),
        scatter: prior.mean_scatter(),
        coefficient: prior.mean_coefficient(),
        onset: (shipped * ONSET_YEARS + sum.declines) / (ONSET_YEARS + sum.years),
        years: sum.years,
        prior,
    }
}

/// Offsets against the mean of all testers. A tester is compared with the others without itself,
/// so that of n testers every difference shows n/(n − 1) times its size; and a common part, such
/// as the ageing of what they test, is no property of any of them.
fn centred(offsets: HashMap<Text, (f64, f64)>) -> HashMap<Text, (f64, f64)> {
    let n = offsets.len() as f64;
    let mut values: Vec<f64> = offsets.values().map(|offset| offset.0).collect();
    // A sum in the order of a hash would differ in its last digits from run to run.
    values.sort_by(f64::total_cmp);
    let mean = values.iter().sum::<f64>() / n;
    let centre = |(tester, (offset, sd)): (Text, (f64, f64))| {
        (tester, ((offset - mean) * (n - 1.0) / n, sd))
    };
    offsets.into_iter().map(centre).collect()
}

#[cfg(test)]
#[path = "learn_tests.rs"]
mod tests;
