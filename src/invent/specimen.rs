//! One invented asset: what it is, what truly happens to it, what was measured.

use std::sync::Arc;

use super::tester::Tester;
use super::{Course, Dice, Fate, Preset};
use crate::model::{
    Asset, AssetId, Bound, CASE, Case, Event, EventKind, Facts, Invalid, Joining, Line, Phase,
    Point, Precision, Reading, ReadingId, Series, Stamp, TemperatureOf, Text, TimeDoubt, Volts,
};

/// The phases of a machine.
pub const PHASES: [&str; 3] = ["U", "V", "W"];

/// Where the histories begin: 2024-01-01T00:00:00Z.
const BEGIN: Stamp = Stamp::from_micros(1_704_067_200_000_000);

/// Stations of a fleet, each with its own climate and tester.
const STATIONS: usize = 6;

/// Standard uncertainty of a winding temperature, K.
const WINDING_SD: f64 = 1.0;

/// One invented value with its circumstances.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// When.
    pub at: Stamp,
    /// Index into [`PHASES`], as entered.
    pub phase: usize,
    /// Ohms as shown.
    pub ohms: f64,
    /// What they mean.
    pub bound: Bound,
    /// Temperature as entered, °C.
    pub temperature_c: Option<f64>,
    /// Relative humidity, per cent.
    pub humidity_pct: f64,
    /// The tester's id.
    pub tester: Text,
    /// The station.
    pub station: Text,
}

/// One invented asset.
#[derive(Clone, Debug, PartialEq)]
pub struct Specimen {
    /// As it would be registered.
    pub asset: Asset,
    /// What becomes of it.
    pub fate: Fate,
    /// The true course of each phase; all the same where they are tied.
    pub courses: Vec<Course>,
    /// When the decline begins; drawn, but without meaning, for a healthy one.
    pub onset: Stamp,
    /// When the first phase truly reaches the limit.
    pub crossing: Option<Stamp>,
    /// What is on record of it.
    pub events: Vec<Event>,
    /// Its readings in time order.
    pub measured: Vec<Measured>,
}

/// The circumstances of one visit.
struct Weather {
    winding_c: f64,
    air_c: f64,
    humidity: f64,
}

impl Specimen {
    /// Invents the specimen with a number.
    pub(super) fn invent(preset: &Preset, number: usize, seed: u64) -> Self {
        let mut dice = Dice::new(seed, number as u64 + 1);
        let d = &mut dice;
        let mut asset = Asset {
            limit_ohm: Some(preset.limit_ohm),
            insulation: preset.insulation,
            ..Asset::first_met(id(number))
        };
        asset.joining = match d.chance(preset.separable) {
            true => Joining::Separable,
            false if d.chance(preset.joining_unknown) => Joining::Unknown,
            false => Joining::Tied,
        };
        let fate = Fate::draw(d, preset);
        let (share, high, low, spread) = preset.baselines;
        let middle = if d.chance(share) { high } else { low };
        let baseline = d.normal(middle, spread);
        let onset = d.between(0.05, 0.95) * preset.span_days;
        let apart = asset.joining == Joining::Separable;
        let courses = courses(d, preset, fate, (baseline, onset), apart);
        let first = courses.iter().filter_map(|c| c.crossing).reduce(f64::min);
        let events = repairs(d, preset, &asset.id, &courses);
        let measured = measure(d, preset, seed, &courses);
        let crossing = first.map(|days| BEGIN.plus_days(days));
        let onset = BEGIN.plus_days(onset);
        Specimen { asset, fate, courses, onset, crossing, events, measured }
    }

    /// Enters what was measured of each between two days, counted from the beginning, as the other's.
    pub(super) fn exchange(both: &mut [Specimen; 2], from: f64, to: f64) {
        let within = |m: &Measured| (BEGIN.plus_days(from)..BEGIN.plus_days(to)).contains(&m.at);
        let [a, b] = both;
        let (of_a, of_b): (Vec<_>, Vec<_>) = (
            a.measured.extract_if(.., |m| within(m)).collect(),
            b.measured.extract_if(.., |m| within(m)).collect(),
        );
        a.measured.extend(of_b);
        b.measured.extend(of_a);
        a.measured.sort_by_key(|m| m.at);
        b.measured.sort_by_key(|m| m.at);
    }

