//! The readings themselves: marks that count, joined by thin threads, and marks that do not.

use super::axis::Frame;
use super::marks::{self, Mark};
use crate::dossier::{Dossier, Group};
use crate::model::{Bound, CASE, Stamp};
use crate::report::ink::Ink;
use crate::report::scene::{Item, Scene};
use crate::trend::words::log_ohms;

/// A reading that does not count: its line, when, log10 ohm, what it means.
pub(super) struct LeftOut {
    pub(super) line: usize,
    pub(super) at: Stamp,
    pub(super) log_ohm: f64,
    pub(super) bound: Bound,
}

pub(super) fn left_out(dossier: &Dossier, group: &Group) -> Vec<LeftOut> {
    let out = dossier.left_out().filter_map(|entry| {
        let reading = &entry.judged.corrected.reading;
        let series = &reading.series;
        let belongs = series.setup == group.setup
            && series.test_voltage == group.test_voltage
            && (series.against == CASE) == group.against_case;
        // A series of which no reading counts has no line; it is drawn with the first one's shape.
        let line = group.case.lines.iter().position(|l| l.series == *series).unwrap_or(0);
        belongs.then(|| LeftOut {
            line,
            at: reading.taken_at,
            log_ohm: reading.log_ohm(),
            bound: reading.bound,
        })
    });
    out.collect()
}

/// The size of marks: smaller where there are many.
fn radius(group: &Group) -> f64 {
    let most = group.case.lines.iter().map(|l| l.points.len()).max().unwrap_or(0);
    if most > 40 { 2.2 } else { 2.9 }
}

pub(super) fn draw_lines(
    scene: &mut Scene,
    frame: &Frame,
    group: &Group,
    left_out: &[LeftOut],
    gaps: &[(Stamp, Stamp)],
) {
    let r = radius(group);
    let drawn: Vec<_> = group.case.lines.iter().map(|l| marks::thinned(&l.points, frame)).collect();
    let epochs: Vec<Stamp> =
        group.case.events.iter().filter(|e| e.kind.starts_epoch()).map(|e| e.at).collect();
    // Threads lie under every mark.
    for (i, line) in drawn.iter().enumerate() {
        let joined = |a: &Mark, b: &Mark| {
            let between = |at: &Stamp| a.at < *at && *at <= b.at;
            a.bound == Bound::Measured
                && b.bound == Bound::Measured
                && !epochs.iter().any(between)
                && !gaps.iter().any(|(_, to)| between(to))
        };
        for run in line.chunk_by(joined) {
            let spots: Vec<_> = run.iter().map(|m| frame.spot(m.at, m.log_ohm)).collect();
            scene.line(Ink::Thread(i as u8), &spots);
        }
    }
    let n = drawn.len() as f64;
    for (i, line) in drawn.iter().enumerate() {
        let name = line_name(group, i);
        // All phases over-range at once would stand on one another: there is room to part them.
        let aside =
            if marks::has_room(line, frame) { 4.0 * (i as f64 - (n - 1.0) / 2.0) } else { 0.0 };
        for mark in line {
            scene.items.push(mark.drawn(frame, i, &name, r, aside));
        }
    }
    for one in left_out {
        let spot = frame.spot(one.at, one.log_ohm);
        let mut items = marks::left_out(one.line, spot, r);
        match one.bound {
            Bound::Measured => {}
            Bound::Over => items.push(marks::arrow(Ink::LeftOut, spot, -1.0, r)),
            Bound::Under => items.push(marks::arrow(Ink::LeftOut, spot, 1.0, r)),
        }
        let tip = format!("left out, {}: {}", one.at.date(), log_ohms(one.log_ohm));
        scene.items.push(Item::Group { tip, items });
    }
}

pub(super) fn line_name(group: &Group, line: usize) -> String {
    let series = &group.case.lines[line].series;
    if group.against_case {
        series.phase.to_string()
    } else {
        format!("{} to {}", series.phase, series.against)
    }
}
