//! The fold itself: events and visits in the order of their own times, a judgement after each day.

mod close;

use std::collections::HashMap;

use super::episode::{Episodes, Projected, Stands};
use super::track::{Around, Label, Track};
use super::visit::{Visit, middle, series, visits};
use super::{Context, Detection, Detector, Notice, NoticeKind};
use crate::model::{
    Bound, Case, Event, EventKind, FindingKind, Joining, Limit, Phase, Stamp, Text,
};
use crate::trend::filter::{Posterior, Turn};
use crate::trend::imbalance::{explained, imbalance};
use crate::trend::learn::{Quarter, Term};

/// Everything of one asset on its way through time.
struct Fold<'a> {
    detector: &'a Detector,
    context: &'a Context,
    case: &'a Case,
    limits: Vec<Limit>,
    tracks: Vec<Track<'a>>,
    alarm: f64,
    /// Whether what the fleet taught may be used.
    taught: bool,
    quarter: Option<Quarter>,
    testers: &'a HashMap<Text, (f64, f64)>,
    dried: bool,
    /// Visits running at which the phases were apart, and the smallest then.
    apart: (u32, usize),
    /// The drop that the step rule sees was told as a decline or as below the limit.
    step_told: bool,
    episodes: Episodes,
    projections: Vec<Projected>,
    notices: Vec<Notice>,
}

pub(super) fn fold(detector: &Detector, case: &Case, context: &Context) -> Detection {
    let mut fold = Fold::new(detector, case, context, true);
    fold.run(|_| {});
    fold.finish()
}

/// What the visits say at the end of each quarter with visits, by the shipped priors.
pub(super) fn terms(detector: &Detector, case: &Case, context: &Context) -> Vec<(Quarter, Term)> {
    let mut terms: Vec<(Quarter, Term)> = Vec::new();
    let mut fold = Fold::new(detector, case, context, false);
    fold.run(|fold| terms.extend(fold.quarter.map(|quarter| (quarter, fold.term()))));
    terms
}

/// The probability at which a finding opens: the odds asked for grow with the number of series,
/// since each may raise a false one, but less than in proportion, since they are not independent
/// of one another. One series has the setting; four that is a third ask for 0.59.
fn alarm_level(setting: f64, series: usize) -> f64 {
    let odds = setting / (1.0 - setting) * (series.max(1) as f64).powf(0.75);
    odds / (1.0 + odds)
}

impl<'a> Fold<'a> {
    fn new(detector: &'a Detector, case: &'a Case, context: &'a Context, taught: bool) -> Self {
        let class = case.asset.insulation;
        let series = series(case);
        let alarm = alarm_level(detector.settings().alarm, series.len());
        let middle: Vec<usize> = series
            .iter()
            .filter(|(label, _)| *label == Label::Middle)
            .flat_map(|(_, lines)| lines.iter().copied())
            .collect();
        let tracks = series
            .into_iter()
            .map(|(label, lines)| {
                let has_middle = label != Label::Middle && lines.iter().all(|l| middle.contains(l));
                Track::new(detector, class, label, lines, has_middle)
            })
            .collect();
        Fold {
            detector,
            context,
            case,
            limits: case.asset.limits().filter(|limit| limit.ohms > 0.0).collect(),
            tracks,
            alarm,
            taught,
            quarter: None,
            testers: &context.testers,
            dried: false,
            apart: (0, 0),
            step_told: false,
            episodes: Episodes::default(),
            projections: Vec::new(),
            notices: Vec::new(),
        }
    }

    /// Folds in all events and visits; tells at the end of each quarter with visits.
    fn run(&mut self, mut quarter_ends: impl FnMut(&Self)) {
        let visits = visits(self.case, self.detector.settings());
        let mut events: Vec<&Event> = self.case.events.iter().collect();
        events.sort_by(|a, b| (a.at, &a.kind).cmp(&(b.at, &b.kind)));
        let mut events = events.into_iter().peekable();
        for (i, visit) in visits.iter().enumerate() {
            let quarter = Quarter::of(visit.at);
            if self.quarter != Some(quarter) {
                quarter_ends(self);
                self.turn_to(quarter);
            }
            // An event at the very time of a reading was done before it: one tests after the work.
            while let Some(event) = events.next_if(|event| event.at <= visit.at) {
                self.event(event);
            }
            self.visit(visit);
            let day = visit.at.utc_day();
            if visits.get(i + 1).is_none_or(|next| next.at.utc_day() != day) {
                self.judge(visit.at);
            }
        }
        quarter_ends(self);
        events.for_each(|event| self.event(event));
    }

