//! Readings to visits: which value stands, what is left out and why.

use std::sync::Arc;

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::{prop_assert_eq, proptest};
use proptest::sample::select;

use super::*;
use crate::model::{
    AssetId, Bound, Facts, Phase, Precision, Proof, ProofKind, ProofMoment, Reading, ReadingId,
    Series, Stamp, Text, TimeDoubt, Volts,
};

const HOUR: f64 = 1.0 / 24.0;

fn at(days: f64) -> Stamp {
    Stamp::from_micros(1_700_000_000_000_000).plus_days(days)
}

fn reading(n: u64, days: f64, ohms: f64, duration_s: Option<f64>) -> Corrected {
    let series = Series {
        asset: AssetId::new("YT-014/drive").unwrap(),
        phase: Phase::new("U").unwrap(),
        against: "case".into(),
        setup: Text::default(),
        test_voltage: Some(Volts::new("test_voltage_v", 500.0).unwrap()),
    };
    let facts = Facts {
        series: Arc::new(series),
        taken_at: at(days),
        precision: Precision::Fine,
        time_doubt: TimeDoubt::None,
        ohms,
        bound: Bound::Measured,
        delivered_voltage_v: Some(520.0),
        duration_s,
        temperature_c: None,
        temperature_of: None,
        humidity_pct: None,
        tester: "HT-2".into(),
        operator: Text::default(),
        station: Text::default(),
        remark: Text::default(),
    };
    Corrected {
        id: ReadingId { batch: 1, record: n, part: 0 },
        reading: Reading::new(facts).unwrap(),
        voided: None,
        moved_from: None,
        overruled: None,
    }
}

fn proof(days: f64, kind: ProofKind, passed: bool, moment: ProofMoment) -> Proof {
    let (value, unit, remark) = (None, Text::default(), Text::default());
    Proof { at: at(days), tester: "HT-2".into(), kind, value, unit, passed, moment, remark }
}

/// The records that stand for their visits.
fn standing(readings: Vec<Corrected>) -> Vec<u64> {
    let (judged, lines) = gather(readings, &Suspicions::default(), &[], &Settings::default());
    assert_eq!(judged.iter().filter(|j| j.role == Role::Counts).count(), lines[0].points.len());
    lines[0].points.iter().map(|p| p.reading.record).collect()
}

#[test]
fn a_pause_longer_than_the_setting_is_another_visit() {
    let close = vec![reading(1, 0.0, 1e8, None), reading(2, 3.9 * HOUR, 1e8, None)];
    assert_eq!(standing(close), [2], "a later test of one visit replaces the earlier one");
    let apart = vec![reading(1, 0.0, 1e8, None), reading(2, 4.1 * HOUR, 1e8, None)];
    assert_eq!(standing(apart), [1, 2]);
}

#[test]
fn of_one_test_the_value_nearest_the_rated_minute_stands() {
    let second = HOUR / 3_600.0;
    let timed = |n, s: f64| reading(n, s * second, 1e8 + s, Some(s));
    assert_eq!(
        standing(vec![timed(1, 15.0), timed(2, 30.0), timed(3, 58.0), timed(4, 600.0)]),
        [3]
    );
    let (judged, lines) = gather(
        vec![timed(1, 30.0), timed(2, 60.0), timed(3, 600.0)],
        &Suspicions::default(),
        &[],
        &Settings::default(),
    );
    let roles: Vec<_> = judged.iter().map(|j| j.role.clone()).collect();
    assert_eq!(roles, [Role::Timed, Role::Counts, Role::Timed]);
    assert!(lines[0].points[0].retests.is_empty(), "the same test is no retest");
}

#[test]
fn a_retest_replaces_unless_it_was_broken_off() {
    let minute = HOUR / 60.0;
    let whole = vec![reading(1, 0.0, 2e6, Some(60.0)), reading(2, 5.0 * minute, 3e8, Some(60.0))];
    let (_, lines) = gather(whole, &Suspicions::default(), &[], &Settings::default());
    assert_eq!(lines[0].points[0].reading.record, 2);
    assert_eq!(lines[0].points[0].retests, [(2e6_f64.log10(), Bound::Measured)], "both are kept");
    let broken = vec![reading(1, 0.0, 2e8, Some(60.0)), reading(2, 5.0 * minute, 9e7, Some(5.0))];
    assert_eq!(standing(broken), [1]);
}

