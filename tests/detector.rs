//! The detector by named cases, by properties, and on small invented fleets.
//!
//! Expectations are the project's own decisions (what must alarm, what must not), except where a
//! published figure stands beside a check.
#![expect(clippy::unwrap_used, reason = "a test may fail loudly")]

use std::sync::{Arc, LazyLock};

use ohmward::invent::{Fate, Preset, fleet};
use ohmward::model::{
    Asset, AssetId, Bound, CASE, Case, Event, EventKind, FindingKind, Insulation, Joining, Limit,
    LimitMeaning, Line, Phase, Point, ReadingId, Series, Stamp, Text, Verdict,
};
use ohmward::trend::detect::{Context, CrossingTimes, Detection, Detector, NoticeKind, Settings};

/// A value of one phase: ohms and what they mean.
type Value = (f64, Bound);

const OVER: Value = (550e6, Bound::Over);
const DEAD: Value = (10e3, Bound::Under);

fn on(ohms: f64) -> Value {
    (ohms, Bound::Measured)
}

fn day(days: f64) -> Stamp {
    Stamp::parse("2026-01-05T09:00:00Z").unwrap().plus_days(days)
}

/// A case of visits given as day, values of U, V, W (as many as there are), temperature.
fn case(joining: Joining, visits: &[(f64, Vec<Value>, f64)]) -> Case {
    let id = AssetId::new("YT-014/drive").unwrap();
    let insulation = Insulation::Thermoplastic;
    let asset = Asset { joining, insulation, ..Asset::first_met(id.clone()) };
    let phases = visits.iter().map(|v| v.1.len()).max().unwrap_or(0);
    let line = |p: usize| {
        let series = Series {
            asset: id.clone(),
            phase: Phase::new(["U", "V", "W"][p]).unwrap(),
            against: CASE.into(),
            setup: Text::default(),
            test_voltage: None,
        };
        let of = visits.iter().enumerate().filter(|(_, v)| p < v.1.len());
        let points = of.map(|(i, (at, values, celsius))| Point {
            reading: ReadingId { batch: 1, record: i as u64 + 1, part: p as u16 },
            taken_at: day(*at),
            log_ohm: values[p].0.log10(),
            bound: values[p].1,
            temperature_c: Some(*celsius),
            temperature_sd: 1.0,
            humidity_pct: None,
            tester: "IT-1".into(),
            station: "bay-1".into(),
            retests: Vec::new(),
        });
        Line { series: Arc::new(series), points: points.collect() }
    };
    Case { asset, lines: (0..phases).map(line).collect(), events: Vec::new() }
}

/// Monthly visits with the same value on all phases.
fn monthly(joining: Joining, values: &[Value]) -> Case {
    let visit = |(i, v): (usize, &Value)| (30.0 * i as f64, vec![*v; 3], 22.0);
    case(joining, &values.iter().enumerate().map(visit).collect::<Vec<_>>())
}

static DETECTOR: LazyLock<Detector> = LazyLock::new(|| Detector::new(Settings::default()));

fn detect(case: &Case) -> Detection {
    DETECTOR.detect(case, &Context::default())
}

fn kinds(found: &Detection) -> Vec<FindingKind> {
    found.alarms.iter().map(|a| a.kind).filter(|kind| *kind != FindingKind::Watch).collect()
}

fn asks(found: &Detection) -> bool {
    found.notices.iter().any(|n| n.kind == NoticeKind::Repeat)
}

#[test]
fn nothing_at_all_is_an_outcome() {
    let found = detect(&case(Joining::Tied, &[]));
    assert_eq!(found.verdict, Verdict::TooFew);
    assert!(found.series.is_empty() && found.alarms.is_empty() && found.leading.is_none());
}