    /// Goes on by what was known when a quarter began.
    fn turn_to(&mut self, quarter: Quarter) {
        self.quarter = Some(quarter);
        let settings = self.detector.settings();
        let Some(learnt) = self.context.learnt(quarter).filter(|_| self.taught) else {
            return;
        };
        if settings.learnt_testers {
            self.testers = &learnt.testers;
        }
        if let Some(prior) = learnt.prior(&self.case.asset).filter(|_| settings.learnt_priors) {
            self.tracks.iter_mut().for_each(|track| track.turn_to(self.detector, prior));
        }
    }

    /// What the visits so far say; its series count together as one asset.
    fn term(&self) -> Term {
        let seen: Vec<&Track> = self.tracks.iter().filter(|t| t.state.visits() > 0).collect();
        let mut posterior = Posterior::default();
        for track in &seen {
            posterior.add(1.0 / seen.len() as f64, &track.state.posterior());
        }
        let points = || self.case.lines.iter().flat_map(|l| &l.points).map(|p| p.taken_at);
        let end = |at: &Stamp| self.quarter.is_some_and(|quarter| Quarter::of(*at) <= quarter);
        let days = points().min().zip(points().filter(end).max());
        Term {
            assets: if seen.is_empty() { 0.0 } else { 1.0 },
            posterior,
            years: days.map_or(0.0, |(from, to)| (to.days() - from.days()) / 365.25),
            declines: self.episodes.named(FindingKind::Declining) as f64,
        }
    }

    fn event(&mut self, event: &Event) {
        match event.kind {
            EventKind::Rewound | EventKind::Replaced => {
                let detector = self.detector;
                self.tracks.iter_mut().for_each(|track| track.reset(detector));
                self.episodes.end_all(event.at);
                self.dried = false;
                self.apart = (0, 0);
            }
            EventKind::Dried => {
                self.tracks.iter_mut().for_each(Track::dried);
                self.dried = true;
                self.apart = (0, 0);
            }
            EventKind::Retired | EventKind::Returned | EventKind::Other(_) => {}
        }
    }

    fn visit(&mut self, visit: &Visit) {
        let turn = if std::mem::take(&mut self.dried) { Turn::Dried } else { Turn::None };
        let around = Around {
            context: self.context,
            testers: self.testers,
            class: self.case.asset.insulation,
            limits: &self.limits,
            turn,
            at: visit.at,
        };
        for track in &mut self.tracks {
            if let Some((point, retests)) = middle(visit, &track.lines) {
                track.visit(self.detector, &around, point, &retests);
                let phase = track.label.phase().cloned();
                if track.says.repeat {
                    let kind = NoticeKind::Repeat;
                    self.notices.push(Notice { at: visit.at, phase: phase.clone(), kind });
                }
                if track.says.risen {
                    let kind = NoticeKind::UnrecordedRepair;
                    self.notices.push(Notice { at: visit.at, phase, kind });
                }
            }
        }
        self.imbalance(visit);
    }

    /// Counts visits running at which one separable phase was apart.
    fn imbalance(&mut self, visit: &Visit) {
        if self.case.asset.joining != Joining::Separable {
            return;
        }
        let Some(phases) = self.tracks.iter().find(|t| t.label == Label::Middle) else {
            return;
        };
        let scatter = phases.state.scatter(phases.prior);
        let of = visit.points.iter().filter(|(line, _)| phases.lines.contains(line));
        let (lines, values): (Vec<usize>, Vec<(f64, Bound)>) =
            of.map(|(line, p)| (*line, (p.log_ohm, p.bound))).unzip();
        let least = self.detector.settings().imbalance.max(explained(scatter));
        let Some(found) = imbalance(&values) else {
            // Unknown: neither a repeat nor its absence.
            return;
        };
        let smallest = lines[found.smallest];
        self.apart = match found.decades > least && self.lies_apart(smallest) {
            true if self.apart.0 > 0 && self.apart.1 == smallest => (self.apart.0 + 1, smallest),
            true => (1, smallest),
            false => (0, 0),
        };
    }

