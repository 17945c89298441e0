//! Verdicts on whole cases of the invented harbour Kestrel Quay.

use std::sync::Arc;

use super::evidence::{Settings, evidence};
use super::fit_tests::{point, wobble};
use crate::model::{
    Asset, AssetId, Bound, Case, Event, EventKind, Insulation, Limit, LimitMeaning, Line, Outcome,
    Phase, Point, Series, Verdict, Volts,
};

fn case(insulation: Insulation, lines: Vec<(&str, Vec<Point>)>) -> Case {
    let id = AssetId::new("YT-014/drive").unwrap();
    let mut asset = Asset::first_met(id.clone());
    asset.insulation = insulation;
    let lines = lines
        .into_iter()
        .map(|(phase, points)| Line {
            series: Arc::new(Series {
                asset: id.clone(),
                phase: Phase::new(phase).unwrap(),
                against: "case".into(),
                setup: "".into(),
                test_voltage: Some(Volts::new("test_voltage_v", 500.0).unwrap()),
            }),
            points,
        })
        .collect();
    Case { asset, lines, events: Vec::new() }
}

fn falling(rate: f64, n: i64) -> Vec<Point> {
    (0..n)
        .map(|i| {
            let y = 8.4 - rate * (30 * i) as f64 / 365.25 + 0.05 * wobble(i);
            point(30 * i, y, Bound::Measured, Some(40.0))
        })
        .collect()
}

fn over(n: i64) -> Vec<Point> {
    (0..n).map(|i| point(30 * i, 550e6_f64.log10(), Bound::Over, Some(30.0))).collect()
}

fn verdict(case: &Case) -> Verdict {
    evidence(case, &Settings::default()).verdict
}

#[test]
fn the_worst_line_leads() {
    let case = case(
        Insulation::Thermosetting,
        vec![("U", over(12)), ("V", falling(1.0, 14)), ("W", over(12))],
    );
    let said = evidence(&case, &Settings::default());
    assert_eq!(said.verdict, Verdict::Declining);
    assert_eq!(said.leading, Some(1));
    assert_eq!(said.lines[0].verdict, Verdict::Steady);
    let reasons = said.lines[1].reasons.join(" ");
    assert!(reasons.contains("reaches 5 MΩ between 20"), "{reasons}");
}

#[test]
fn over_range_throughout_is_steady_with_its_bound() {
    let said = evidence(&case(Insulation::Unknown, vec![("U", over(3))]), &Settings::default());
    assert_eq!(said.verdict, Verdict::Steady);
    assert!(said.lines[0].reasons[0].contains("every reading shows at least 550 MΩ"));
    assert_eq!(verdict(&case(Insulation::Unknown, vec![("U", over(2))])), Verdict::TooFew);
    assert_eq!(verdict(&case(Insulation::Unknown, vec![])), Verdict::TooFew);
}

/// Common practice, no published source: a part faulted on purpose reads the bottom of the range.
#[test]
fn two_dead_shorts_open_below_limit() {
    let mut points = over(1);
    points.push(point(40, 4.0, Bound::Under, None));
    let mut one = case(Insulation::Unknown, vec![("V", points.clone())]);
    let said = evidence(&one, &Settings::default());
    assert_eq!(said.lines[0].limits[0].outcome, Outcome::Below);
    assert_eq!(said.verdict, Verdict::Watch, "one low reading asks for a repeat");
    assert!(said.lines[0].reasons[0].contains("repeat this test"));
    // A retest in the same visit repeats it.
    one.lines[0].points[1].retests = vec![(4.0, Bound::Under)];
    assert_eq!(verdict(&one), Verdict::BelowLimit);
    // So does the next visit.
    points.push(point(41, 4.1, Bound::Measured, None));
    assert_eq!(verdict(&case(Insulation::Unknown, vec![("V", points)])), Verdict::BelowLimit);
}

#[test]
fn a_rewind_starts_anew() {
    let mut points = falling(1.4, 14);
    let last = points.last().unwrap().taken_at;
    let mut case = case(Insulation::None, vec![("U", points.clone())]);
    assert!(verdict(&case) >= Verdict::Declining);
    case.events.push(Event {
        at: last.plus_days(5.0),
        asset: case.asset.id.clone(),
        kind: EventKind::Rewound,
        remark: "".into(),
    });
    let said = evidence(&case, &Settings::default());
    assert_eq!(said.verdict, Verdict::TooFew);
    assert!(said.lines[0].reasons[0].contains("No reading since"));
    points.extend((0..4).map(|i| point(14 * 30 + 30 * i, 8.74, Bound::Over, None)));
    case.lines[0].points = points;
    assert_eq!(verdict(&case), Verdict::Steady);
    // Cleaning is shown only.
    case.events[0].kind = EventKind::parse("cleaned").unwrap();
    assert_ne!(evidence(&case, &Settings::default()).lines[0].counts.all(), 4);
}

#[test]
fn slow_ageing_far_from_the_limit_is_steady() {
    let points: Vec<Point> = (0..60)
        .map(|i| {
            let y = 8.4 - 0.05 * (30 * i) as f64 / 365.25 + 0.03 * wobble(i);
            point(30 * i, y, Bound::Measured, Some(40.0))
        })
        .collect();
    assert_eq!(verdict(&case(Insulation::None, vec![("U", points)])), Verdict::Steady);
}

/// UN R100 (S): 100 Ω/V at 800 V. The raw value counts, and two limits stand side by side.
#[test]
fn an_isolation_limit_stands_beside_the_winding_limit() {
    let points: Vec<Point> = (0..4)
        .map(|i| point(30 * i, 6.0 + 0.01 * wobble(i), Bound::Measured, Some(10.0)))
        .collect();
    let mut case = case(Insulation::Thermoplastic, vec![("HV+", points)]);
    case.asset.limit_ohm = None;
    case.asset.more_limits = vec![Limit {
        ohms: 80e3,
        meaning: LimitMeaning::Isolation { ohm_per_volt: 100.0, working_voltage_v: 800.0 },
    }];
    assert_eq!(verdict(&case), Verdict::Steady);
    case.asset.limit_ohm = Some(5e6);
    let said = evidence(&case, &Settings::default());
    assert_eq!(said.verdict, Verdict::BelowLimit, "1 MΩ at 10 °C is far below 5 MΩ at 40 °C");
    assert_eq!(said.lines[0].limits[1].outcome, Outcome::Meets);
}
