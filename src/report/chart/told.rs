//! The chart in sentences, for whoever cannot see it.

use super::axis::lasting;
use super::lanes;
use super::lines::{LeftOut, line_name};
use super::trend::Trend;
use crate::dossier::Group;
use crate::model::{Bound, Stamp};
use crate::trend::words::{log_ohms, ohms};

pub(super) fn described(
    group: &Group,
    gaps: &[(Stamp, Stamp)],
    left_out: &[LeftOut],
    trend: Option<&Trend<'_>>,
) -> String {
    let mut out = Vec::new();
    for (i, line) in group.case.lines.iter().enumerate() {
        let (Some(first), Some(last)) = (line.points.first(), line.points.last()) else { continue };
        let over = line.points.iter().filter(|p| p.bound == Bound::Over).count();
        let on_scale = line.points.iter().filter(|p| p.bound == Bound::Measured);
        let logs: Vec<f64> = on_scale.map(|p| p.log_ohm).collect();
        let low = logs.iter().copied().fold(f64::INFINITY, f64::min);
        let high = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let range = match logs.len() {
            0 => "none on scale".to_owned(),
            1 => format!("one on scale, {}", log_ohms(low)),
            n => format!("{n} on scale from {} to {}", log_ohms(low), log_ohms(high)),
        };
        out.push(format!(
            "{}: {} visits {} to {}, {range}, {over} over-range",
            line_name(group, i),
            line.points.len(),
            first.taken_at.date(),
            last.taken_at.date(),
        ));
    }
    let limits: Vec<String> = group
        .case
        .asset
        .limits()
        .map(|l| format!("limit {} {}", ohms(l.ohms), l.meaning.word()))
        .collect();
    out.extend((!limits.is_empty()).then(|| limits.join(" and ")));
    out.extend(group.case.events.iter().map(|e| format!("{} {}", e.kind.word(), e.at.date())));
    out.extend(group.assessment.detection.alarms.iter().map(lanes::words));
    out.extend(gaps.iter().map(|(from, to)| {
        format!("not tested for {} from {}", lasting(to.days() - from.days()), from.date())
    }));
    if !left_out.is_empty() {
        out.push(format!("{} readings left out", left_out.len()));
    }
    if let Some(crossing) = trend.and_then(Trend::crossing)
        && let Some(lower) = crossing.lower
    {
        let upper =
            crossing.upper.map_or("with an open end".to_owned(), |at| format!("to {}", at.date()));
        out.push(format!("the trend reaches the limit from {} {upper}", lower.date()));
    }
    out.join("; ")
}
