//! One asset assessed: the detector's verdict, and for each line the evidence beside it.

use std::sync::Arc;

use super::detect::{Context, CrossingTimes, Detection, Detector, Label};
use super::filter::Interval;
use super::normal::two_sided;
use super::outcome::{Measured, outcome};
use crate::model::{
    Asset, Bound, Case, Limit, Line, Outcome, Point, Reading, Series, Stamp, TemperatureOf, Verdict,
};

/// What the trend is told beside the points.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// The detector's.
    pub detector: super::detect::Settings,
}

/// Assesses assets; prepared once, since the detector's tables cost some milliseconds.
pub struct Assessor {
    detector: Detector,
}

/// What is said of one asset's chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// The worst verdict of its lines.
    pub verdict: Verdict,
    /// The detector's account: what was found when, and what stands.
    pub detection: Detection,
    /// Each line with its evidence.
    pub lines: Vec<LineAssessment>,
}

/// What is said of one line.
#[derive(Clone, Debug, PartialEq)]
pub struct LineAssessment {
    /// The series.
    pub series: Arc<Series>,
    /// The verdict.
    pub verdict: Verdict,
    /// The limit that stands highest, against which a crossing is told.
    pub limit: Option<Limit>,
    /// The chance that somebody should act, under the model.
    pub probability: Option<f64>,
    /// log10 ohm at 40 °C with its 90 % interval; none where no value of the epoch is on scale.
    pub level: Option<Interval>,
    /// Decades a year with its 90 % interval, negative when falling; none likewise.
    pub decades_per_year: Option<Interval>,
    /// When the trend reaches the limit; open unless a finding or watch stands.
    pub crossing: CrossingTimes,
    /// Visits like the healthy ones that would end the finding; none where nothing stands, or more
    /// than a few would be needed.
    pub clears_after: Option<u32>,
    /// Points on scale in the present epoch.
    pub n_measured: usize,
    /// Over-range points in the present epoch.
    pub n_over: usize,
    /// Under-range points in the present epoch.
    pub n_under: usize,
    /// The last point.
    pub last: Option<Point>,
    /// What a next reading is expected to be; none where no value of the epoch is on scale.
    pub habit: Option<Habit>,
}

/// What the readings of a line have been like so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Habit {
    /// log10 ohm at 40 °C at the last visit, with its 90 % interval.
    pub level: Interval,
    /// Decades a year, the middle of what is credible.
    pub decades_per_year: f64,
    /// Decades per 10 K: how readings change with temperature.
    pub coefficient: f64,
    /// Standard deviation of a reading about the level, decades.
    pub scatter: f64,
    /// The last visit.
    pub last: Stamp,
}

impl Habit {
    /// log10 ohm of a reading at an instant and insulation temperature (with its standard
    /// uncertainty in K), as read, with a 90 % interval: the level carried on at its rate and taken
    /// to that temperature, widened by level, scatter and temperature together. Under the model;
    /// the level's interval is taken as that of a normal law.
    pub fn expected(&self, at: Stamp, celsius: f64, temperature_sd: f64) -> Interval {
        let z = two_sided(0.9);
        let years = (at.days() - self.last.days()).max(0.0) / DAYS_A_YEAR;
        let warm = self.coefficient * (celsius - 40.0) / 10.0;
        let mid = self.level.mid + self.decades_per_year * years + warm;
        let level_sd = (self.level.upper - self.level.lower) / (2.0 * z);
        let warm_sd = self.coefficient * temperature_sd / 10.0;
        let sd = level_sd.hypot(self.scatter).hypot(warm_sd);
        Interval { lower: mid - z * sd, mid, upper: mid + z * sd }
    }
}

const DAYS_A_YEAR: f64 = 365.25;

impl Assessor {
    /// Prepares the detector.
    pub fn new(settings: Settings) -> Self {
        Assessor { detector: Detector::new(settings.detector) }
    }

    /// The detector itself.
    pub fn detector(&self) -> &Detector {
        &self.detector
    }

