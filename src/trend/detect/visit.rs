//! The points of a case as visits in time order.

use super::Settings;
use super::track::Label;
use crate::model::{Bound, Case, Joining, Point, Stamp};

/// One visit: the points of its series, at most one each.
#[derive(Clone, Debug)]
pub(super) struct Visit<'a> {
    /// The last time in it.
    pub(super) at: Stamp,
    /// Line and point.
    pub(super) points: Vec<(usize, &'a Point)>,
}

/// Splits the points: a longer pause, another tester, or a series met twice starts a new visit.
pub(super) fn visits<'a>(case: &'a Case, settings: &Settings) -> Vec<Visit<'a>> {
    let lines = case.lines.iter().enumerate();
    let mut all: Vec<_> =
        lines.flat_map(|(i, line)| line.points.iter().map(move |point| (i, point))).collect();
    all.sort_by_key(|(i, point)| (point.taken_at, *i, point.reading));
    let pause = settings.visit_hours / 24.0;
    let mut visits: Vec<Visit<'a>> = Vec::new();
    for (line, point) in all {
        let joins = visits.last().is_some_and(|visit| {
            point.taken_at.days() - visit.at.days() <= pause
                && visit.points.iter().all(|(l, p)| *l != line && p.tester == point.tester)
        });
        match visits.last_mut() {
            Some(visit) if joins => {
                visit.at = point.taken_at;
                visit.points.push((line, point));
            }
            _ => visits.push(Visit { at: point.taken_at, points: vec![(line, point)] }),
        }
    }
    visits
}

/// Which series are followed, with the lines that each is made of.
pub(super) fn series(case: &Case) -> Vec<(Label, Vec<usize>)> {
    let is_winding = |i: &usize| {
        let series = &case.lines[*i].series;
        series.phase.is_winding() && series.against == crate::model::CASE
    };
    let (windings, others): (Vec<usize>, Vec<usize>) = (0..case.lines.len()).partition(is_winding);
    let alone = |i: usize| (Label::Line(case.lines[i].series.clone()), vec![i]);
    let tied = case.asset.joining == Joining::Tied;
    let mut all = Vec::new();
    if !tied {
        all.extend(windings.iter().copied().map(alone));
    }
    // Of two phases or one there is no middle beside the phases themselves.
    if windings.len() > 2 || (tied && !windings.is_empty()) {
        all.push((Label::Middle, windings));
    }
    all.extend(others.into_iter().map(alone));
    all
}

/// The point that stands for a series at a visit, the middle of several and the lower of two, and
/// the retests of all of them: of one node, a retest on any phase repeats the others.
pub(super) fn middle<'a>(
    visit: &Visit<'a>,
    lines: &[usize],
) -> Option<(&'a Point, Vec<(f64, Bound)>)> {
    let mut points: Vec<&Point> =
        visit.points.iter().filter(|(line, _)| lines.contains(line)).map(|(_, p)| *p).collect();
    points.sort_by(|a, b| rank(a).total_cmp(&rank(b)));
    let middle = points.get(points.len().checked_sub(1)? / 2).copied()?;
    Some((middle, points.iter().flat_map(|p| p.retests.iter().copied()).collect()))
}

/// Over-range sorts above every number, under-range below.
fn rank(point: &Point) -> f64 {
    match point.bound {
        Bound::Over => f64::INFINITY,
        Bound::Under => f64::NEG_INFINITY,
        Bound::Measured => point.log_ohm,
    }
}
