//! Raw readings to readings: whose, which phase, when, and what a bare mark stands for.

use ohmward_parsers::{self as raw, Doubt, Place};

use super::*;
use crate::model::{EventKind, GearKind, Range};

fn now() -> Stamp {
    Stamp::parse("2026-03-02T12:00:00Z").unwrap()
}

fn raw_reading(asset: &str, phase: &str, resistance: raw::Resistance) -> raw::RawReading {
    raw::RawReading {
        place: Place { record: 2, part: 0, offset: 40, len: 30 },
        taken: Some(raw::Taken {
            micros: Stamp::parse("2026-03-02T08:15:00Z").unwrap().micros(),
            precision: raw::Precision::Minute,
            doubt: Doubt::None,
        }),
        asset: asset.into(),
        phase: phase.into(),
        against: "".into(),
        setup: "".into(),
        resistance,
        test_voltage_v: Some(500.0),
        delivered_voltage_v: None,
        duration_s: None,
        temperature_c: None,
        temperature_of: None,
        humidity_pct: None,
        tester: "HT-2".into(),
        operator: "".into(),
        station: "".into(),
        remark: "".into(),
    }
}

fn plain() -> Normaliser {
    Normaliser::new(&[], &[], Surroundings::default())
}

fn placed(normalised: Normalised) -> (String, String) {
    match normalised {
        Normalised::Reading(r) => (r.series.asset.to_string(), r.series.phase.to_string()),
        Normalised::Tray { reason, .. } => ("tray".into(), reason.into()),
    }
}

/// IEC 60034-8: U, V, W are windings, 1 the start and 2 the end (M).
#[test]
fn phases_are_mapped_by_rule_and_never_guessed() {
    let measured = raw::Resistance::Measured(1e8);
    for (label, phase) in
        [("u", "U"), ("V1", "V"), ("W2", "W"), ("HV+", "HV+"), ("core-7", "core-7")]
    {
        let out = plain().normalise(raw_reading("YT-014", label, measured), now()).unwrap();
        assert_eq!(placed(out), ("YT-014".into(), phase.into()), "{label}");
    }
    for label in ["L1", "b", "T3", "R", ""] {
        let out = plain().normalise(raw_reading("YT-014", label, measured), now()).unwrap();
        assert_eq!(placed(out).0, "tray", "{label}");
    }
    let out = plain().normalise(raw_reading("", "U", measured), now()).unwrap();
    assert_eq!(placed(out).0, "tray");
}

#[test]
fn an_alias_holds_between_its_dates() {
    let alias = |written: &str, asset: &str, from: Option<&str>| Alias {
        written: written.into(),
        asset: AssetId::new(asset).unwrap(),
        phase_written: "".into(),
        phase: None,
        from: from.map(|f| Stamp::parse(f).unwrap()),
        until: None,
        remark: "".into(),
        merged: false,
    };
    let mut labels = alias("", "YT-014", None);
    labels.phase_written = "L1".into();
    labels.phase = Some(Phase::new("U").unwrap());
    let aliases = [alias("17", "YT-014", Some("2026-01-01")), labels];
    let mut normaliser = Normaliser::new(&aliases, &[], Surroundings::default());
    let measured = raw::Resistance::Measured(1e8);
    let out = normaliser.normalise(raw_reading("17", "l1", measured), now()).unwrap();
    assert_eq!(placed(out), ("YT-014".into(), "U".into()), "name first, then the asset's label");
    let mut early = raw_reading("17", "U", measured);
    early.taken.as_mut().unwrap().micros = Stamp::parse("2025-12-31").unwrap().micros();
    assert_eq!(placed(normaliser.normalise(early, now()).unwrap()).0, "17");
}