    /// Whether the filter, which knows bad contacts, also holds this phase to lie below another.
    fn lies_apart(&self, line: usize) -> bool {
        let grid = self.detector.grid();
        let own = self.tracks.iter().find(|track| track.lines == [line]);
        let others = self.tracks.iter().filter(|track| track.lines != [line]);
        let lowest = others.map(|track| track.state.level(grid).lower).reduce(f64::max);
        own.zip(lowest).is_some_and(|(own, other)| own.state.level(grid).upper < other)
    }

    /// The phase that a finding of a series is worded for.
    fn phase(&self, track: &Track) -> Option<Phase> {
        let phase = track.label.phase()?;
        let windings = phase.is_winding() && self.case.asset.joining == Joining::Unknown;
        (!windings).then(|| phase.clone())
    }

    fn leading(&self) -> Option<usize> {
        let chance = |i: &usize| self.tracks[*i].chance.sum();
        let seen = (0..self.tracks.len()).filter(|i| self.tracks[*i].last.is_some());
        // The first of equals: phases stand before their middle.
        seen.rev().max_by(|a, b| chance(a).total_cmp(&chance(b)))
    }

    fn judge(&mut self, at: Stamp) {
        for track in &mut self.tracks {
            track.judge(self.detector, &self.limits, self.alarm);
        }
        let Some(leading) = self.leading() else {
            return;
        };
        let stands = self.stands();
        let tells = |kind| matches!(kind, FindingKind::BelowLimit | FindingKind::Declining);
        let told = self.step_told || stands.kinds.iter().any(|(kind, _)| tells(*kind));
        self.step_told = told && self.tracks.iter().any(|track| track.says.step);
        let new = self.episodes.update(at, &stands);
        if stands.kinds.is_empty() {
            return;
        }
        let crossing = self.crossing(&self.tracks[leading]);
        let phase = self.phase(&self.tracks[leading]);
        let flagged = stands.kinds.iter().any(|(kind, _)| *kind != FindingKind::Watch);
        self.projections.push(Projected { phase, as_of: at, flagged, crossing });
        let chance = self.tracks[leading].chance.sum();
        for (kind, phase) in new {
            self.episodes.alarms.push(super::Alarm {
                kind,
                phase,
                first_flagged_at: at,
                cleared_at: None,
                chance,
                crossing,
            });
        }
    }

    /// What stands now, by kind, most urgent first.
    fn stands(&self) -> Stands {
        let chance = |t: &&Track| t.chance.sum();
        let of = |holds: &dyn Fn(&Track) -> bool| {
            let tracks = self.tracks.iter().filter(|t| holds(t)).rev();
            tracks.max_by(|a, b| chance(a).total_cmp(&chance(b))).map(|t| self.phase(t))
        };
        let below = |t: &Track| t.standing.alarm && t.chance.below > t.chance.declining;
        let mut kinds = Vec::new();
        let with = |kind| move |phase| (kind, phase);
        let low = of(&|t| t.says.below || below(t));
        kinds.extend(low.map(with(FindingKind::BelowLimit)));
        let falls = of(&|t| t.standing.alarm && !below(t));
        kinds.extend(falls.map(with(FindingKind::Declining)));
        // A drop that is already told as a decline or as below the limit is not told twice, also
        // not when that ends and the level stays down.
        let step = of(&|t| t.says.step).filter(|_| kinds.is_empty() && !self.step_told);
        kinds.extend(step.map(with(FindingKind::Step)));
        if self.apart.0 >= 2 {
            let phase = self.case.lines[self.apart.1].series.phase.clone();
            kinds.push((FindingKind::Imbalance, Some(phase)));
        }
        if kinds.is_empty() {
            let step = |t: &Track| self.step_told && t.says.step;
            kinds.extend(
                of(&|t| t.standing.watch || step(t)).map(|phase| (FindingKind::Watch, phase)),
            );
        }
        Stands { kinds }
    }
}
