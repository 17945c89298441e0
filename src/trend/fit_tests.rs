//! The field fit on series with a known answer, and on every degenerate input.

use super::fit::{Settings, fit};
use super::reach::Crossing;
use super::reason::NoMaximum;
use crate::model::{Bound, Insulation, Limit, LimitMeaning, Point, ReadingId, Stamp};

pub(crate) const DAY: i64 = crate::model::DAY_MICROS;

/// A point `day` days after 2026-01-01.
pub(crate) fn point(day: i64, log_ohm: f64, bound: Bound, celsius: Option<f64>) -> Point {
    Point {
        reading: ReadingId { batch: 1, record: day.unsigned_abs() + 1, part: 0 },
        taken_at: Stamp::from_micros(1_767_225_600_000_000 + day * DAY),
        log_ohm,
        bound,
        temperature_c: celsius,
        temperature_sd: 1.0,
        humidity_pct: None,
        tester: "T1".into(),
        station: "Quay 3".into(),
        retests: Vec::new(),
    }
}

/// A repeatable scatter of unit size, no random numbers.
pub(crate) fn wobble(i: i64) -> f64 {
    let x = i as f64;
    (12.9898 * x).sin() + (4.1414 * x + 1.0).sin() * 0.7
}

pub(crate) const LIMIT: Limit = Limit { ohms: 5e6, meaning: LimitMeaning::At40 };

fn days_from_start(stamp: Stamp) -> f64 {
    stamp.days() - point(0, 9.0, Bound::Measured, None).taken_at.days()
}

/// Monthly readings of a thermoplastic winding that loses `rate` decades a year from 9.0 at 40 °C,
/// with the seasons, read by a tester that tops out at 550 MΩ.
fn seasons(n: i64, rate: f64) -> Vec<Point> {
    (0..n)
        .map(|i| {
            let day = 30 * i;
            let celsius = 20.0 + 12.0 * (day as f64 / 365.25 * std::f64::consts::TAU).sin();
            let y = 9.0 - rate * day as f64 / 365.25 - 0.301 * (celsius - 40.0) / 10.0
                + 0.05 * wobble(i);
            if y >= 8.74 {
                point(day, 8.74, Bound::Over, Some(celsius))
            } else {
                point(day, y, Bound::Measured, Some(celsius))
            }
        })
        .collect()
}

#[test]
fn a_decline_is_found_through_seasons_and_over_range() {
    let points = seasons(36, 0.8);
    let fit = fit(&points, Insulation::Thermoplastic, &Settings::default()).unwrap();
    let line = fit.straight();
    assert!(fit.counts.over > 5 && fit.counts.exact > 5);
    assert!((line.decades_per_year + 0.8).abs() < 0.1, "{line:?}");
    assert!((line.kappa + 0.301).abs() < 0.06, "{line:?}");
    assert!(fit.p_declining() < 1e-6);
    assert!((fit.sen_decades_per_year.unwrap() + 0.8).abs() < 0.15);
    assert!(fit.mk_p_declining.unwrap() < 1e-3);
    // 9.0 falls to log10 5e6 = 6.699 in 2.301/0.8 years.
    let truth = (9.0 - 5e6_f64.log10()) / 0.8 * 365.25;
    let Crossing::Between { lower, point, upper } = fit.crossing(&LIMIT) else { panic!() };
    assert!(lower < point && point < upper);
    assert!(days_from_start(lower) < truth && truth < days_from_start(upper));
    assert!((days_from_start(point) - truth).abs() < 90.0);
}