#[test]
fn a_sagged_voltage_spoils_only_a_high_reading() {
    let sagged = |n, ohms| {
        let mut c = reading(n, n as f64, ohms, None);
        let mut facts = c.reading.into_facts();
        facts.delivered_voltage_v = Some(100.0);
        c.reading = Reading::new(facts).unwrap();
        c
    };
    let (judged, _) = gather(
        vec![sagged(1, 2e8), sagged(2, 1e5)],
        &Suspicions::default(),
        &[],
        &Settings::default(),
    );
    assert_eq!(judged[0].role, Role::LeftOut(Exclusion::VoltageSagged));
    assert_eq!(judged[1].role, Role::Counts, "it sags because the insulation is bad");
}

#[test]
fn a_failed_proof_after_the_job_reaches_back_to_the_last_good_one() {
    let proofs = [
        proof(0.0, ProofKind::Open, true, ProofMoment::Before),
        proof(0.5, ProofKind::Shorted, false, ProofMoment::After),
        proof(2.0, ProofKind::Open, true, ProofMoment::Before),
    ];
    let found = suspicions(&proofs, &Settings::default());
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].from, found[0].to), (at(0.0), at(2.0)));
    let all = Suspicions::new(&proofs, &Settings::default());
    let is_covered = |days| all.covering(&reading(1, days, 1e8, None).reading).count() == 1;
    assert!(is_covered(0.3) && is_covered(1.0) && !is_covered(-0.1) && !is_covered(2.1));
    assert!(all.of("HT-5").is_empty());
}

#[test]
fn a_good_proof_of_another_kind_after_the_job_shields_nothing() {
    let proofs = [
        proof(0.0, ProofKind::Open, true, ProofMoment::Before),
        proof(0.01, ProofKind::Shorted, true, ProofMoment::Before),
        proof(0.5, ProofKind::Open, true, ProofMoment::After),
        proof(0.51, ProofKind::Shorted, false, ProofMoment::After),
        proof(0.52, ProofKind::Open, true, ProofMoment::After),
        proof(1.0, ProofKind::Shorted, true, ProofMoment::After),
    ];
    let found = suspicions(&proofs, &Settings::default());
    assert_eq!((found[0].from, found[0].to), (at(0.01), at(1.0)));
}

#[test]
fn without_a_good_proof_a_failed_one_reaches_at_most_its_span() {
    let after =
        suspicions(&[proof(0.0, ProofKind::Open, false, ProofMoment::After)], &Settings::default());
    assert_eq!((after[0].from, after[0].to), (at(-7.0), at(7.0)));
    let before = suspicions(
        &[proof(0.0, ProofKind::Open, false, ProofMoment::Before)],
        &Settings::default(),
    );
    assert_eq!(before[0].from, at(0.0), "what was measured before it was measured well");
}

#[test]
fn a_good_proof_of_the_voltage_function_says_nothing_of_resistances() {
    let proofs = [
        proof(-1.0, ProofKind::KnownSource, true, ProofMoment::Before),
        proof(0.0, ProofKind::Open, false, ProofMoment::After),
    ];
    assert_eq!(suspicions(&proofs, &Settings::default())[0].from, at(-7.0));
}

#[test]
fn a_tester_is_overdue_by_what_was_written_at_the_time() {
    let record = TesterRecord {
        proofs: Vec::new(),
        dues: vec![(at(0.0), Some(at(100.0))), (at(150.0), Some(at(500.0)))],
    };
    assert_eq!(record.overdue(at(-10.0)), None, "the first row holds before it was written");
    assert_eq!(record.overdue(at(100.0)), None, "on the day itself it is not past");
    assert_eq!(record.overdue(at(120.0)), Some(at(100.0)));
    assert_eq!(record.overdue(at(160.0)), None, "calibrated since");
    assert_eq!(record.overdue(at(501.0)), Some(at(500.0)));
    assert_eq!(TesterRecord::default().overdue(at(0.0)), None);
}

