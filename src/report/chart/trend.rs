//! The trend on a chart: the fitted line with its band, and when it would reach the limit.

use super::axis::Frame;
use super::place::width;
use crate::dossier::Group;
use crate::model::{Limit, LimitMeaning, Point, Stamp, Verdict};
use crate::report::ink::Ink;
use crate::report::scene::{Anchor, Scene};
use crate::trend::band::BandPoint;
use crate::trend::evidence::current_epoch;
use crate::trend::fit::{self, FieldFit};
use crate::trend::outcome::rule;
use crate::trend::{CrossingTimes, LineAssessment};

/// The line that leads a group: with the worst verdict, of several the one most likely to need
/// somebody, of these the first.
pub fn leading(group: &Group) -> Option<usize> {
    let chance = |l: &LineAssessment| l.probability.unwrap_or(0.0);
    let lines = group.assessment.lines.iter().enumerate();
    let worst = lines.max_by(|(i, a), (j, b)| {
        let by_chance = chance(a).total_cmp(&chance(b));
        a.verdict.cmp(&b.verdict).then(by_chance).then(j.cmp(i))
    });
    worst.map(|(line, _)| line)
}

/// What is drawn of the trend of one line: the one that leads.
pub(super) struct Trend<'g> {
    /// Which line it is.
    pub(super) line: usize,
    assessment: &'g LineAssessment,
    band: Vec<BandPoint>,
    /// Decades from 40 °C to the temperature that the chart is drawn for, and that temperature;
    /// none where neither fit nor class tell.
    pub(super) drawn_for: Option<(f64, f64)>,
}

impl<'g> Trend<'g> {
    /// The trend of the line that leads; none without lines.
    pub(super) fn of(group: &'g Group) -> Option<Self> {
        let line = leading(group)?;
        let assessment = &group.assessment.lines[line];
        let (points, _) = current_epoch(&group.case.lines[line].points, &group.case.events);
        let fit = fit::fit(points, group.case.asset.insulation, &fit::Settings::default()).ok();
        let drawn_for = match &fit {
            Some(fit) => Some((fit.from_40(), fit.usual_celsius())),
            None => by_class(group),
        };
        let band = fit.map(|fit| band(&fit, points)).unwrap_or_default();
        Some(Trend { line, assessment, band, drawn_for })
    }

    /// Where a limit is drawn, log10 ohm: one at 40 °C where readings at the usual temperature
    /// would meet it.
    pub(super) fn limit_log(&self, limit: &Limit) -> f64 {
        let shift = match limit.meaning {
            LimitMeaning::At40 => self.drawn_for.map_or(0.0, |(shift, _)| shift),
            LimitMeaning::AsRead | LimitMeaning::Isolation { .. } => 0.0,
        };
        limit.ohms.log10() + shift
    }

    /// Whether there is a line to draw.
    pub(super) fn is_drawn(&self) -> bool {
        !self.band.is_empty()
    }

