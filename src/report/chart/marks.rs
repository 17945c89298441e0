//! The marks of a chart: a shape for each line, an arrow for what lies beyond the tester's range,
//! and fewer marks where there are more visits than the paper can show.

use super::axis::Frame;
use crate::model::{Bound, Point, Stamp};
use crate::report::ink::{Ink, SHAPES};
use crate::report::scene::{Item, Spot, Step, circle, closed, through};
use crate::trend::words::log_ohms;

/// Closest that two marks of a line come to one another, in points.
const CLOSEST: f64 = 7.0;

/// Some visits of a line that share a mark: often one.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mark {
    pub(super) from: Stamp,
    pub(super) to: Stamp,
    /// The middle instant and log10 ohm.
    pub(super) at: Stamp,
    pub(super) log_ohm: f64,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) bound: Bound,
    pub(super) visits: usize,
}

/// The marks of one line in time order. Where visits lie closer than marks can, those on scale
/// share a mark at their median with a bar from the lowest to the highest, those over-range an
/// arrow at the highest bound, those under-range one at the lowest. The last visit stands alone.
pub(super) fn thinned(points: &[Point], frame: &Frame) -> Vec<Mark> {
    let Some((last, earlier)) = points.split_last() else { return Vec::new() };
    let crowded =
        earlier.windows(2).filter(|w| frame.x(w[1].taken_at) - frame.x(w[0].taken_at) < CLOSEST);
    if crowded.count() * 4 < points.len() {
        return points.iter().map(|p| mark(&[p])).collect();
    }
    let cell = |p: &Point| ((frame.x(p.taken_at) - frame.left) / CLOSEST).floor() as i64;
    let mut marks = Vec::new();
    for cell in earlier.chunk_by(|a, b| cell(a) == cell(b)) {
        for bound in Bound::ALL {
            let of: Vec<&Point> = cell.iter().filter(|p| p.bound == *bound).collect();
            if !of.is_empty() {
                marks.push(mark(&of));
            }
        }
    }
    marks.push(mark(&[last]));
    marks.sort_by_key(|m| m.at);
    marks
}

/// Whether a line's marks are so far apart that those of other phases find room between them.
pub(super) fn has_room(marks: &[Mark], frame: &Frame) -> bool {
    let near = |w: &&[Mark]| frame.x(w[1].at) - frame.x(w[0].at) < 16.0;
    marks.windows(2).filter(near).count() * 4 < marks.len()
}

/// `points` is not empty and of one bound.
fn mark(points: &[&Point]) -> Mark {
    let mut logs: Vec<f64> = points.iter().map(|p| p.log_ohm).collect();
    logs.sort_unstable_by(f64::total_cmp);
    let (low, high) = (logs[0], logs[logs.len() - 1]);
    let log_ohm = match points[0].bound {
        Bound::Measured => logs[logs.len() / 2],
        Bound::Over => high,
        Bound::Under => low,
    };
    let middle = points[points.len() / 2];
    Mark {
        from: points[0].taken_at,
        to: points[points.len() - 1].taken_at,
        at: middle.taken_at,
        log_ohm,
        low,
        high,
        bound: points[0].bound,
        visits: points.len(),
    }
}

impl Mark {
    /// The mark as it is drawn, with its words; `aside` moves what lies beyond the range.
    pub(super) fn drawn(&self, frame: &Frame, line: usize, name: &str, r: f64, aside: f64) -> Item {
        let mut spot = frame.spot(self.at, self.log_ohm);
        if self.bound != Bound::Measured {
            spot.0 += aside;
        }
        let ink = Ink::Mark(line as u8);
        let outline = Ink::Outline(line as u8);
        let mut items = Vec::new();
        let (low, high) = (frame.y(self.low), frame.y(self.high));
        if self.bound == Bound::Measured && low - high > 2.0 * r {
            items.push(Item::Path {
                ink: outline,
                steps: through(&[(spot.0, low), (spot.0, high)]),
            });
        }
        match self.bound {
            Bound::Measured => {}
            Bound::Over => items.push(arrow(outline, spot, -1.0, r)),
            Bound::Under => items.push(arrow(outline, spot, 1.0, r)),
        }
        items.push(Item::Path { ink, steps: shape(line, spot, r) });
        Item::Group { tip: self.words(name), items }
    }

    fn words(&self, name: &str) -> String {
        let value = match self.bound {
            Bound::Measured if self.visits > 1 => {
                format!("{} to {}", log_ohms(self.low), log_ohms(self.high))
            }
            Bound::Measured => log_ohms(self.log_ohm),
            Bound::Over => format!("over-range, at least {}", log_ohms(self.log_ohm)),
            Bound::Under => format!("under-range, at most {}", log_ohms(self.log_ohm)),
        };
        if self.visits > 1 {
            let (from, to) = (self.from.date(), self.to.date());
            format!("{name}, {from} to {to}, {} visits: {value}", self.visits)
        } else {
            format!("{name}, {}: {value}", self.at.date())
        }
    }
}

/// The shape of a line, filled.
pub(super) fn shape(line: usize, (x, y): Spot, r: f64) -> Vec<Step> {
    match line % SHAPES {
        0 => circle((x, y), r),
        1 => {
            let h = 0.88 * r;
            closed(&[(x - h, y - h), (x + h, y - h), (x + h, y + h), (x - h, y + h)])
        }
        2 => closed(&[(x, y - 1.25 * r), (x + 1.15 * r, y + 0.8 * r), (x - 1.15 * r, y + 0.8 * r)]),
        3 => closed(&[(x, y - 1.3 * r), (x + 1.3 * r, y), (x, y + 1.3 * r), (x - 1.3 * r, y)]),
        4 => {
            let (w, h) = (0.5 * r, 1.35 * r);
            closed(&[(x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h)])
        }
        _ => {
            let (a, b) = (0.4 * r, 1.2 * r);
            closed(&[
                (x - a, y - b),
                (x + a, y - b),
                (x + a, y - a),
                (x + b, y - a),
                (x + b, y + a),
                (x + a, y + a),
                (x + a, y + b),
                (x - a, y + b),
                (x - a, y + a),
                (x - b, y + a),
                (x - b, y - a),
                (x - a, y - a),
            ])
        }
    }
}

/// An arrow out of a mark: up (−1) for over-range, down (+1) for under-range.
pub(super) fn arrow(ink: Ink, (x, y): Spot, way: f64, r: f64) -> Item {
    let tip = y + way * (r + 6.0);
    let barb = tip - way * 3.0;
    let mut steps = through(&[(x, y), (x, tip)]);
    steps.extend(through(&[(x - 2.4, barb), (x, tip), (x + 2.4, barb)]));
    Item::Path { ink, steps }
}

/// A mark that does not count: its shape, hollow, with a cross through it.
pub(super) fn left_out(line: usize, (x, y): Spot, r: f64) -> Vec<Item> {
    let c = r + 1.2;
    let mut cross = through(&[(x - c, y - c), (x + c, y + c)]);
    cross.extend(through(&[(x - c, y + c), (x + c, y - c)]));
    vec![
        Item::Path { ink: Ink::Outline(line as u8), steps: shape(line, (x, y), r) },
        Item::Path { ink: Ink::LeftOut, steps: cross },
    ]
}
