//! What lies beneath the marks: grid, axes, limits, and the stretches in which nothing was tested.

use super::axis::{Frame, lasting, ohm_ticks, time_ticks};
use super::place::width;
use super::trend::Trend;
use crate::dossier::Group;
use crate::model::{LimitMeaning, Stamp};
use crate::report::ink::Ink;
use crate::report::scene::{Anchor, Scene};
use crate::trend::words::{log_ohms, ohms};

pub(super) fn draw_gaps(scene: &mut Scene, frame: &Frame, gaps: &[(Stamp, Stamp)]) {
    for (from, to) in gaps {
        let (a, b) = (frame.x(*from) + 4.0, frame.x(*to) - 4.0);
        let (top, bottom) = (frame.top, frame.bottom);
        scene.area(Ink::Gap, &[(a, top), (b, top), (b, bottom), (a, bottom)]);
        let long = lasting(to.days() - from.days());
        let words = [format!("not tested for {long}"), long];
        if let Some(words) = words.into_iter().find(|w| width(w, Ink::GapLabel) < b - a) {
            let at = (f64::midpoint(a, b), bottom - 5.0);
            scene.text(Ink::GapLabel, at, Anchor::Middle, words);
        }
    }
}

pub(super) fn draw_grid(scene: &mut Scene, frame: &Frame) {
    for (log, words) in ohm_ticks(frame.logs) {
        let y = frame.y(log);
        let ink = if words.is_some() { Ink::Grid } else { Ink::FineGrid };
        scene.line(ink, &[(frame.left, y), (frame.right, y)]);
        if let Some(words) = words {
            scene.text(Ink::Tick, (frame.left - 5.0, y + 2.7), Anchor::End, words);
        }
    }
}

pub(super) fn draw_frame(scene: &mut Scene, frame: &Frame) {
    let (left, bottom) = (frame.left, frame.bottom);
    scene.line(Ink::Axis, &[(left, frame.top), (left, bottom), (frame.right, bottom)]);
    // Below the lanes of the findings.
    let base = scene.size.height - 18.0;
    let ticks = time_ticks(frame.days, (frame.right - left) / 62.0);
    for (at, words) in ticks {
        let x = frame.x(at);
        scene.line(Ink::Axis, &[(x, bottom), (x, bottom + 3.0)]);
        let half = width(&words, Ink::Tick) / 2.0;
        if x - half > left - 30.0 && x + half < frame.right + 6.0 {
            scene.text(Ink::Tick, (x, base + 12.0), Anchor::Middle, words);
        }
    }
}

/// Every limit with its meaning, so that two limits of different kinds are not mixed up.
pub(super) fn draw_limits(
    scene: &mut Scene,
    frame: &Frame,
    group: &Group,
    trend: Option<&Trend<'_>>,
) {
    let mut taken: Vec<f64> = Vec::new();
    for limit in group.case.asset.limits() {
        let log = trend.map_or(limit.ohms.log10(), |t| t.limit_log(&limit));
        let y = frame.y(log);
        scene.line(Ink::Limit, &[(frame.left, y), (frame.right, y)]);
        let value = ohms(limit.ohms);
        let words = match limit.meaning {
            LimitMeaning::At40 => match trend.and_then(|t| t.drawn_for) {
                Some((shift, celsius)) if shift.abs() > 0.02 => format!(
                    "limit {value} at 40 °C (drawn where {celsius:.0} °C readings meet it: {})",
                    log_ohms(log)
                ),
                _ => format!("limit {value} at 40 °C"),
            },
            LimitMeaning::AsRead => format!("limit {value} as read"),
            LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
                format!("isolation {value}: {ohm_per_volt} Ω/V at {working_voltage_v} V, as read")
            }
        };
        let above = y - 3.0;
        let clash = taken.iter().any(|t| (t - above).abs() < 9.0);
        let base = if clash { y + 9.0 } else { above };
        taken.push(base);
        let wide = width(&words, Ink::LimitLabel);
        if marks_under(frame, group, frame.right - wide, base)
            < marks_under(frame, group, frame.left, base)
        {
            scene.text(Ink::LimitLabel, (frame.right - 4.0, base), Anchor::End, words);
        } else {
            scene.text(Ink::LimitLabel, (frame.left + 4.0, base), Anchor::Start, words);
        }
    }
}

/// How many points lie where words of up to half the frame would stand.
fn marks_under(frame: &Frame, group: &Group, left: f64, base: f64) -> usize {
    let right = left + (frame.right - frame.left) / 2.0;
    let points = group.case.lines.iter().flat_map(|l| &l.points);
    let under = points
        .map(|p| frame.spot(p.taken_at, p.log_ohm))
        .filter(|(x, y)| (left..right).contains(x) && (base - 10.0..base + 5.0).contains(y));
    under.count()
}
