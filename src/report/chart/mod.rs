//! The chart of an asset: resistance on a log axis over time, with everything that a verdict rests
//! on. Phases are told apart by shape and name, and nothing by colour alone.

mod axis;
mod ground;
mod lanes;
mod legend;
mod lines;
mod marks;
mod place;
mod small;
mod told;
mod trend;

use super::ink::Ink;
use super::scene::{Anchor, Scene, Size};
use crate::dossier::{Dossier, Group};
use crate::model::Stamp;
use axis::Frame;
use lines::LeftOut;
use trend::Trend;

pub use small::{Month, months, spark};
pub use trend::leading;

/// The width between the margins of A4 and of Letter, in points, and a height to go with it.
pub const WIDE: Size = Size { width: 505.0, height: 285.0 };

/// A small chart for a row of a table.
pub const SMALL: Size = Size { width: 96.0, height: 20.0 };

/// One chart for each group of the dossier, in its order.
pub fn asset(dossier: &Dossier, size: Size) -> Vec<Scene> {
    dossier.groups.iter().map(|group| chart(dossier, group, size)).collect()
}

/// What a group of lines is: `to case at 500 V, rotor out`.
pub fn group_words(group: &Group) -> String {
    let volts =
        group.test_voltage.map_or("voltage not stated".into(), |v| format!("{} V", v.get()));
    let against = if group.against_case { "to case" } else { "between phases" };
    let setup = if group.setup.is_empty() { String::new() } else { format!(", {}", group.setup) };
    format!("{against} at {volts}{setup}")
}

/// The chart of one group.
pub fn chart(dossier: &Dossier, group: &Group, size: Size) -> Scene {
    let title = format!("{}: {}", dossier.asset.id, group_words(group));
    let mut scene = Scene::new(size, title, String::new());
    let left_out = lines::left_out(dossier, group);
    let trend = Trend::of(group);
    let Some(mut frame) = frame(dossier, group, &left_out, trend.as_ref(), size) else {
        scene.description = "no readings yet".into();
        scene.text(
            Ink::Label,
            (size.width / 2.0, size.height / 2.0),
            Anchor::Middle,
            "no readings yet",
        );
        return scene;
    };
    let findings = lanes::findings(group);
    frame.bottom -= lanes::HEIGHT * findings.len() as f64;
    let events = lanes::events(group, &frame);
    frame.top += lanes::HEIGHT * events.rows as f64;

    let gaps = gaps(group, &frame);
    ground::draw_gaps(&mut scene, &frame, &gaps);
    ground::draw_grid(&mut scene, &frame);
    events.draw(&mut scene, &frame);
    lanes::draw(&findings, &mut scene, &frame);
    ground::draw_limits(&mut scene, &frame, group, trend.as_ref());
    if let Some(trend) = &trend {
        trend.draw(&mut scene, &frame);
        trend.draw_ahead(&mut scene, &frame);
    }
    lines::draw_lines(&mut scene, &frame, group, &left_out, &gaps);
    ground::draw_frame(&mut scene, &frame);
    legend::draw(&mut scene, &frame, group, &left_out, trend.as_ref());
    scene.description = told::described(group, &gaps, &left_out, trend.as_ref());
    scene
}

/// What the chart spans: all readings, the limits, the asked-for instant, and what is ahead as far
/// as half the history and two years at most.
fn frame(
    dossier: &Dossier,
    group: &Group,
    left_out: &[LeftOut],
    trend: Option<&Trend<'_>>,
    size: Size,
) -> Option<Frame> {
    let points = || group.case.lines.iter().flat_map(|l| &l.points);
    let times = || points().map(|p| p.taken_at).chain(left_out.iter().map(|l| l.at));
    let (first, last) = (times().min()?, times().max()?);
    let as_of = dossier.when.as_of;
    let told = if as_of == Stamp::MAX { last } else { as_of.max(last) };
    let span = (told.days() - first.days()).max(1.0);
    let ahead = trend.and_then(Trend::crossing).map_or(0.0, |crossing| {
        let far = crossing.upper.or(crossing.mid).or(crossing.lower);
        let days = far.map_or(0.0, |at| at.days() - told.days());
        (1.08 * days).clamp(0.0, (0.5 * span).clamp(60.0, 730.0))
    });
    let days = (first.days() - 0.015 * span, told.days() + ahead + 0.02 * span);

    let limits =
        group.case.asset.limits().map(|l| trend.map_or(l.ohms.log10(), |t| t.limit_log(&l)));
    let logs: Vec<f64> = points()
        .map(|p| p.log_ohm)
        .chain(left_out.iter().map(|l| l.log_ohm))
        .chain(limits)
        .collect();
    let low = logs.iter().copied().fold(f64::INFINITY, f64::min);
    let high = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // A line through bounds may run far beyond every reading: it is cut, and stretches nothing.
    let most = (low - 0.3, high + 0.3);
    let (low, high) = trend
        .into_iter()
        .flat_map(Trend::logs)
        .fold((low, high), |(l, h), log| (l.min(log.max(most.0)), h.max(log.min(most.1))));
    let spare = (0.09 * (high - low)).max(0.12);
    Some(Frame {
        left: 50.0,
        right: size.width - 6.0,
        top: 20.0,
        bottom: size.height - 18.0,
        days,
        logs: (low - 1.5 * spare, high + spare),
    })
}

/// Stretches without any test that are long against the usual pause and against 45 days: from and
/// to, in days.
fn gaps(group: &Group, frame: &Frame) -> Vec<(Stamp, Stamp)> {
    let mut times: Vec<Stamp> =
        group.case.lines.iter().flat_map(|l| &l.points).map(|p| p.taken_at).collect();
    times.sort_unstable();
    times.dedup_by_key(|t| t.utc_day());
    let pauses: Vec<(Stamp, Stamp)> = times.windows(2).map(|w| (w[0], w[1])).collect();
    let mut lengths: Vec<f64> = pauses.iter().map(|(a, b)| b.days() - a.days()).collect();
    lengths.sort_unstable_by(f64::total_cmp);
    let usual = lengths.get(lengths.len() / 2).copied().unwrap_or(f64::INFINITY);
    let long = |(a, b): &(Stamp, Stamp)| {
        let days = b.days() - a.days();
        days > 45.0_f64.max(3.0 * usual) && frame.x(*b) - frame.x(*a) > 12.0
    };
    pauses.into_iter().filter(long).collect()
}