#[test]
fn a_proof_answers_for_its_day_and_for_a_visit_around_midnight() {
    let doubtful = |proofs: Vec<Proof>, days: f64| {
        let record = TesterRecord { proofs, dues: Vec::new() };
        let (judged, _) = gather(
            vec![reading(1, days, 1e9, Some(60.0))],
            &Suspicions::default(),
            &[],
            &Settings::default(),
        );
        doubts(&judged[0], Some(&record), &Settings::default()).contains(&Doubt::NotProved)
    };
    // `at(0)` is 22:13 of a day.
    let good = |days| proof(days, ProofKind::Open, true, ProofMoment::Before);
    assert!(doubtful(vec![], 0.0));
    assert!(!doubtful(vec![good(-14.0 * HOUR)], 0.0), "that morning");
    assert!(!doubtful(vec![good(0.0)], 3.0 * HOUR), "the same visit, past midnight");
    assert!(doubtful(vec![good(0.0)], 5.0 * HOUR), "another day");
    assert!(doubtful(vec![good(-30.0 * HOUR), good(30.0 * HOUR)], 0.0));
    let failed = proof(0.0, ProofKind::Open, false, ProofMoment::Before);
    let voltage = proof(0.0, ProofKind::KnownSource, true, ProofMoment::Before);
    assert!(doubtful(vec![failed, voltage], 0.0), "neither shows that the reading was sound");
}

/// The reading that stands, found by looking at all readings of a visit at once: of the last test
/// with a reading about as near to the rated minute as any, the nearest one.
fn standing_at_once(durations: &[Option<f64>]) -> usize {
    let off: Vec<f64> = durations
        .iter()
        .map(|d| match d {
            Some(s) if *s > 0.0 => (s / 60.0_f64).ln().abs(),
            Some(_) => f64::INFINITY,
            None => 0.0,
        })
        .collect();
    let mut test = vec![0];
    for pair in durations.windows(2) {
        let rising = matches!(pair, [Some(a), Some(b)] if b > a);
        test.push(test[test.len() - 1] + usize::from(!rising));
    }
    let nearest = off.iter().copied().fold(f64::INFINITY, f64::min);
    let last_near = off.iter().rposition(|&o| o <= nearest + 0.405).unwrap();
    let of_test = (0..off.len()).filter(|&n| test[n] == test[last_near]);
    of_test.min_by(|&a, &b| off[a].total_cmp(&off[b])).unwrap()
}

proptest! {
    #[test]
    fn one_after_the_other_gives_what_all_at_once_gives(
        rows in vec((
            option::weighted(0.9, select(&[0.0, 5.0, 15.0, 30.0, 40.0, 45.0, 58.0, 60.0, 61.0, 70.0,
                90.0, 120.0, 600.0][..])),
            select(&[5.0e6, 1.0e7, 2.0e7, 5.5e8][..]),
            select(Bound::ALL),
        ), 1..40)
    ) {
        let readings = rows.iter().enumerate().map(|(n, (duration, ohms, bound))| {
            let mut c = reading(n as u64, n as f64 * HOUR / 60.0, *ohms, *duration);
            let mut facts = c.reading.into_facts();
            facts.bound = *bound;
            c.reading = Reading::new(facts).unwrap();
            c
        });
        let durations: Vec<_> = rows.iter().map(|(duration, ..)| *duration).collect();
        let (judged, lines) =
            gather(readings.collect(), &Suspicions::default(), &[], &Settings::default());
        let stands = judged.iter().position(|j| j.role == Role::Counts).unwrap();
        prop_assert_eq!(stands, standing_at_once(&durations));
        let point = &lines[0].points[0];
        prop_assert_eq!(point.reading.record, stands as u64);
        for (j, role) in judged.iter().map(|j| (j, &j.role)) {
            prop_assert_eq!(j.test == judged[stands].test, *role != Role::Retested);
        }
        let mut lowest = Vec::new();
        for &bound in Bound::ALL {
            let retested = judged.iter().filter(|j| j.role == Role::Retested);
            let of = retested.filter(|j| j.corrected.reading.bound == bound);
            let mut values: Vec<f64> = of.map(|j| j.corrected.reading.log_ohm()).collect();
            values.sort_by(f64::total_cmp);
            lowest.extend(values.into_iter().take(4).map(|log_ohm| (log_ohm, bound)));
        }
        prop_assert_eq!(&point.retests, &lowest);
    }
}