#[test]
fn a_first_reading_never_gives_a_date() {
    let date = |c: &CrossingTimes| c.lower.or(c.mid).or(c.upper);
    for ohms in [1e3, 1e6, 20e6, 500e6, 1e9, 1e15] {
        let found = detect(&monthly(Joining::Tied, &[on(ohms)]));
        assert!(kinds(&found).is_empty(), "{ohms}: {:?}", found.alarms);
        assert!(found.series.iter().all(|s| date(&s.crossing).is_none()), "{ohms}");
        assert!(found.projections.iter().all(|p| date(&p.crossing).is_none()), "{ohms}");
    }
    // A first 20 MΩ at 40 °C, four times the limit, is no more than slightly suspicious.
    let mut warm = monthly(Joining::Tied, &[on(20e6)]);
    warm.lines.iter_mut().for_each(|l| l.points[0].temperature_c = Some(40.0));
    let p = detect(&warm).series[0].chance.sum();
    assert!((0.02..0.25).contains(&p), "{p}");
}

#[test]
fn over_range_throughout_is_steady() {
    for joining in [Joining::Tied, Joining::Separable, Joining::Unknown] {
        let found = detect(&monthly(joining, &[OVER; 24]));
        assert_eq!(found.verdict, Verdict::Steady);
        assert!(found.alarms.is_empty());
    }
}

#[test]
fn two_dead_shorts_alarm_and_one_asks() {
    for joining in [Joining::Tied, Joining::Separable, Joining::Unknown] {
        let mut values = vec![OVER; 8];
        values.push(DEAD);
        let one = detect(&monthly(joining, &values));
        assert!(kinds(&one).is_empty() && asks(&one), "{:?}", one.alarms);
        values.push(DEAD);
        let two = detect(&monthly(joining, &values));
        assert!(kinds(&two).contains(&FindingKind::BelowLimit), "{:?}", two.alarms);
        assert_eq!(two.verdict, Verdict::BelowLimit);
    }
    // Also as the very first two, at any temperature and pace.
    for (gap, celsius) in [(0.2, 5.0), (1.0, 22.0), (7.0, 60.0), (400.0, -10.0)] {
        let visits = [(0.0, vec![DEAD; 3], celsius), (gap, vec![DEAD; 3], celsius)];
        let found = detect(&case(Joining::Unknown, &visits));
        assert!(kinds(&found).contains(&FindingKind::BelowLimit), "{gap}: {:?}", found.alarms);
    }
}

#[test]
fn a_retest_is_the_repeat() {
    let mut once = monthly(Joining::Separable, &[OVER, OVER, OVER, OVER, OVER]);
    let at = &mut once.lines[1].points[4];
    (at.log_ohm, at.bound) = (6.0, Bound::Measured);
    assert!(kinds(&detect(&once)).is_empty());
    once.lines[1].points[4].retests.push((6.05, Bound::Measured));
    assert!(kinds(&detect(&once)).contains(&FindingKind::BelowLimit));
    // A retest that reads well again does not repeat it.
    once.lines[1].points[4].retests = vec![(8.74, Bound::Over)];
    assert!(kinds(&detect(&once)).is_empty());
}

#[test]
fn of_one_node_a_retest_on_any_phase_is_the_repeat() {
    let mut case = monthly(Joining::Tied, &[OVER, OVER, OVER, OVER, DEAD]);
    assert!(kinds(&detect(&case)).is_empty());
    case.lines[2].points[4].retests.push((4.0, Bound::Under));
    assert!(kinds(&detect(&case)).contains(&FindingKind::BelowLimit));
}

#[test]
fn a_sudden_drop_is_a_step_at_the_second_value() {
    let mut values = vec![on(400e6); 6];
    values.push(on(20e6));
    let one = detect(&monthly(Joining::Unknown, &values));
    assert!(!kinds(&one).contains(&FindingKind::Step) && asks(&one));
    values.push(on(21e6));
    assert!(kinds(&detect(&monthly(Joining::Unknown, &values))).contains(&FindingKind::Step));
}

