//! Learning: nothing from the future, nothing without others, and towards what there is.

use super::*;
use crate::invent::{Preset, fleet};
use crate::trend::detect::Settings;

fn cases(preset: &Preset, assets: usize, seed: u64) -> Vec<Case> {
    fleet(preset, assets, seed).iter().map(|s| s.case().unwrap()).collect()
}

fn learnt(detector: &Detector, cases: &[Case]) -> Vec<Learnt> {
    let context = Context::default();
    learn(detector, cases.iter().map(|case| lesson(detector, case, &context)).collect())
}

fn using() -> Settings {
    Settings { learnt_priors: true, learnt_testers: true, ..Settings::default() }
}

#[test]
fn quarters_are_those_of_the_calendar() {
    let of = |text| Quarter::of(Stamp::parse(text).unwrap()).to_string();
    assert_eq!(of("2024-03-31T23:59:59Z"), "2024-Q1");
    assert_eq!(of("2024-04-01T00:00:00Z"), "2024-Q2");
    assert_eq!(of("1969-12-31T23:00:00Z"), "1969-Q4");
    assert!(Quarter::of(Stamp::MIN) < Quarter::of(Stamp::from_micros(0)));
    assert_eq!(Quarter::of(Stamp::parse("2024-11-05").unwrap()).next().to_string(), "2025-Q1");
}

/// The fleets' own scatter (0.05 to 0.15 decade by asset, or 0.1 to 0.25) and level as invented.
#[test]
fn what_is_learnt_lies_nearer_to_the_truth() {
    let detector = Detector::new(Settings::default());
    let of = |preset: Preset| {
        let all = learnt(&detector, &cases(&Preset { span_days: 300.0, ..preset }, 40, 11));
        all.last().unwrap().classes.values().next().unwrap().clone()
    };
    let (fine, coarse) = (of(Preset::bench()), of(Preset::bench().broken()));
    let prior = detector.prior(Insulation::Thermoplastic);
    let (shipped, level) = (prior.mean_scatter(), prior.start_level(detector.grid()).0);
    assert!(fine.scatter < shipped && shipped < coarse.scatter, "{fine:?} {coarse:?}");
    // Of the invented levels, three quarters lie about 10.6 and one about 9.5. Forty assets against
    // the weight of twenty, and a fifth kept for good, go 0.8 · 40/60 of the way there.
    let truth = 0.75 * 10.6 + 0.25 * 9.5;
    let expected = level + 0.8 * 40.0 / 60.0 * (truth - level);
    assert!((fine.level.0 - expected).abs() < 0.15, "{:?} {expected}", fine.level);
    assert_eq!(fine.assets, 40);
    assert!((0.01..0.2).contains(&fine.onset), "{fine:?}");
}

#[test]
fn later_quarters_change_nothing_earlier() {
    let detector = Detector::new(using());
    let whole = cases(&Preset { span_days: 500.0, ..Preset::handheld() }, 8, 3);
    let all = learnt(&detector, &whole);
    assert!(all.is_sorted_by_key(|learnt| learnt.quarter) && all.len() == 6);
    let end = Stamp::parse("2024-10-01").unwrap();
    let mut part = whole.clone();
    for case in &mut part {
        case.lines.iter_mut().for_each(|line| line.points.retain(|p| p.taken_at < end));
        case.events.retain(|event| event.at < end);
    }
    let early = learnt(&detector, &part);
    assert_eq!(early[..], all[..early.len()]);
    // So that what was found before then is the same when it is looked at again.
    let found = |case: &Case, learnt: &[Learnt]| {
        let context = Context { learnt: learnt.to_vec(), ..Context::default() };
        detector.detect(case, &context).alarms
    };
    for (whole, part) in whole.iter().zip(&part) {
        let mut known = found(whole, &all);
        known.retain(|alarm| alarm.first_flagged_at < end);
        for alarm in &mut known {
            alarm.cleared_at = alarm.cleared_at.filter(|at| *at < end);
        }
        assert_eq!(found(part, &early), known);
    }
}

#[test]
fn a_fleet_of_one_or_none_has_next_to_nothing_to_learn_from() {
    let detector = Detector::new(using());
    assert!(learnt(&detector, &[]).is_empty());
    let one = cases(&Preset::handheld(), 1, 5);
    let all = learnt(&detector, &one);
    let shipped = detector.prior(Insulation::Thermoplastic);
    for learnt in &all {
        let taught = &learnt.classes[&class(&one[0].asset)];
        assert!((taught.scatter - shipped.mean_scatter()).abs() < 0.01, "{taught:?}");
        assert!((taught.onset - 0.03).abs() < 0.01, "{taught:?}");
        // One tester alone has no peers to be off from.
        assert!(learnt.testers.values().all(|offset| offset.0 == 0.0));
    }
    let plain = Detector::new(Settings::default()).detect(&one[0], &Context::default());
    let context = Context { learnt: all, ..Context::default() };
    assert_eq!(detector.detect(&one[0], &context).verdict, plain.verdict);
}

#[test]
fn what_is_only_shown_changes_nothing() {
    let detector = Detector::new(Settings::default());
    let all = cases(&Preset::hard(), 6, 4);
    let context = Context { learnt: learnt(&detector, &all), ..Context::default() };
    for case in &all {
        assert_eq!(detector.detect(case, &context), detector.detect(case, &Context::default()));
    }
}

#[test]
fn of_two_testers_each_takes_half_of_their_difference() {
    let two = [("IT-1".into(), (0.08, 0.01)), ("IT-2".into(), (-0.08, 0.01))];
    let offsets = centred(HashMap::from(two));
    assert!((offsets["IT-1"].0 - 0.04).abs() < 1e-12);
    assert!((offsets["IT-2"].0 + 0.04).abs() < 1e-12);
}
