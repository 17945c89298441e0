//! One series on its way through the visits: filter, companion rules and hysteresis together.

use std::collections::HashMap;
use std::sync::Arc;

use super::{Context, Detector};
use crate::model::{Bound, Insulation, Limit, LimitMeaning, Phase, Point, Series, Stamp, Text};
use crate::trend::companion::{Companion, Says, Seen};
use crate::trend::filter::{Chance, Observation, Prior, State, Threshold, Turn, rule};

/// Which series a statement is about.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Label {
    /// One line as measured.
    Line(Arc<Series>),
    /// The middle of the three phases.
    Middle,
}

impl Label {
    /// The phase; none for the middle.
    pub fn phase(&self) -> Option<&Phase> {
        match self {
            Label::Line(series) => Some(&series.phase),
            Label::Middle => None,
        }
    }
}

/// What stands on a series between evaluations.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Standing {
    pub(super) watch: bool,
    pub(super) alarm: bool,
}

/// What surrounds the point of a visit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Around<'a> {
    pub(super) context: &'a Context,
    pub(super) testers: &'a HashMap<Text, (f64, f64)>,
    pub(super) class: Insulation,
    pub(super) limits: &'a [Limit],
    pub(super) turn: Turn,
    pub(super) at: Stamp,
}

/// One series in the fold.
#[derive(Clone, Debug)]
pub(super) struct Track<'a> {
    pub(super) label: Label,
    pub(super) lines: Vec<usize>,
    /// It is one of three phases whose middle is followed too.
    has_middle: bool,
    pub(super) prior: &'a Prior,
    pub(super) state: State,
    pub(super) companion: Companion,
    pub(super) says: Says,
    pub(super) chance: Chance,
    pub(super) standing: Standing,
    pub(super) last: Option<Stamp>,
    pub(super) usual_gap: f64,
    pub(super) usual_c: f64,
    pub(super) last_seen: Option<Observation>,
    /// The probability at the judgement before.
    before: f64,
    temperatures: u32,
    temperature_taken: Option<Text>,
}

impl<'a> Track<'a> {
    pub(super) fn new(
        detector: &'a Detector,
        class: Insulation,
        label: Label,
        lines: Vec<usize>,
        has_middle: bool,
    ) -> Self {
        let prior = detector.prior(class);
        Track {
            label,
            lines,
            has_middle,
            prior,
            state: State::start(detector.grid(), prior),
            companion: Companion::default(),
            says: Says::default(),
            chance: Chance::default(),
            standing: Standing::default(),
            last: None,
            usual_gap: 30.0,
            usual_c: 40.0,
            last_seen: None,
            before: 0.0,
            temperatures: 0,
            temperature_taken: None,
        }
    }

    /// Goes on under another prior.
    pub(super) fn turn_to(&mut self, detector: &Detector, prior: &'a Prior) {
        self.state.turn_to(detector.grid(), self.prior, prior);
        self.prior = prior;
    }

    /// A new winding or specimen: nothing before it counts.
    pub(super) fn reset(&mut self, detector: &Detector) {
        self.state.restart(detector.grid(), self.prior);
        self.companion = Companion::default();
        self.says = Says::default();
        self.chance = Chance::default();
        self.standing = Standing::default();
        self.before = 0.0;
        self.last = None;
    }

    /// It was dried: the rules start anew, the filter learns of it with the next visit.
    pub(super) fn dried(&mut self) {
        self.companion = Companion::default();
        self.says = Says::default();
    }