    /// What must be in the frame.
    pub(super) fn logs(&self) -> impl Iterator<Item = f64> + '_ {
        self.band.iter().map(|p| p.mid)
    }

    /// When the trend reaches the limit, where that is told.
    pub(super) fn crossing(&self) -> Option<CrossingTimes> {
        let told = matches!(self.assessment.verdict, Verdict::Declining | Verdict::Watch);
        Some(self.assessment.crossing).filter(|c| told && c.lower.is_some())
    }

    /// Draws band and line.
    pub(super) fn draw(&self, scene: &mut Scene, frame: &Frame) {
        // What lies beyond the frame is cut there, not bent along its edge.
        let inside = |p: &BandPoint| (frame.logs.0..=frame.logs.1).contains(&p.mid);
        let first = self.band.iter().position(inside);
        let last = self.band.iter().rposition(inside);
        let (Some(first), Some(last)) = (first, last) else { return };
        let band = &self.band[first..=last];
        let upper = band.iter().map(|p| frame.spot(p.at, p.upper));
        let lower = band.iter().rev().map(|p| frame.spot(p.at, p.lower));
        scene.area(Ink::Band, &upper.chain(lower).collect::<Vec<_>>());
        let mid: Vec<_> = band.iter().map(|p| frame.spot(p.at, p.mid)).collect();
        scene.line(Ink::Trend, &mid);
    }

    /// Draws where the trend would go and when it reaches the limit, by the detector.
    pub(super) fn draw_ahead(&self, scene: &mut Scene, frame: &Frame) {
        let (Some(crossing), Some(limit), Some(level), Some(last)) = (
            self.crossing(),
            self.assessment.limit,
            self.assessment.level,
            self.assessment.last.as_ref(),
        ) else {
            return;
        };
        let shift = self.drawn_for.map_or(0.0, |(shift, _)| shift);
        let target = self.limit_log(&limit);
        let y = frame.y(target);
        let edge = Stamp::from_micros((frame.days.1 * crate::model::DAY_MICROS as f64) as i64);
        let Some(lower) = crossing.lower else { return };
        // The fan ends at the limit, or at the edge on the way to it.
        let end = |at: Option<Stamp>, from: f64| match at {
            Some(at) if at <= edge => (frame.x(at), y),
            Some(at) => {
                let part = (edge.days() - last.taken_at.days())
                    / (at.days() - last.taken_at.days()).max(1e-9);
                (frame.right, frame.y(from + part * (target - from)))
            }
            None => (frame.right, frame.y(from)),
        };
        let (low, mid, high) = (level.lower + shift, level.mid + shift, level.upper + shift);
        let now = |log| frame.spot(last.taken_at, log);
        let mut fan = vec![now(high), now(low), end(Some(lower), low)];
        // A lower edge that has reached the limit runs along it.
        if crossing.upper.is_none_or(|upper| upper > edge) {
            fan.push((frame.right, y));
        }
        fan.push(end(crossing.upper, high));
        scene.area(Ink::Fan, &fan);
        scene.line(Ink::Ahead, &[now(mid), end(crossing.mid, mid)]);

        let from = frame.x(lower).min(frame.right);
        let to = crossing.upper.map_or(frame.right, |at| frame.x(at).min(frame.right));
        scene.line(Ink::Reach, &[(from, y), (to, y)]);
        scene.line(Ink::Reach, &[(from, y - 4.0), (from, y + 4.0)]);
        if crossing.upper.is_some_and(|at| at <= edge) {
            scene.line(Ink::Reach, &[(to, y - 4.0), (to, y + 4.0)]);
        } else {
            scene.line(Ink::Reach, &[(to - 5.0, y - 4.0), (to, y), (to - 5.0, y + 4.0)]);
        }
        let words = match crossing.upper {
            Some(upper) if upper.days() <= last.taken_at.days() + 1.0 => {
                "trend is at the limit".to_owned()
            }
            Some(upper) if month(lower) == month(upper) => {
                format!("trend reaches the limit in {}", month(lower))
            }
            Some(upper) => {
                format!("trend reaches the limit {} to {}", month(lower), month(upper))
            }
            None => format!("trend reaches the limit from {} on, open end", month(lower)),
        };
        let half = width(&words, Ink::ReachLabel) / 2.0;
        let x = (f64::midpoint(from, to))
            .clamp(frame.left + half, (frame.right - half).max(frame.left + half));
        let (top, bottom) = (y + 4.5, y + 13.5);
        let corners = [(x - half, top), (x + half, top), (x + half, bottom), (x - half, bottom)];
        scene.area(Ink::Ground, &corners);
        scene.text(Ink::ReachLabel, (x, y + 11.5), Anchor::Middle, words);
    }
}

fn month(at: Stamp) -> String {
    at.date().chars().take(7).collect()
}

/// The class of insulation tells how resistance falls with temperature where no fit does.
fn by_class(group: &Group) -> Option<(f64, f64)> {
    let temperatures: Vec<f64> =
        group.case.lines.iter().flat_map(|l| &l.points).filter_map(|p| p.temperature_c).collect();
    let rule = rule(group.case.asset.insulation)?;
    if temperatures.is_empty() {
        return None;
    }
    let mean = temperatures.iter().sum::<f64>() / temperatures.len() as f64;
    Some((-rule.factor(mean).log10(), mean))
}

/// Enough places for a bend to look like one.
fn band(fit: &FieldFit, points: &[Point]) -> Vec<BandPoint> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let days = last.taken_at.days() - first.taken_at.days();
    let mut times: Vec<Stamp> =
        (0..=32).map(|i| first.taken_at.plus_days(days * f64::from(i) / 32.0)).collect();
    times.extend(fit.broken().and_then(|t| t.onset));
    times.sort_unstable();
    fit.band(&times)
}
