//! Thinning: an assessment is the same before and after, whatever the streams sent.

use ohmward::dossier::{Desk, Dossier, Settings};
use ohmward::model::{Asset, AssetId, Bound, CorrectionKind, ReadingId};
use ohmward::store::memory::MemoryStore;
use ohmward::store::{Change, Entry, Parcel, Reader, Writer};
use ohmward::trend::Assessor;
use ohmward::watch;
use proptest::prelude::*;

use crate::words::*;

/// Of a value of a test: after how many seconds, decades above 1 MΩ, over-range.
type Value = (u32, f64, bool);

fn settings() -> Settings {
    Settings { keep_days: Some(30), ..Settings::default() }
}

fn opened(store: &MemoryStore) -> Dossier {
    let (settings, assessor) = (settings(), Assessor::new(settings().trend));
    let desk = Desk::new(store, ALWAYS, &settings, &assessor).unwrap();
    desk.open(&id("YT-001")).unwrap()
}

/// What is told of a dossier: verdicts with their numbers, ratios, findings, the last test.
fn told(store: &MemoryStore) -> String {
    let dossier = opened(store);
    let last = store.last_taken(ALWAYS).unwrap();
    let (groups, ratios) = (&dossier.groups, &dossier.ratios);
    let temperatures = store.day_temperatures().unwrap();
    format!("{groups:?} {ratios:?} {:?} {last:?} {temperatures:?}", dossier.episodes())
}

/// A store with one test a week on each of two phases, streamed value by value.
fn streamed(tests: &[Vec<Value>], kind: &str) -> MemoryStore {
    let store = MemoryStore::default();
    let mut source = serial("bench-1");
    source.kind = kind.into();
    let (mut entries, mut lines) = (Vec::new(), Vec::new());
    for (week, values) in tests.iter().enumerate() {
        for (n, (seconds, decades, over)) in values.iter().enumerate() {
            let at =
                day(7 * week as i64).plus_days(f64::from(*seconds) / 86_400.0 + n as f64 * 1e-6);
            let label = if week % 2 == 0 { "U" } else { "V" };
            let reading = reading("YT-001", label, at, 1e6 * 10f64.powf(*decades), |f| {
                f.duration_s = Some(f64::from(*seconds));
                f.bound = if *over { Bound::Over } else { Bound::Measured };
                f.temperature_c = Some(20.0 + f64::from(*seconds % 7));
            });
            entries.push((place(entries.len() as u64 + 1), Entry::Reading(reading)));
            lines.push(format!("{seconds} {decades}").into_bytes());
        }
    }
    let parcel = Parcel { entries, lines };
    let met = |id: AssetId| Asset::first_met(id);
    store.clone().receive(day(900), &source, &met, &mut std::iter::once(parcel)).unwrap();
    store
}

fn thin(store: &MemoryStore, write: bool) -> usize {
    let mut writer = store.clone();
    let writer: Option<&mut dyn Writer> = if write { Some(&mut writer) } else { None };
    let gone = watch::thin(store, writer, day(1_000), &settings(), &|_, _| ()).unwrap();
    gone.iter().map(|(_, n)| n).sum()
}

/// One value a second for 65 seconds.
fn every_second() -> Vec<Value> {
    (1..=65).map(|s| (s, 2.0 + f64::from(s) / 100.0, false)).collect()
}

#[test]
fn what_lies_between_goes_and_the_rest_stays() {
    let store = streamed(&[every_second(), every_second()], "serial");
    let before = told(&store);
    let dry = thin(&store, false);
    assert_eq!(
        store.readings(&id("YT-001"), ALWAYS).unwrap().len(),
        130,
        "a dry run takes nothing"
    );
    assert_eq!(thin(&store, true), dry);
    assert_eq!(told(&store), before);
    let left = store.readings(&id("YT-001"), ALWAYS).unwrap();
    assert_eq!(left.len() + dry, 130);
    let seconds: Vec<_> = left[..left.len() / 2].iter().map(|s| s.reading.duration_s).collect();
    // The first and last, around 15, 30 and 60 s within a tenth, for the ratios.
    let kept = [1, 14, 15, 16, 27, 28, 29, 30, 31, 32, 33, 54, 55, 56, 57, 58, 59, 60];
    let kept = kept.into_iter().chain(61..=65).map(|s| Some(f64::from(s)));
    assert_eq!(seconds, kept.collect::<Vec<_>>());
    // The lines of what went are gone, those of what stays are there.
    assert_eq!(store.line(1, 2).unwrap(), None);
    assert!(store.line(1, 60).unwrap().is_some());
    assert_eq!(thin(&store, true), 0, "once is enough");
}

#[test]
fn files_recent_tests_and_what_people_corrected_are_left_alone() {
    assert_eq!(thin(&streamed(&[every_second()], "folder"), true), 0);
    let store = streamed(&[every_second()], "serial");
    let dry = thin(&store, false);
    let voided = ReadingId { batch: 1, record: 5, part: 0 };
    let void = [Change::Correction(correction(voided, CorrectionKind::Void))];
    let restore = [Change::Correction(correction(voided, CorrectionKind::Restore))];
    store.clone().record(day(901), "Ines", &void).unwrap();
    store.clone().record(day(902), "Ines", &restore).unwrap();
    assert_eq!(thin(&store, false), dry - 1);
    let young = watch::thin(&store, None, day(20), &settings(), &|_, _| ()).unwrap();
    assert!(young.is_empty());
    let off = Settings::default();
    assert!(watch::thin(&store, None, day(1_000), &off, &|_, _| ()).unwrap().is_empty());
}

fn any_test() -> impl Strategy<Value = Vec<Value>> {
    // Rising for the most part, now and then a new start: a retest.
    let value = (1_u32..20, 0.5_f64..3.0, prop::bool::weighted(0.1), prop::bool::weighted(0.05));
    prop::collection::vec(value, 1..40).prop_map(|steps| {
        let mut seconds = 0;
        let values = steps.into_iter().map(|(step, decades, over, again)| {
            seconds = if again { step } else { seconds + step };
            (seconds, decades, over)
        });
        values.collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn an_assessment_is_the_same_before_and_after(tests in prop::collection::vec(any_test(), 1..14)) {
        let store = streamed(&tests, "serial");
        let before = told(&store);
        thin(&store, true);
        prop_assert_eq!(told(&store), before);
    }
}