    /// Folds in the point of a visit.
    pub(super) fn visit(
        &mut self,
        detector: &Detector,
        around: &Around,
        point: &Point,
        retests: &[(f64, Bound)],
    ) {
        let Around { context, testers, class, limits, turn, at } = *around;
        let settings = detector.settings();
        let known = point.temperature_c.filter(|t| t.is_finite());
        self.temperature_taken = known.is_none().then(|| point.station.clone());
        let (celsius, spread) = match known {
            Some(celsius) => (celsius, point.temperature_sd.max(0.0)),
            None => context.temperatures.estimate(point.taken_at, &point.station),
        };
        self.temperatures += 1;
        self.usual_c = match self.temperatures {
            1 => celsius,
            n => self.usual_c + (celsius - self.usual_c) / f64::from(n),
        };
        let (offset, tester_sd) = testers.get(&point.tester).copied().unwrap_or_default();
        let seen = Observation {
            log_ohm: point.log_ohm - offset,
            bound: point.bound,
            temperature_c: celsius,
            temperature_sd: spread,
            humidity_pct: point.humidity_pct,
            gross: match self.label {
                Label::Line(_) => settings.filter.gross,
                Label::Middle => settings.filter.gross_middle,
            },
            tester_sd,
        };
        let gap = self.last.map_or(0.0, |last| at.days() - last.days());
        if self.last.is_some() {
            self.usual_gap = 0.7 * self.usual_gap + 0.3 * gap;
        }
        self.state.visit(detector.grid(), self.prior, gap, turn, &seen);
        self.last = Some(at);
        self.last_seen = Some(seen);
        let own = self.state.coefficient(self.prior);
        let rules = Rules::of(class, own, celsius, limits);
        let value = rules.step_value(point.log_ohm);
        let down = self.companion.baseline().map(|base| base - settings.drop);
        let again = |holds: &dyn Fn(&(f64, Bound)) -> bool| {
            retests.iter().filter(|retest| holds(retest)).count() as u32
        };
        let low = rules.low(point.log_ohm, point.bound);
        self.says = self.companion.visit(
            &Seen {
                value,
                low,
                low_retests: if low { again(&|r| rules.low(r.0, r.1)) } else { 0 },
                can_wait: self.has_middle && self.usual_gap <= settings.near_days,
                values_again: again(&|r| down.is_some_and(|down| rules.step_value(r.0) < down)),
            },
            settings.drop,
        );
    }

    /// The station whose readings stand in for the temperature of the last visit, if they do.
    pub(super) fn temperature_taken(&self) -> Option<&Text> {
        self.temperature_taken.as_ref()
    }

    /// The limits as the filter holds them.
    pub(super) fn thresholds(&self, limits: &[Limit]) -> impl Iterator<Item = Threshold> {
        let usual_c = self.usual_c;
        limits.iter().map(move |limit| Threshold {
            log_ohm: limit.ohms.log10(),
            at_c: match limit.meaning {
                LimitMeaning::At40 => 40.0,
                LimitMeaning::AsRead | LimitMeaning::Isolation { .. } => usual_c,
            },
        })
    }

    /// Judges after a day: probabilities against the worst limit, with hysteresis.
    pub(super) fn judge(&mut self, detector: &Detector, limits: &[Limit], alarm: f64) {
        let (grid, settings) = (detector.grid(), detector.settings());
        let worst = |a: Chance, b: Chance| if b.sum() > a.sum() { b } else { a };
        let thresholds = self.thresholds(limits);
        let chances = thresholds.map(|t| self.state.chance(grid, self.prior, Some(t)));
        self.chance =
            chances.reduce(worst).unwrap_or_else(|| self.state.chance(grid, self.prior, None));
        let (p, before) = (self.chance.sum(), self.before);
        self.before = p;
        // A level below the limit without a fall is a matter of the companion rule until it was
        // seen twice: one low value may be a bad contact. A fall needs some visits to be one.
        let falls = self.chance.declining >= self.chance.below;
        let enough = if falls {
            self.state.visits() >= settings.fewest
        } else {
            self.companion.ever_low() >= 2
        };
        // Where the next visit is near, a repeat costs little and is waited for.
        let repeated = self.usual_gap > settings.near_days || before >= alarm;
        let standing = &mut self.standing;
        standing.alarm =
            (p >= alarm && enough && repeated) || (standing.alarm && p >= settings.clear);
        standing.watch =
            !standing.alarm && (p >= settings.watch || (standing.watch && p >= settings.clear));
    }
}

/// How single values are held against limits and baselines.
struct Rules<'a> {
    /// What a correction to 40 °C takes off, for a limit there.
    limit: f64,
    /// What makes values of one series comparable, for the step rule.
    like: f64,
    limits: &'a [Limit],
}

impl<'a> Rules<'a> {
    fn of(class: Insulation, own: f64, celsius: f64, limits: &'a [Limit]) -> Self {
        let d = (celsius - 40.0) / 10.0;
        let to_40 = rule(class) * d;
        // A value is low only if it is by the class's rule and by what the series itself showed.
        let limit = to_40.min(own * d);
        // Of an unknown class, a step is held between the two rules: neither may invent one.
        let like = match class {
            Insulation::Unknown => 0.5 * (to_40 + rule(Insulation::Thermosetting) * d),
            _ => to_40,
        };
        Rules { limit, like, limits }
    }

    fn step_value(&self, log_ohm: f64) -> f64 {
        log_ohm - self.like
    }

    fn low(&self, log_ohm: f64, bound: Bound) -> bool {
        bound != Bound::Over
            && self.limits.iter().any(|limit| {
                let value = match limit.meaning {
                    LimitMeaning::At40 => log_ohm - self.limit,
                    LimitMeaning::AsRead | LimitMeaning::Isolation { .. } => log_ohm,
                };
                value <= limit.ohms.log10()
            })
    }
}
