//! Small charts: the last readings in a row of a table, and verdicts of the fleet by month.

use super::axis::Frame;
use super::marks::arrow;
use super::place::width;
use crate::model::{Bound, Stamp, Verdict};
use crate::report::ink::Ink;
use crate::report::scene::{Anchor, Item, Scene, Size, circle};

/// A line of readings (time, log10 ohm, bound) without axes, with the limit as a line. The last
/// one is a dot, over-range an arrow. Empty without readings.
pub fn spark(points: &[(Stamp, f64, Bound)], limit_log: Option<f64>, size: Size) -> Scene {
    let mut scene = Scene::new(size, "readings over time", String::new());
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return scene };
    let logs = || points.iter().map(|p| p.1).chain(limit_log);
    let low = logs().fold(f64::INFINITY, f64::min);
    let high = logs().fold(f64::NEG_INFINITY, f64::max).max(low + 0.5);
    let frame = Frame {
        left: 3.0,
        right: size.width - 5.0,
        top: 7.0,
        bottom: size.height - 3.0,
        days: (first.0.days(), last.0.days().max(first.0.days() + 1.0)),
        logs: (low, high),
    };
    if let Some(limit) = limit_log {
        let y = frame.y(limit);
        scene.line(Ink::Limit, &[(frame.left, y), (frame.right, y)]);
    }
    for run in points.chunk_by(|a, b| a.2 == Bound::Measured && b.2 == Bound::Measured) {
        let spots: Vec<_> = run.iter().map(|p| frame.spot(p.0, p.1)).collect();
        scene.line(Ink::Outline(0), &spots);
    }
    let mut edge = f64::NEG_INFINITY;
    for (at, log, bound) in points {
        let spot = frame.spot(*at, *log);
        match bound {
            // Arrows that would stand on one another are one.
            Bound::Over if spot.0 - edge >= 5.0 => {
                edge = spot.0;
                scene.items.push(arrow(Ink::LeftOut, spot, -1.0, 0.0));
            }
            Bound::Under => scene.items.push(arrow(Ink::LeftOut, spot, 1.0, 0.0)),
            _ => {}
        }
    }
    let spot = frame.spot(last.0, last.1);
    scene.items.push(Item::Path { ink: Ink::Mark(0), steps: circle(spot, 2.0) });
    scene
}

/// How many assets had each verdict at the end of a month.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Month {
    /// `2026-03`.
    pub name: String,
    /// Assets by verdict, in the order of [`Verdict::ALL`].
    pub counts: [usize; 5],
}

/// Bars of the fleet by month. Only the verdicts that ask for somebody are drawn, each with its
/// own bar and number: among hundreds of steady ones they would vanish in a stack.
pub fn months(months: &[Month], size: Size) -> Scene {
    let mut scene = Scene::new(size, "assets by verdict and month", String::new());
    let shown = [Verdict::BelowLimit, Verdict::Declining, Verdict::Watch];
    let count = |m: &Month, v: Verdict| m.counts[v as usize];
    let most = months.iter().flat_map(|m| shown.map(|v| count(m, v))).max().unwrap_or(0).max(1);
    let (left, right) = (64.0, size.width - 4.0);
    let lane = (size.height - 16.0) / shown.len() as f64;
    let step = (right - left) / months.len().max(1) as f64;
    for (row, verdict) in shown.into_iter().enumerate() {
        let base = lane * (row + 1) as f64 - 2.0;
        scene.line(Ink::Grid, &[(left, base), (right, base)]);
        scene.text(Ink::Label, (left - 6.0, base - 2.0), Anchor::End, verdict.word());
        for (i, month) in months.iter().enumerate() {
            let n = count(month, verdict);
            if n == 0 {
                continue;
            }
            let x = left + step * i as f64;
            let top = base - (lane - 14.0) * n as f64 / most as f64 - 1.0;
            let (a, b) = (x + 0.15 * step, x + 0.85 * step);
            scene.area(Ink::Level(verdict as u8), &[(a, base), (a, top), (b, top), (b, base)]);
            let words = n.to_string();
            if width(&words, Ink::EventLabel) < step + 1.0 {
                scene.text(
                    Ink::EventLabel,
                    (f64::midpoint(a, b), top - 1.5),
                    Anchor::Middle,
                    words,
                );
            }
        }
    }
    let every = (width("2026-03", Ink::Tick) * 1.25 / step).ceil().max(1.0) as usize;
    for (i, month) in
        months.iter().enumerate().filter(|(i, _)| (months.len() - 1 - i).is_multiple_of(every))
    {
        let x = left + step * (i as f64 + 0.5);
        scene.text(Ink::Tick, (x, size.height - 4.0), Anchor::Middle, month.name.clone());
    }
    let told = |m: &Month| {
        let parts = shown.map(|v| format!("{} {}", count(m, v), v.word()));
        format!("{}: {}", m.name, parts.join(", "))
    };
    scene.description = months.iter().map(told).collect::<Vec<_>>().join("; ");
    scene
}
