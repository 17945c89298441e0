//! The evidence beside each verdict: fitted lines, counts, limits, and what the straight line alone
//! would say. The detector decides; this is what an engineer can check and redo.

use std::sync::Arc;

use super::decide::{Decision, Evidence, decide};
use super::fit::{self, FieldFit};
use super::outcome::{Measured, outcome};
use super::proven::NoEstimate;
use super::reach::Crossing;
use super::reason::Counts;
use crate::model::{
    Bound, Case, Event, Insulation, Limit, Line, Outcome, Point, ReadingId, Series, Stamp, Text,
    Verdict,
};

/// When a decline is called one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// One-sided p below which a fall is `declining`.
    pub alarm_p: f64,
    /// One-sided p below which a fall is `watch`.
    pub watch_p: f64,
    /// The crossing of a limit counts when the trend reaches it within so many days.
    pub horizon_days: f64,
    /// A line this many decades above a limit or less is near it: 0.3 is a factor of 2, the
    /// project's own choice, no published source.
    pub near_decades: f64,
    /// How lines are fitted.
    pub fit: fit::Settings,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            alarm_p: 0.001,
            watch_p: 0.01,
            horizon_days: 540.0,
            near_decades: 0.3,
            fit: fit::Settings::default(),
        }
    }
}

/// The last reading of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LastReading {
    /// Which.
    pub reading: ReadingId,
    /// When.
    pub taken_at: Stamp,
    /// log10 ohm as read.
    pub log_ohm: f64,
    /// What it means.
    pub bound: Bound,
}

/// One limit and what stands against it.
#[derive(Clone, Debug, PartialEq)]
pub struct AgainstLimit {
    /// The limit.
    pub limit: Limit,
    /// What the last reading says.
    pub outcome: Outcome,
    /// Whether the reading before, or a retest in the same visit, says `below` as well.
    pub below_repeated: bool,
    /// When the trend reaches it; none without a fit.
    pub crossing: Option<Crossing>,
}

/// What was made of one line.
pub struct LineEvidence {
    /// Which line.
    pub series: Arc<Series>,
    /// Its verdict.
    pub verdict: Verdict,
    /// The reasons, each a sentence for a person.
    pub reasons: Vec<Text>,
    /// Start of the epoch looked at; none from the beginning.
    pub epoch: Option<Stamp>,
    /// Readings of the epoch, by kind.
    pub counts: Counts,
    /// The lines, or why there are none.
    pub fit: Result<FieldFit, NoEstimate>,
    /// The last reading of the epoch.
    pub last: Option<LastReading>,
    /// Each limit that stands on the asset.
    pub limits: Vec<AgainstLimit>,
}

/// What was made of an asset.
pub struct Evidenced {
    /// The worst of its lines; `too few` without any.
    pub verdict: Verdict,
    /// The place of that line.
    pub leading: Option<usize>,
    /// All lines, in the order of the case.
    pub lines: Vec<LineEvidence>,
}

/// Assesses an asset.
pub fn evidence(case: &Case, settings: &Settings) -> Evidenced {
    let limits: Vec<Limit> = case.asset.limits().collect();
    let lines: Vec<LineEvidence> = case
        .lines
        .iter()
        .map(|line| line_evidence(line, &case.events, case.asset.insulation, &limits, settings))
        .collect();
    // The first of several equally bad ones leads.
    let mut leading: Option<usize> = None;
    for (i, line) in lines.iter().enumerate() {
        if leading.is_none_or(|best| line.verdict > lines[best].verdict) {
            leading = Some(i);
        }
    }
    let verdict = leading.map_or(Verdict::TooFew, |i| lines[i].verdict);
    Evidenced { verdict, leading, lines }
}

/// The points since the last event that starts an epoch, and when that was.
pub fn current_epoch<'p>(points: &'p [Point], events: &[Event]) -> (&'p [Point], Option<Stamp>) {
    let start = events.iter().filter(|e| e.kind.starts_epoch()).map(|e| e.at).max();
    let Some(start) = start else { return (points, None) };
    let first = points.partition_point(|p| p.taken_at < start);
    (&points[first..], Some(start))
}

fn line_evidence(
    line: &Line,
    events: &[Event],
    insulation: Insulation,
    limits: &[Limit],
    settings: &Settings,
) -> LineEvidence {
    let (points, epoch) = current_epoch(&line.points, events);
    let fit = fit::fit(points, insulation, &settings.fit);
    let limits: Vec<AgainstLimit> =
        limits.iter().map(|limit| against(points, limit, insulation, &fit)).collect();
    let Decision { verdict, reasons } =
        decide(&Evidence { points, epoch, fit: &fit, limits: &limits }, settings);
    let last = points.last().map(|p| LastReading {
        reading: p.reading,
        taken_at: p.taken_at,
        log_ohm: p.log_ohm,
        bound: p.bound,
    });
    LineEvidence {
        series: Arc::clone(&line.series),
        verdict,
        reasons,
        epoch,
        counts: Counts::of(points.iter().map(|p| p.bound)),
        fit,
        last,
        limits,
    }
}

/// What a point, or a retest of its visit, says against a limit. Points come without voltages: high
/// readings at a sagged voltage never become points.
fn says(point: &Point, value: (f64, Bound), limit: &Limit, insulation: Insulation) -> Outcome {
    let measured = Measured {
        ohms: 10.0_f64.powf(value.0),
        bound: value.1,
        temperature_c: point.temperature_c,
        temperature_sd: point.temperature_sd,
        delivered_v: None,
        nominal_v: None,
    };
    outcome(&measured, limit, insulation)
}

fn against(
    points: &[Point],
    limit: &Limit,
    insulation: Insulation,
    fit: &Result<FieldFit, NoEstimate>,
) -> AgainstLimit {
    let of = |point: &Point| says(point, (point.log_ohm, point.bound), limit, insulation);
    let last = points.last();
    let below = |outcome: Outcome| outcome == Outcome::Below;
    let repeated = last.is_some_and(|last| {
        let retest = |value: &(f64, Bound)| below(says(last, *value, limit, insulation));
        let before = points.len().checked_sub(2).map(|i| &points[i]);
        last.retests.iter().any(retest) || before.is_some_and(|p| below(of(p)))
    });
    let outcome = last.map_or(Outcome::CannotTell("no reading"), of);
    AgainstLimit {
        limit: *limit,
        below_repeated: outcome == Outcome::Below && repeated,
        outcome,
        crossing: fit.as_ref().ok().map(|f| f.crossing(limit)),
    }
}