    /// The readings as the model has them.
    pub fn readings(&self) -> Result<Vec<Reading>, Invalid> {
        let series = self.series()?;
        let reading = |m: &Measured| {
            Reading::new(Facts {
                series: series[m.phase].clone(),
                taken_at: m.at,
                precision: Precision::Fine,
                time_doubt: TimeDoubt::None,
                ohms: m.ohms,
                bound: m.bound,
                delivered_voltage_v: None,
                duration_s: Some(60.0),
                temperature_c: m.temperature_c,
                temperature_of: m.temperature_c.map(|_| TemperatureOf::Winding),
                humidity_pct: Some(m.humidity_pct.round()),
                tester: m.tester.clone(),
                operator: Text::default(),
                station: m.station.clone(),
                remark: Text::default(),
            })
        };
        self.measured.iter().map(reading).collect()
    }

    /// The case as the trend sees it, with everything measured.
    pub fn case(&self) -> Result<Case, Invalid> {
        let mut lines: Vec<Line> =
            self.series()?.into_iter().map(|series| Line { series, points: Vec::new() }).collect();
        for (i, m) in self.measured.iter().enumerate() {
            lines[m.phase].points.push(Point {
                reading: ReadingId { batch: 1, record: i as u64 + 1, part: 0 },
                taken_at: m.at,
                log_ohm: m.ohms.log10(),
                bound: m.bound,
                temperature_c: m.temperature_c,
                temperature_sd: WINDING_SD,
                humidity_pct: Some(m.humidity_pct),
                tester: m.tester.clone(),
                station: m.station.clone(),
                retests: Vec::new(),
            });
        }
        Ok(Case { asset: self.asset.clone(), lines, events: self.events.clone() })
    }

    fn series(&self) -> Result<Vec<Arc<Series>>, Invalid> {
        let series = |phase: &&str| {
            Ok(Arc::new(Series {
                asset: self.asset.id.clone(),
                phase: Phase::new(phase)?,
                against: CASE.into(),
                setup: Text::default(),
                test_voltage: Some(Volts::new("test_voltage_v", 500.0)?),
            }))
        };
        PHASES.iter().map(series).collect()
    }
}

/// The id of a number: yard tractors of an invented harbour.
fn id(number: usize) -> AssetId {
    AssetId::new(&format!("YT-{:04}/drive", number + 1))
        .unwrap_or_else(|_| unreachable!("letters, digits, a dash and a slash make an id"))
}

/// The courses of three phases: one for all where they are tied.
fn courses(
    d: &mut Dice,
    preset: &Preset,
    fate: Fate,
    (baseline, onset): (f64, f64),
    apart: bool,
) -> Vec<Course> {
    let lasting = d.between(90.0, 600.0);
    let repair = d.between(14.0, 60.0);
    if !apart {
        let course = Course::draw(d, preset, fate, baseline, onset, lasting, repair);
        return vec![course; PHASES.len()];
    }
    let all = d.chance(0.4);
    let only = d.index(PHASES.len());
    (0..PHASES.len())
        .map(|phase| {
            let fate = if all || phase == only { fate } else { Fate::Healthy };
            let lasting = lasting * if phase == only { 1.0 } else { d.between(1.0, 1.4) };
            let baseline = d.normal(baseline, 0.05);
            Course::draw(d, preset, fate, baseline, onset, lasting, repair)
        })
        .collect()
}