#[test]
fn a_drop_that_stays_is_told_once() {
    for (high, low) in [(400e6, 20e6), (400e6, 35e6), (300e6, 12e6), (500e6, 30e6)] {
        for joining in [Joining::Tied, Joining::Separable, Joining::Unknown] {
            let mut values = vec![on(high); 6];
            values.extend(vec![on(low); 30]);
            let found = detect(&monthly(joining, &values));
            let told = kinds(&found);
            let count = |kind| told.iter().filter(|k| **k == kind).count();
            assert!((1..=2).contains(&told.len()), "{high} {low}: {:?}", found.alarms);
            assert!(count(FindingKind::Step) <= 1 && count(FindingKind::Declining) <= 1);
        }
    }
}

#[test]
fn a_plain_decline_is_named_with_a_date_that_holds() {
    // 0.16 decade a month at 22 °C from 500 MΩ; at 40 °C the limit is reached by the halving rule
    // (IEEE Std 43) when 22 °C reads 5 MΩ · 2^1.8 = 17.4 MΩ: after 9.1 months.
    let value = |i: i32| on(500e6 * 10f64.powf(-0.16 * f64::from(i)));
    let values: Vec<Value> = (0..8).map(value).collect();
    let found = detect(&monthly(Joining::Tied, &values));
    assert!(kinds(&found).contains(&FindingKind::Declining), "{found:?}");
    let lead = &found.series[found.leading.unwrap()];
    let (truth, crossing) = (day(9.1 * 30.0), lead.crossing);
    assert!(crossing.lower.unwrap() < truth && crossing.upper.is_none_or(|u| u > truth));
    assert!(crossing.lower <= crossing.mid);
    assert!(lead.decades_per_year.mid < -1.0 && lead.decades_per_year.lower < -1.5);
    let named = found.alarms.iter().find(|a| a.kind == FindingKind::Declining);
    assert!(named.unwrap().cleared_at.is_none());
}

#[test]
fn a_decline_is_followed_down_through_a_vehicle_limit() {
    // 500 Ω/V at 400 V: 200 kΩ (UN R100, ISO 6469-3), held against what was read.
    let value = |i: i32| on(5e8 * 10f64.powf(-0.25 * f64::from(i)));
    let values: Vec<Value> = (0..16).map(value).collect();
    let mut case = monthly(Joining::Tied, &values);
    case.asset.limit_ohm = None;
    let meaning = LimitMeaning::Isolation { ohm_per_volt: 500.0, working_voltage_v: 400.0 };
    case.asset.more_limits = vec![Limit { ohms: 200e3, meaning }];
    let found = detect(&case);
    let first = |kind| found.alarms.iter().find(|a| a.kind == kind).map(|a| a.first_flagged_at);
    let declining = first(FindingKind::Declining).unwrap();
    // 158 kΩ is read on the 15th visit, 89 kΩ on the 16th, which repeats it.
    assert!(declining < day(13.0 * 30.0), "{:?}", found.alarms);
    assert_eq!(first(FindingKind::BelowLimit), Some(day(15.0 * 30.0)));
    // 89 kΩ at 22 °C is some 26 kΩ at 40 °C by the halving rule.
    assert!((4.1..4.8).contains(&found.series[0].level.mid), "{:?}", found.series[0].level);
}

#[test]
fn an_isolation_limit_is_never_corrected() {
    // 300 kΩ at 20 °C would be 75 kΩ at 40 °C by the halving rule, well below 200 kΩ.
    let mut case = monthly(Joining::Tied, &[on(300e3); 12]);
    case.asset.limit_ohm = None;
    let meaning = LimitMeaning::Isolation { ohm_per_volt: 500.0, working_voltage_v: 400.0 };
    case.asset.more_limits = vec![Limit { ohms: 200e3, meaning }];
    let found = detect(&case);
    assert!(kinds(&found).is_empty() && !asks(&found), "{:?}", found.alarms);
    // As a limit at 40 °C it is below at once.
    case.asset.limit_ohm = Some(200e3);
    assert!(kinds(&detect(&case)).contains(&FindingKind::BelowLimit));
}