#[test]
fn seasons_alone_are_no_decline() {
    let points = seasons(26, 0.0).into_iter().map(|mut p| {
        p.log_ohm -= if p.bound == Bound::Measured { 0.0 } else { 1.0 };
        p
    });
    // Cold months raise the reading, so a start in summer would fake a rise and a fall.
    let all: Vec<Point> = points
        .map(|p| Point { bound: Bound::Measured, ..p })
        .enumerate()
        .map(|(i, mut p)| {
            let t = p.temperature_c.unwrap();
            p.log_ohm = 8.2 - 0.301 * (t - 40.0) / 10.0 + 0.05 * wobble(i as i64);
            p
        })
        .collect();
    let half_year = &all[9..16];
    let right = fit(half_year, Insulation::Thermoplastic, &Settings::default()).unwrap();
    assert!(right.p_declining() > 0.01, "{}", right.p_declining());
    // The wrong rule invents a decline.
    let wrong = fit(half_year, Insulation::None, &Settings::default()).unwrap();
    assert!(wrong.p_declining().min(1.0 - wrong.p_declining()) < 0.01);
}

#[test]
fn an_onset_is_dated_and_its_uncertainty_widens_the_crossing() {
    let points: Vec<Point> = (0..30)
        .map(|i| {
            let fall = (30 * (i - 20)).max(0) as f64 / 365.25 * 1.5;
            point(30 * i, 8.5 - fall + 0.03 * wobble(i + 3), Bound::Measured, Some(40.0))
        })
        .collect();
    let fit = fit(&points, Insulation::Thermosetting, &Settings::default()).unwrap();
    let line = fit.broken().unwrap();
    let onset = days_from_start(line.onset.unwrap());
    assert!((onset - 600.0).abs() <= 60.0, "{onset}");
    assert!((line.decades_per_year + 1.5).abs() < 0.2);
    let truth = 600.0 + (8.5 - 5e6_f64.log10()) / 1.5 * 365.25;
    let Crossing::Between { lower, upper, .. } = fit.crossing(&LIMIT) else { panic!() };
    assert!(days_from_start(lower) < truth && truth < days_from_start(upper));
    // The straight line alone would put it much later.
    assert!(fit.straight().decades_per_year > -0.6);
}

#[test]
fn a_rising_or_level_line_has_no_date() {
    let rising: Vec<Point> = (0..12)
        .map(|i| {
            point(30 * i, 8.0 + 0.02 * i as f64 + 0.02 * wobble(i), Bound::Measured, Some(40.0))
        })
        .collect();
    let f = fit(&rising, Insulation::None, &Settings::default()).unwrap();
    assert_eq!(f.crossing(&LIMIT), Crossing::NoDate { because: "the trend does not fall" });
    assert!(f.p_declining() > 0.99);
    let faint: Vec<Point> = (0..12)
        .map(|i| {
            let scatter = if i % 2 == 0 { 0.1 } else { -0.1 };
            point(30 * i, 8.0 - 0.002 * i as f64 + scatter, Bound::Measured, Some(40.0))
        })
        .collect();
    let f = fit(&faint, Insulation::None, &Settings::default()).unwrap();
    assert!(f.straight().decades_per_year < 0.0);
    let because = "the slope is not clear enough to say when";
    assert_eq!(f.crossing(&LIMIT), Crossing::NoDate { because });
}

/// A limit as read is met by the readings as they are, at their own usual temperature.
#[test]
fn a_limit_as_read_is_not_corrected() {
    let points: Vec<Point> = (0..20)
        .map(|i| {
            point(30 * i, 6.5 - 0.05 * i as f64 + 0.03 * wobble(i), Bound::Measured, Some(20.0))
        })
        .collect();
    let raw = Limit { ohms: 10.0_f64.powf(5.55), meaning: LimitMeaning::AsRead };
    let f = fit(&points, Insulation::Thermoplastic, &Settings::default()).unwrap();
    assert!((f.decades_above(&raw)).abs() < 0.05, "{}", f.decades_above(&raw));
    let Crossing::Between { point: when, .. } = f.crossing(&raw) else { panic!() };
    assert!((days_from_start(when) - 570.0).abs() < 20.0);
}