    /// Assesses one chart; `context` is what is known beside the asset's own points.
    pub fn assess(&self, case: &Case, context: &Context) -> Assessment {
        let detection = self.detector.detect(case, context);
        let lines = case.lines.iter().map(|line| line_of(case, line, &detection)).collect();
        Assessment { verdict: detection.verdict, detection, lines }
    }

    /// What a reading says by itself against each limit of its asset.
    pub fn outcomes(&self, asset: &Asset, reading: &Reading) -> Vec<(Limit, Outcome)> {
        let temperature_sd = match reading.temperature_of {
            Some(TemperatureOf::Ambient) => AMBIENT_SD,
            Some(TemperatureOf::Winding) | None => 0.0,
        };
        let measured = Measured {
            ohms: reading.ohms,
            bound: reading.bound,
            temperature_c: reading.temperature_c,
            temperature_sd,
            delivered_v: reading.delivered_voltage_v,
            nominal_v: reading.series.test_voltage.map(|v| v.get()),
        };
        asset.limits().map(|limit| (limit, outcome(&measured, &limit, asset.insulation))).collect()
    }
}

/// Standard uncertainty in kelvin of a winding whose air was measured.
const AMBIENT_SD: f64 = 6.0;

fn line_of(case: &Case, line: &Line, detection: &Detection) -> LineAssessment {
    let judged = detection
        .series
        .iter()
        .find(|j| matches!(&j.label, Label::Line(series) if *series == line.series))
        // Joined phases are judged as one: each line shows what is said of the node.
        .or_else(|| detection.series.iter().find(|j| j.label == Label::Middle));
    // What came before a rewind or replacement is on the chart, but says nothing of this winding.
    let epoch = case.events.iter().filter(|e| e.kind.starts_epoch()).map(|e| e.at).max();
    let of_epoch = || line.points.iter().filter(|p| epoch.is_none_or(|from| p.taken_at > from));
    let count = |bound| of_epoch().filter(|p| p.bound == bound).count();
    // Without a value on scale a level or slope would be the prior's and not the winding's.
    let on_scale = judged.filter(|_| count(Bound::Measured) > 0);
    let limit = case.asset.limits().max_by(|a, b| a.ohms.total_cmp(&b.ohms));
    LineAssessment {
        series: line.series.clone(),
        verdict: judged.map_or(Verdict::TooFew, |j| j.verdict),
        limit,
        probability: judged.map(|j| j.chance.sum()),
        level: on_scale.map(|j| j.level),
        decades_per_year: on_scale.map(|j| j.decades_per_year),
        crossing: judged.map(|j| j.crossing).unwrap_or_default(),
        clears_after: judged.and_then(|j| j.clears_after),
        n_measured: count(Bound::Measured),
        n_over: count(Bound::Over),
        n_under: count(Bound::Under),
        last: line.points.last().cloned(),
        habit: on_scale.map(|j| Habit {
            level: j.level,
            decades_per_year: j.decades_per_year.mid,
            coefficient: j.coefficient,
            scatter: j.scatter,
            last: j.last,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The normal law: with level and temperature known exactly a 90 % interval reaches 1.645
    /// standard deviations to either side (C).
    #[test]
    fn a_reading_is_expected_at_its_temperature_and_time() {
        let habit = Habit {
            level: Interval { lower: 8.0, mid: 8.0, upper: 8.0 },
            decades_per_year: -0.5,
            coefficient: -0.3,
            scatter: 0.1,
            last: Stamp::from_micros(0),
        };
        let year = Stamp::from_micros(0).plus_days(DAYS_A_YEAR);
        let warm = habit.expected(year, 60.0, 0.0);
        assert!((warm.mid - (8.0 - 0.5 - 0.6)).abs() < 1e-9, "{warm:?}");
        assert!((warm.upper - warm.mid - 1.644_854 * 0.1).abs() < 1e-6, "{warm:?}");
        let unsure = habit.expected(year, 60.0, 10.0);
        assert!((unsure.mid - unsure.lower - 1.644_854 * 0.1_f64.hypot(0.3)).abs() < 1e-6);
    }
}