#[test]
fn a_merged_name_keeps_its_labels_and_is_followed_to_the_end() {
    let id = |text: &str| AssetId::new(text).unwrap();
    let mut slot = Alias::merger(&id("17"), id("YT-14"), "".into());
    slot.merged = false;
    let mut labels = Alias::merger(&id("YT-14"), id("YT-14"), "".into());
    (labels.written, labels.merged) = ("".into(), false);
    (labels.phase_written, labels.phase) = ("L1".into(), Some(Phase::new("U").unwrap()));
    let mergers = [
        Alias::merger(&id("YT-14"), id("YT-O14"), "".into()),
        Alias::merger(&id("YT-O14"), id("YT-014"), "".into()),
    ];
    let aliases = [&[slot, labels][..], &mergers].concat();
    let mut normaliser = Normaliser::new(&aliases, &[], Surroundings::default());
    let measured = raw::Resistance::Measured(1e8);
    for (written, label) in [("YT-14", "L1"), ("YT-O14", "U"), ("17", "U"), ("YT-014", "U")] {
        let out = normaliser.normalise(raw_reading(written, label, measured), now()).unwrap();
        assert_eq!(placed(out), ("YT-014".into(), "U".into()), "{written} {label}");
    }
}

/// Common practice, no published source: a hand-held tester resolves 0.01 MΩ.
#[test]
fn a_bare_mark_takes_its_number_from_the_tester() {
    let over = raw_reading("YT-014", "U", raw::Resistance::Over(None));
    let refused = plain().normalise(over.clone(), now()).unwrap_err();
    assert!(refused.to_string().contains("gear add"), "{refused}");
    let range = |test_voltage_v, full_scale_ohm| Range { test_voltage_v, full_scale_ohm };
    let mut gear = Gear::new("HT-2".into(), GearKind::Tester);
    gear.full_scale_ohm = Some(550e6);
    gear.ranges = vec![range(250.0, 1e9), range(1_000.0, 4e9)];
    let mut normaliser = Normaliser::new(&[], &[gear], Surroundings::default());
    let value = |n: Normalised| match n {
        Normalised::Reading(r) => (r.ohms, r.bound),
        Normalised::Tray { .. } => unreachable!("asset and phase are known"),
    };
    // By the range of its test voltage; where that range is not known, by the one full scale.
    for (volts, ohms) in [(None, 550e6), (Some(250.0), 1e9), (Some(500.0), 550e6), (Some(1e3), 4e9)]
    {
        let over = raw::RawReading { test_voltage_v: volts, ..over.clone() };
        assert_eq!(value(normaliser.normalise(over, now()).unwrap()), (ohms, Bound::Over));
    }
    let zero = raw_reading("YT-014", "U", raw::Resistance::Under(None));
    assert_eq!(value(normaliser.normalise(zero, now()).unwrap()), (10e3, Bound::Under));
}

#[test]
fn times_that_cannot_be_are_refused_or_marked() {
    let measured = raw::Resistance::Measured(1e8);
    let mut ahead = raw_reading("YT-014", "U", measured);
    ahead.taken.as_mut().unwrap().micros = now().plus_days(1.01).micros();
    assert_eq!(plain().normalise(ahead, now()).unwrap_err().field, "taken_at");
    // A clock that lost its time starts in 1970: then it is the time of arrival, and says so.
    let mut reset = raw_reading("YT-014", "U", measured);
    reset.taken.as_mut().unwrap().micros = 86_400_000_000;
    let Normalised::Reading(r) = plain().normalise(reset.clone(), now()).unwrap() else {
        unreachable!("asset and phase are known")
    };
    assert_eq!((r.taken_at, r.time_doubt), (now(), TimeDoubt::Arrival));
    let given = Stamp::parse("2026-02-01").unwrap();
    let around = Surroundings { taken: Some(given), ..Surroundings::default() };
    let Normalised::Reading(r) = Normaliser::new(&[], &[], around).normalise(reset, now()).unwrap()
    else {
        unreachable!("asset and phase are known")
    };
    assert_eq!((r.taken_at, r.time_doubt), (given, TimeDoubt::Given));
}

#[test]
fn impossible_numbers_name_their_field() {
    let mut hot = raw_reading("YT-014", "U", raw::Resistance::Measured(1e8));
    hot.temperature_c = Some(2_000.0);
    assert_eq!(plain().normalise(hot, now()).unwrap_err().field, "temperature_c");
    let tiny = raw_reading("YT-014", "U", raw::Resistance::Measured(1e-9));
    assert_eq!(plain().normalise(tiny, now()).unwrap_err().field, "resistance_ohm");
    assert!(EventKind::parse(" ").is_err());
}