/// Every degenerate input has a stated outcome.
#[test]
fn degenerate_inputs() {
    let settings = Settings::default();
    let reason = |points: &[Point]| match fit(points, Insulation::Unknown, &settings) {
        Ok(_) => panic!("a fit from {points:?}"),
        Err(none) => (none.reason, none.proven.words()),
    };
    let at = |day, y, bound| point(day, y, bound, Some(25.0));
    use Bound::{Measured, Over, Under};

    assert_eq!(reason(&[]), (NoMaximum::TooFew, "the readings prove no bound".into()));
    let two = [at(0, 9.0, Measured), at(30, 8.0, Measured)];
    let between = "the readings lie between 100 MΩ and 1 GΩ";
    assert_eq!(reason(&two), (NoMaximum::TooFew, between.into()));
    let over: Vec<_> = (0..8).map(|i| at(30 * i, 550e6_f64.log10(), Over)).collect();
    assert_eq!(reason(&over), (NoMaximum::AllOver, "every reading shows at least 550 MΩ".into()));
    let under: Vec<_> = (0..4).map(|i| at(30 * i, 4.0, Under)).collect();
    assert_eq!(reason(&under), (NoMaximum::AllUnder, "every reading shows at most 10 kΩ".into()));
    let jump = [at(0, 8.74, Over), at(30, 8.74, Over), at(60, 5.0, Under), at(90, 5.0, Under)];
    assert_eq!(reason(&jump).0, NoMaximum::Separated);
    let mut one = over.clone();
    one.push(at(300, 7.0, Measured));
    assert_eq!(reason(&one).0, NoMaximum::TooFewExact);
    let mut same_day: Vec<_> = (0..3).map(|i| at(0, 8.5 + 0.05 * i as f64, Measured)).collect();
    assert_eq!(reason(&same_day).0, NoMaximum::Monotone, "no time has passed");
    same_day.extend([at(200, 8.74, Over), at(400, 8.74, Over)]);
    assert_eq!(reason(&same_day).0, NoMaximum::Monotone, "the slope is open upwards");
}

#[test]
fn no_scatter_and_ties_still_give_a_line() {
    let settings = Settings::default();
    let constant: Vec<_> =
        (0..6).map(|i| point(100 * i, 8.5, Bound::Measured, Some(40.0))).collect();
    let f = fit(&constant, Insulation::None, &settings).unwrap();
    assert!(f.straight().decades_per_year.abs() < 1e-9);
    assert!((f.p_declining() - 0.5).abs() < 1e-3, "level is neither up nor down");
    assert!(f.straight().sigma > 0.02, "the prior keeps σ from zero");
    assert!(matches!(f.crossing(&LIMIT), Crossing::NoDate { .. }));

    let straight: Vec<_> =
        (0..7).map(|i| point(100 * i, 9.5 - 0.1 * i as f64, Bound::Measured, Some(40.0))).collect();
    let f = fit(&straight, Insulation::None, &settings).unwrap();
    assert!((f.straight().decades_per_year + 0.36525).abs() < 1e-6);
    assert!(matches!(f.crossing(&LIMIT), Crossing::Between { .. }));

    // Three phases' worth of readings at each visit.
    let tied: Vec<_> = (0..15)
        .map(|i| {
            point(
                90 * (i / 3),
                8.9 - 0.05 * (i / 3) as f64 + 0.03 * wobble(i),
                Bound::Measured,
                None,
            )
        })
        .collect();
    assert!(fit(&tied, Insulation::Unknown, &settings).is_ok());
}

#[test]
fn missing_temperatures_widen_the_slope() {
    let with = seasons(30, 0.6);
    let without: Vec<_> = with.iter().map(|p| Point { temperature_c: None, ..p.clone() }).collect();
    let settings = Settings::default();
    let known = fit(&with, Insulation::Thermoplastic, &settings).unwrap();
    let unknown = fit(&without, Insulation::Thermoplastic, &settings).unwrap();
    assert_eq!(unknown.without_temperature(), 30);
    let width = |i: (f64, f64)| i.1 - i.0;
    assert!(
        width(unknown.straight().decades_per_year_interval)
            > 1.5 * width(known.straight().decades_per_year_interval)
    );
    assert!(unknown.p_declining() > known.p_declining());
}