/// What was written down of the repairs that follow the first crossing.
fn repairs(d: &mut Dice, preset: &Preset, asset: &AssetId, courses: &[Course]) -> Vec<Event> {
    let limit = preset.limit_ohm.log10();
    let crossed = courses.iter().filter_map(|c| c.crossing.map(|at| (c, at)));
    let Some((course, crossing)) = crossed.min_by(|a, b| a.1.total_cmp(&b.1)) else {
        return Vec::new();
    };
    let after = course.levels.iter().enumerate().skip(crossing.ceil() as usize + 1);
    let repaired = after.map(|(day, level)| (day as f64, *level)).find(|(_, l)| *l > limit);
    let kind = if d.chance(0.7) { EventKind::Rewound } else { EventKind::Dried };
    let recorded = !d.chance(preset.unrecorded);
    let at = repaired.filter(|_| recorded).map(|(day, _)| BEGIN.plus_days(day));
    let event = |at| Event { at, asset: asset.clone(), kind, remark: Text::default() };
    at.map(event).into_iter().collect()
}

/// All visits of one specimen.
fn measure(d: &mut Dice, preset: &Preset, seed: u64, courses: &[Course]) -> Vec<Measured> {
    let kappa = d.normal(preset.kappa.0, preset.kappa.1);
    let scatter = d.between(preset.scatter.0, preset.scatter.1);
    let humid = d.between(0.15, 0.3);
    let home = d.index(STATIONS);
    let (every, off) = preset.every_days;
    let mut wash = (d.wait_days(preset.washes), d.between(0.5, 2.0), d.between(4.0, 14.0));
    let mut all = Vec::new();
    let mut due = d.between(0.0, every);
    while due < preset.span_days {
        let day = (due + d.between(-off, off)).clamp(0.0, preset.span_days - 1.0).floor();
        due += every;
        let begin = day + d.between(6.0, 16.0) / 24.0;
        while wash.0 + wash.2 < begin {
            let next = wash.0 + wash.2 + d.wait_days(preset.washes);
            wash = (next, d.between(0.5, 2.0), d.between(4.0, 14.0));
        }
        let wet =
            if begin > wash.0 { wash.1 * (-3.0 * (begin - wash.0) / wash.2).exp() } else { 0.0 };
        let weather = Weather::draw(d, home, begin);
        let tester = match preset.testers_swapped && d.chance(0.3) {
            true => d.index(STATIONS),
            false => home,
        };
        let tester = Tester::numbered(preset, seed, tester);
        let missing = d.chance(preset.temperature_missing);
        let told = if preset.ambient_as_winding { weather.air_c } else { weather.winding_c };
        let common = d.normal(0.0, scatter * 0.4_f64.sqrt());
        let turned = d.chance(preset.phases_swapped);
        for (phase, course) in courses.iter().enumerate() {
            let humidity = humid * (weather.humidity - 75.0).max(0.0) / 20.0;
            let log_ohm =
                course.level(begin) + kappa * (weather.winding_c - 40.0) / 10.0 - humidity - wet
                    + common
                    + d.normal(0.0, scatter * 0.6_f64.sqrt());
            let (ohms, bound) = match d.chance(preset.outliers) {
                true if d.chance(0.3) => tester.open(),
                true => tester.shows(log_ohm - d.between(0.5, 2.0)),
                false => tester.shows(log_ohm),
            };
            all.push(Measured {
                at: BEGIN.plus_days(begin + phase as f64 * 90.0 / 86_400.0),
                phase: if turned { (phase + 1) % PHASES.len() } else { phase },
                ohms,
                bound,
                temperature_c: (!missing).then(|| (told * 2.0).round() / 2.0),
                humidity_pct: weather.humidity,
                tester: format!("IT-{}", tester.number + 1).into(),
                station: format!("bay-{}", home + 1).into(),
            });
        }
    }
    all
}

impl Weather {
    /// The season, the day and how long the machine has stood.
    fn draw(d: &mut Dice, station: usize, days: f64) -> Self {
        let season = -(std::f64::consts::TAU * (days - 15.0) / 365.25).cos();
        let air_c = 12.0 + 1.5 * station as f64 + 8.0 * season + d.normal(0.0, 3.0);
        let warmth = if d.chance(0.3) { d.between(5.0, 25.0) } else { d.between(0.0, 4.0) };
        Weather {
            winding_c: air_c + warmth,
            air_c,
            humidity: d.normal(65.0, 14.0).clamp(20.0, 99.0),
        }
    }
}