#[test]
fn seasons_are_not_declines() {
    // Two years between 0 and 36 °C under the halving rule, on scale throughout.
    let visit = |i: i32| {
        let celsius = 18.0 + 18.0 * (std::f64::consts::TAU * f64::from(i) / 12.0).sin();
        let ohms = 40e6 * 2f64.powf((40.0 - celsius) / 10.0);
        (30.4 * f64::from(i), vec![on(ohms); 3], celsius)
    };
    let found = detect(&case(Joining::Unknown, &(0..24).map(visit).collect::<Vec<_>>()));
    assert!(found.alarms.is_empty(), "{:?}", found.alarms);
}

#[test]
fn one_phase_apart_is_a_finding_only_where_phases_are_separable() {
    let visit = |i: i32| (30.0 * f64::from(i), vec![on(4e8), on(4.2e8), on(3e7)], 40.0);
    let visits: Vec<_> = (0..6).map(visit).collect();
    let found = |joining| kinds(&detect(&case(joining, &visits)));
    assert!(found(Joining::Separable).contains(&FindingKind::Imbalance));
    assert!(!found(Joining::Tied).contains(&FindingKind::Imbalance));
    assert!(!found(Joining::Unknown).contains(&FindingKind::Imbalance));
}

#[test]
fn a_new_winding_starts_anew() {
    let mut values = vec![on(400e6), on(150e6), on(60e6), on(25e6), on(12e6), on(5e6), on(4e6)];
    values.extend([OVER; 5]);
    let mut case = monthly(Joining::Tied, &values);
    let (kind, remark) = (EventKind::Rewound, Text::default());
    case.events = vec![Event { at: day(195.0), asset: case.asset.id.clone(), kind, remark }];
    let found = detect(&case);
    assert!(!found.alarms.is_empty());
    assert!(found.alarms.iter().all(|a| a.cleared_at.is_some_and(|at| at <= day(195.0))));
    assert_eq!((found.verdict, found.series[0].visits), (Verdict::Steady, 5));
    // Without the record of it, a person is asked.
    case.events.clear();
    let found = detect(&case);
    assert!(found.notices.iter().any(|n| n.kind == NoticeKind::UnrecordedRepair));
}

/// Declining cases of invented fleets, for the properties below.
fn some_cases() -> Vec<Case> {
    let preset = Preset { separable: 0.5, ..Preset::hard().declining() };
    fleet(&preset, 3, 20_260_101).iter().map(|s| s.case().unwrap()).collect()
}

#[test]
fn the_future_changes_nothing_earlier() {
    for whole in some_cases() {
        let all = detect(&whole);
        for cut in [300.0, 800.0] {
            let end = whole.lines[0].points[0].taken_at.plus_days(cut);
            let end = Stamp::from_micros((end.utc_day() + 1) * ohmward::model::DAY_MICROS);
            let mut part = whole.clone();
            part.lines.iter_mut().for_each(|l| l.points.retain(|p| p.taken_at < end));
            part.events.retain(|e| e.at < end);
            let part = detect(&part);
            let mut known = all.alarms.clone();
            known.retain(|a| a.first_flagged_at < end);
            for alarm in &mut known {
                alarm.cleared_at = alarm.cleared_at.filter(|at| *at < end);
            }
            assert_eq!(part.alarms, known);
            let mut known = all.projections.clone();
            known.retain(|p| p.as_of < end);
            assert_eq!(part.projections, known);
        }
    }
}

