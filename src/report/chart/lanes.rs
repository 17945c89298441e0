//! Events above the plot, findings below it: each a lane of its own, so that words and marks don't
//! run into one another.

use super::axis::Frame;
use super::place::{Rows, width};
use crate::dossier::Group;
use crate::model::{Event, FindingKind};
use crate::report::ink::Ink;
use crate::report::scene::{Anchor, Item, Scene, through};
use crate::trend::Alarm;

/// Height of a lane.
pub(super) const HEIGHT: f64 = 10.0;

/// Most rows of words about events; what finds no room is a line without words, and stands in the
/// report's list.
const EVENT_ROWS: usize = 3;

/// Events with the place of their words: row and left edge.
pub(super) struct Events<'g> {
    pub(super) rows: usize,
    placed: Vec<(&'g Event, Option<(usize, f64)>)>,
    top: f64,
}

/// Gives each event of the chart's span a place.
pub(super) fn events<'g>(group: &'g Group, frame: &Frame) -> Events<'g> {
    let mut rows = Rows::new(EVENT_ROWS, (frame.left, frame.right));
    let shown = group.case.events.iter().filter(|e| frame.holds(e.at));
    let placed = shown
        .map(|e| {
            let wide = width(e.kind.word(), Ink::EventLabel) + 2.0;
            (e, rows.take(frame.x(e.at) + 2.0, wide))
        })
        .collect();
    Events { rows: rows.used(), placed, top: frame.top }
}

impl Events<'_> {
    pub(super) fn draw(&self, scene: &mut Scene, frame: &Frame) {
        for (event, place) in &self.placed {
            let x = frame.x(event.at);
            // An epoch begins where the line is drawn through: before and after are two windings.
            let ink = if event.kind.starts_epoch() { Ink::Axis } else { Ink::Event };
            let top = place.map_or(frame.top, |(row, _)| self.top + HEIGHT * row as f64);
            let steps = through(&[(x, top), (x, frame.bottom)]);
            let remark =
                if event.remark.is_empty() { String::new() } else { format!(": {}", event.remark) };
            let tip = format!("{}, {}{remark}", event.kind.word(), event.at.date());
            scene.items.push(Item::Group { tip, items: vec![Item::Path { ink, steps }] });
            if let Some((row, left)) = place {
                let base = self.top + HEIGHT * *row as f64 + 7.0;
                scene.text(Ink::EventLabel, (*left, base), Anchor::Start, event.kind.word());
            }
        }
    }
}

/// The findings of one kind.
pub(super) struct Lane<'g> {
    kind: FindingKind,
    episodes: Vec<&'g Alarm>,
}

/// A lane for each kind that was ever found, the most urgent nearest to the plot.
pub(super) fn findings(group: &Group) -> Vec<Lane<'_>> {
    let alarms = &group.assessment.detection.alarms;
    let kinds = [
        FindingKind::BelowLimit,
        FindingKind::Declining,
        FindingKind::Step,
        FindingKind::Imbalance,
        FindingKind::Watch,
    ];
    let lane = |kind| Lane { kind, episodes: alarms.iter().filter(|a| a.kind == kind).collect() };
    kinds.into_iter().map(lane).filter(|lane| !lane.episodes.is_empty()).collect()
}

/// Draws the lanes below the plot, each episode from its onset to its end.
pub(super) fn draw(lanes: &[Lane<'_>], scene: &mut Scene, frame: &Frame) {
    for (i, lane) in lanes.iter().enumerate() {
        let y = frame.bottom + HEIGHT * i as f64 + 6.0;
        scene.text(Ink::FindingLabel, (frame.left - 5.0, y + 2.5), Anchor::End, lane.kind.word());
        let mut rows = Rows::new(1, (frame.left, frame.right));
        for alarm in &lane.episodes {
            let from = frame.x(alarm.first_flagged_at).clamp(frame.left, frame.right);
            let open = alarm.cleared_at.is_none();
            let to =
                alarm.cleared_at.map_or(frame.right, |at| frame.x(at).clamp(from, frame.right));
            let mut steps = through(&[(from, y - 3.0), (from, y + 3.0)]);
            steps.extend(through(&[(from, y), (to.max(from + 2.0), y)]));
            // An open end is an arrow, an ended one a stop.
            steps.extend(if open {
                through(&[(to - 4.0, y - 2.5), (to, y), (to - 4.0, y + 2.5)])
            } else {
                through(&[(to, y - 3.0), (to, y + 3.0)])
            });
            let mut items = vec![Item::Path { ink: Ink::Finding, steps }];
            if open && lane.kind != FindingKind::Watch {
                let steps = through(&[(from, frame.top), (from, frame.bottom)]);
                items.push(Item::Path { ink: Ink::Finding, steps });
            }
            scene.items.push(Item::Group { tip: words(alarm), items });
            let day = alarm.first_flagged_at.date();
            let wide = width(&day, Ink::FindingLabel);
            if to - from > wide + 10.0
                && let Some((_, left)) = rows.take(from + 4.0, wide)
            {
                // The date stands on its bar, on a ground of its own.
                let (top, bottom) = (y - 4.0, y + 4.0);
                let box_ = [
                    (left - 1.0, top),
                    (left + wide, top),
                    (left + wide, bottom),
                    (left - 1.0, bottom),
                ];
                scene.area(Ink::Ground, &box_);
                scene.text(Ink::FindingLabel, (left, y + 2.5), Anchor::Start, day);
            }
        }
    }
}

/// A finding in words: `declining V from 2026-02-03, stands`.
pub(super) fn words(alarm: &Alarm) -> String {
    let phase = alarm.phase.as_ref().map(|p| format!(" {p}")).unwrap_or_default();
    let end = match alarm.cleared_at {
        Some(at) => format!("to {}", at.date()),
        None => "and stands".to_owned(),
    };
    format!("{}{phase} from {} {end}", alarm.kind, alarm.first_flagged_at.date())
}
