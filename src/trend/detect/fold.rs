//! The fold itself: events and visits in the order of their own times, a judgement after each day.

use super::episode::{Episodes, Projected, Stands};
use super::track::{Around, Label, Track};
use super::visit::{Visit, middle, series, visits};
use super::{
    Context, CrossingTimes, Detection, Detector, Judged, MOST_TO_CLEAR, Notice, NoticeKind,
};
use crate::model::{
    Bound, Case, Event, EventKind, FindingKind, Joining, Limit, Phase, Stamp, Verdict,
};
use crate::trend::filter::{Observation, Turn};
use crate::trend::imbalance::{explained, imbalance};

/// Everything of one asset on its way through time.
struct Fold<'a> {
    detector: &'a Detector,
    context: &'a Context,
    case: &'a Case,
    limits: Vec<Limit>,
    tracks: Vec<Track<'a>>,
    alarm: f64,
    dried: bool,
    /// Visits running at which the phases were apart, and the smallest then.
    apart: (u32, usize),
    episodes: Episodes,
    projections: Vec<Projected>,
    notices: Vec<Notice>,
}

pub(super) fn fold(detector: &Detector, case: &Case, context: &Context) -> Detection {
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
    let mut fold = Fold {
        detector,
        context,
        case,
        limits: case.asset.limits().filter(|limit| limit.ohms > 0.0).collect(),
        tracks,
        alarm,
        dried: false,
        apart: (0, 0),
        episodes: Episodes::default(),
        projections: Vec::new(),
        notices: Vec::new(),
    };
    let visits = visits(case, detector.settings());
    let mut events: Vec<&Event> = case.events.iter().collect();
    events.sort_by(|a, b| (a.at, &a.kind).cmp(&(b.at, &b.kind)));
    let mut events = events.into_iter().peekable();
    for (i, visit) in visits.iter().enumerate() {
        // An event at the very time of a reading was done before it: one tests after the work.
        while let Some(event) = events.next_if(|event| event.at <= visit.at) {
            fold.event(event);
        }
        fold.visit(visit);
        let day = visit.at.utc_day();
        if visits.get(i + 1).is_none_or(|next| next.at.utc_day() != day) {
            fold.judge(visit.at);
        }
    }
    events.for_each(|event| fold.event(event));
    fold.finish()
}

/// The probability at which a finding opens: the odds asked for grow with the number of series,
/// since each may raise a false one, but less than in proportion, since they are not independent
/// of one another. One series has the setting; four that is a third ask for 0.59.
fn alarm_level(setting: f64, series: usize) -> f64 {
    let odds = setting / (1.0 - setting) * (series.max(1) as f64).powf(0.75);
    odds / (1.0 + odds)
}

impl Fold<'_> {
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
            EventKind::Other(_) => {}
        }
    }

    fn visit(&mut self, visit: &Visit) {
        let turn = if std::mem::take(&mut self.dried) { Turn::Dried } else { Turn::None };
        let around = Around {
            context: self.context,
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
        // A drop that is already told as a decline or as below the limit is not told twice.
        let step = of(&|t| t.says.step).filter(|_| kinds.is_empty());
        kinds.extend(step.map(with(FindingKind::Step)));
        if self.apart.0 >= 2 {
            let phase = self.case.lines[self.apart.1].series.phase.clone();
            kinds.push((FindingKind::Imbalance, Some(phase)));
        }
        if kinds.is_empty() {
            kinds.extend(of(&|t| t.standing.watch).map(|phase| (FindingKind::Watch, phase)));
        }
        Stands { kinds }
    }

    /// The earliest projection over the limits; open before there are two visits.
    fn crossing(&self, track: &Track) -> CrossingTimes {
        let Some(last) = track.last.filter(|_| track.state.visits() >= 2) else {
            return CrossingTimes::default();
        };
        let (grid, projector) = (self.detector.grid(), &self.detector.projector);
        let open = |days: Option<f64>| days.unwrap_or(f64::INFINITY);
        let all = track
            .thresholds(&self.limits)
            .map(|limit| projector.crossing(grid, track.prior, &track.state, limit));
        let Some(first) = all.min_by(|a, b| open(a.mid).total_cmp(&open(b.mid))) else {
            return CrossingTimes::default();
        };
        let stamp = |days: Option<f64>| days.map(|days| last.plus_days(days));
        CrossingTimes {
            lower: stamp(first.lower),
            mid: stamp(first.mid),
            upper: stamp(first.upper),
        }
    }

    /// How many visits at the usual pace and at today's level would end what stands.
    fn clears_after(&self, track: &Track) -> Option<u32> {
        let seen = track.last_seen?;
        let grid = self.detector.grid();
        let mut hopeful = track.clone();
        let steady = Observation {
            log_ohm: track.state.level(grid).mid,
            bound: Bound::Measured,
            temperature_c: 40.0,
            temperature_sd: 0.0,
            humidity_pct: None,
            ..seen
        };
        (1..=MOST_TO_CLEAR).find(|_| {
            hopeful.state.visit(grid, track.prior, track.usual_gap, Turn::None, &steady);
            hopeful.judge(self.detector, &self.limits, self.alarm);
            !hopeful.standing.alarm && !hopeful.standing.watch
        })
    }

    fn finish(mut self) -> Detection {
        let fewest = self.detector.settings().fewest;
        let judged = self.tracks.iter().filter_map(|track| {
            let last = track.last?;
            let standing = track.standing;
            let flagged = standing.alarm || standing.watch || track.says.below || track.says.step;
            let below = track.chance.below > track.chance.declining;
            let verdict = match standing {
                _ if track.says.below => Verdict::BelowLimit,
                s if s.alarm && below => Verdict::BelowLimit,
                s if s.alarm => Verdict::Declining,
                _ if track.says.step || standing.watch => Verdict::Watch,
                _ if track.state.visits() < fewest => Verdict::TooFew,
                _ => Verdict::Steady,
            };
            Some(Judged {
                label: track.label.clone(),
                verdict,
                chance: track.chance,
                says: track.says,
                level: track.state.level(self.detector.grid()),
                decades_per_year: track.state.rate(self.detector.grid()),
                crossing: if flagged { self.crossing(track) } else { CrossingTimes::default() },
                clears_after: if flagged { self.clears_after(track) } else { None },
                visits: track.state.visits(),
                last,
            })
        });
        let series: Vec<Judged> = judged.collect();
        let chance = |j: &Judged| j.chance.sum();
        let leading = (0..series.len())
            .rev()
            .max_by(|a, b| chance(&series[*a]).total_cmp(&chance(&series[*b])));
        // A flagged series decides before one that has too few visits.
        let verdict = series.iter().map(|j| j.verdict).max().unwrap_or(Verdict::TooFew);
        for track in &self.tracks {
            if let Some((at, station)) = track.last.zip(track.temperature_taken().cloned()) {
                let (phase, kind) =
                    (track.label.phase().cloned(), NoticeKind::TemperatureTaken(station));
                self.notices.push(Notice { at, phase, kind });
            }
        }
        self.notices.sort_by_key(|notice| notice.at);
        Detection {
            alarms: self.episodes.alarms,
            projections: self.projections,
            verdict,
            leading,
            series,
            notices: self.notices,
        }
    }
}