#[test]
fn order_of_arrival_and_shift_in_time_change_nothing() {
    for case in some_cases() {
        let plain = detect(&case);
        let mut turned = case.clone();
        turned.lines.iter_mut().for_each(|l| l.points.reverse());
        turned.events.reverse();
        assert_eq!(detect(&turned), plain);
        let mut later = case.clone();
        for point in later.lines.iter_mut().flat_map(|l| &mut l.points) {
            point.taken_at = point.taken_at.plus_days(1000.0);
        }
        later.events.iter_mut().for_each(|e| e.at = e.at.plus_days(1000.0));
        let later = detect(&later);
        assert_eq!(later.verdict, plain.verdict);
        let starts = |found: &Detection, days: f64| -> Vec<_> {
            let of = found.alarms.iter();
            of.map(|a| (a.kind, a.phase.clone(), a.first_flagged_at.plus_days(days))).collect()
        };
        assert_eq!(starts(&later, 0.0), starts(&plain, 1000.0));
    }
}

#[test]
fn ohms_scaled_by_whole_steps_change_nothing() {
    // Readings, limit and grid moved by 0.7 decade together.
    let by = 0.7;
    let mut settings = Settings::default();
    settings.filter.bottom += by;
    settings.filter.top += by;
    settings.filter.start.1 += by;
    settings.filter.start_low += by;
    let moved = Detector::new(settings);
    for case in some_cases() {
        let plain = detect(&case);
        let mut scaled = case.clone();
        scaled.lines.iter_mut().flat_map(|l| &mut l.points).for_each(|p| p.log_ohm += by);
        scaled.asset.limit_ohm = scaled.asset.limit_ohm.map(|ohms| ohms * 10f64.powf(by));
        let found = moved.detect(&scaled, &Context::default());
        assert_eq!(found.verdict, plain.verdict);
        for (a, b) in found.series.iter().zip(&plain.series) {
            assert!((a.chance.sum() - b.chance.sum()).abs() < 1e-6);
            assert!((a.level.mid - by - b.level.mid).abs() < 1e-6);
        }
    }
}

#[test]
fn absurd_input_has_an_outcome() {
    let absurd = [on(1e-3), on(1e18), (1e18, Bound::Over), (1e18, Bound::Under), DEAD, OVER];
    let visit = |i: usize| {
        let values = vec![absurd[i % 6], absurd[(i / 2) % 6], absurd[(i / 3) % 6]];
        (1e4 * (i * i % 7) as f64, values, [-89.0, 399.0, f64::NAN][i % 3])
    };
    let visits: Vec<_> = (0..60).map(visit).collect();
    for joining in [Joining::Tied, Joining::Separable, Joining::Unknown] {
        let mut case = case(joining, &visits);
        for limit in [None, Some(5e6), Some(0.0), Some(1e18)] {
            case.asset.limit_ohm = limit;
            let found = detect(&case);
            assert!(found.series.iter().all(|s| (0.0..=1.0 + 1e-9).contains(&s.chance.sum())));
            assert!(found.series.iter().all(|s| s.level.mid.is_finite()));
        }
    }
}

/// A small fleet, so that a broken detector is seen in every run; the real scores come from
/// `cargo bench --bench score`.
#[test]
fn a_small_fleet_is_judged_sensibly() {
    let flagged = |preset: &Preset| -> Vec<_> {
        let judge = |s: &ohmward::invent::Specimen| {
            let found = detect(&s.case().unwrap());
            let alarms = found.alarms.into_iter().filter(|a| a.kind != FindingKind::Watch);
            (s.fate, s.crossing, alarms.map(|a| a.first_flagged_at).min())
        };
        fleet(preset, 24, 9).iter().map(judge).collect()
    };
    let healthy = flagged(&Preset::calm());
    assert!(healthy.iter().filter(|f| f.2.is_some()).count() <= 1);
    assert!(healthy.iter().all(|f| f.0 == Fate::Healthy));
    let bench = flagged(&Preset::bench().declining());
    let crossing: Vec<_> = bench.iter().filter_map(|f| f.1.map(|at| (at, f.2))).collect();
    let ahead = crossing.iter().filter(|(at, first)| first.is_some_and(|f| f < *at)).count();
    assert!(crossing.len() >= 4 && ahead * 10 >= crossing.len() * 9, "{ahead} of {crossing:?}");
}
