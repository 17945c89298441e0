//! What every store must do, in the words of the domain.

use ohmward::model::{
    Access, AccessKind, Account, Alias, Asset, AssetClass, Bound, Check, CorrectionKind,
    FindingKind, FindingState, Gear, GearKind, Insulation, Isolation, Joining, Range, ReadingId,
    Role, Stamp, TemperatureOf, Text, TimeDoubt, Token, Training,
};
use ohmward::store::{
    Act, Change, Entry, Fate, FindingAct, Happening, Message, Parcel, Receipt, RecordPlace,
    SheetKey, SheetStep, StoreError, Stored, Told, Turn, When,
};

use crate::words::*;

/// Runs every test of the suite on the stores that `make` makes.
#[macro_export]
macro_rules! store_suite {
    ($name:ident, $make:expr) => {
        $crate::store_suite!(@ $name, $make,
            a_reading_comes_back_as_it_was,
            the_same_file_again_adds_nothing,
            nothing_is_stored_before_its_file_is_kept,
            equal_readings_from_elsewhere_are_one,
            a_contradiction_is_a_conflict_and_the_first_stands,
            the_same_record_of_a_file_is_a_duplicate_whatever_it_says,
            coarse_equal_readings_of_one_file_are_separate,
            fine_equal_readings_of_one_file_are_one,
            another_value_at_the_same_instant_is_a_second_reading,
            a_resent_line_is_a_duplicate_and_a_retest_is_not,
            parts_of_a_record_are_told_apart,
            an_unknown_asset_is_registered_once,
            new_readings_wait_to_be_assessed,
            a_newer_mark_is_not_cleared,
            the_tray_waits_until_moved_or_void,
            a_moved_reading_is_here_and_there,
            the_last_reading_of_each_asset_is_the_last_that_stands,
            rejects_are_kept_once_and_settled_once,
            a_receipt_shows_the_first_hundred_rejects,
            batches_have_no_gap,
            changes_are_all_or_none,
            registers_are_known_as_of_a_time,
            a_class_says_what_its_assets_are_silent_about,
            the_newest_reading_of_each_asset_is_told,
            readings_that_are_thinned_out_are_gone_with_their_lines,
            an_event_is_replaced_and_taken_back,
            proofs_never_replace_each_other,
            an_alias_is_replaced_and_taken_back,
            a_proof_marks_what_it_can_touch,
            a_finding_needs_no_registered_asset,
            a_correction_that_stands_is_not_written_again,
            findings_follow_their_episodes,
            people_answer_findings,
            accounts_and_tokens_are_known_as_of_a_time,
            findings_keep_their_numbers,
            a_message_is_posted_once_and_ends_once,
            lines_of_streams_are_kept,
            all_readings_come_by_time_then_series,
            the_readings_of_an_asset_come_by_time_however_many_series_it_has,
            questions_keep_to_their_times,
            steps_of_a_sheet_follow_one_another,
            a_line_set_aside_is_kept_and_is_no_reading,
        );
    };
    (@ $name:ident, $make:expr, $($test:ident),+ $(,)?) => {
        mod $name {
            use super::*;
            $(#[test] fn $test() { $crate::suite::$test($make()); })+
        }
    };
}

pub(crate) fn a_reading_comes_back_as_it_was(mut store: Both) {
    let full = reading("YT-014/drive", "HV+", day(1), 1.25e9, |f| {
        f.bound = Bound::Over;
        f.time_doubt = TimeDoubt::RepeatedHour;
        f.delivered_voltage_v = Some(493.7);
        f.duration_s = Some(59.87654321);
        f.temperature_c = Some(-21.000_04);
        f.temperature_of = Some(TemperatureOf::Ambient);
        f.humidity_pct = Some(99.9);
        f.operator = "Ines".into();
        f.station = "Bench 2".into();
        f.remark = "after rain,\nÄrger mit der \"Klemme\"".into();
    });
    let bare = reading("YT-014/drive", "U", day(1), 0.1 + 0.2, |f| {
        f.bound = Bound::Under;
        f.duration_s = None;
        f.tester = Text::default();
        let series = std::sync::Arc::make_mut(&mut f.series);
        series.test_voltage = None;
        series.setup = "others grounded".into();
    });
    let zero = reading("YT-014/drive", "U", day(1), 1e18, |f| {
        f.duration_s = Some(0.0);
        f.temperature_c = Some(0.0);
        f.humidity_pct = Some(0.0);
        f.delivered_voltage_v = Some(1e6);
    });
    let receipt =
        store.readings(day(9), &file("a.csv"), &[full.clone(), bare.clone(), zero.clone()]);
    assert_eq!(counts(&receipt), (3, 0, 0, 0));
    let stored = store.stored("YT-014/drive");
    let by_record = |n| stored.iter().find(|s| s.id.record == n).unwrap();
    assert_eq!(by_record(1).reading, full);
    assert_eq!(by_record(2).reading, bare);
    assert_eq!(by_record(3).reading, zero);
    assert!(stored.iter().all(|s| s.recorded_at == day(9) && !s.in_tray && s.id.batch == 1));
    assert_eq!(store.reader.find(by_record(2).id).unwrap().unwrap().reading, bare);
    let nobody = ReadingId { batch: 1, record: 4, part: 0 };
    assert_eq!(store.reader.find(nobody).unwrap(), None);
    assert_eq!(store.reader.batch(1).unwrap().unwrap().source, file("a.csv"));
    assert!(store.stored("YT-015").is_empty());
}

pub(crate) fn the_same_file_again_adds_nothing(mut store: Both) {
    let readings = [plain("YT-001", "U", day(1), 5e8), plain("YT-001", "V", day(1), 6e8)];
    assert_eq!(store.readings(day(2), &file("a.csv"), &readings).batch, Some(1));
    store.settle_all(day(2));
    let again = store.readings(day(3), &file("a.csv"), &readings);
    assert_eq!(again, Receipt { duplicate: 2, ..Receipt::default() });
    assert!(store.waiting().is_empty());
    assert_eq!(store.stored("YT-001").len(), 2);
    assert_eq!(store.reader.batch(2).unwrap(), None);
}

pub(crate) fn nothing_is_stored_before_its_file_is_kept(mut store: Both) {
    let readings = [plain("YT-001", "U", day(1), 5e8), plain("YT-001", "V", day(1), 6e8)];
    let mut deliver = |kept: &mut dyn FnMut() -> ohmward::store::Result<()>| {
        let entries = readings.iter().enumerate().map(|(i, reading)| {
            let place = RecordPlace { record: 1 + i as u64, part: 0 };
            (place, Entry::Reading(reading.clone()))
        });
        let parcel = Parcel { entries: entries.collect(), lines: Vec::new() };
        let parcels = &mut [parcel].into_iter();
        store.writer.receive_kept(day(2), &file("a.csv"), &Asset::first_met, parcels, kept)
    };
    let full = deliver(&mut || Err(StoreError::Full)).unwrap_err();
    assert!(matches!(full, StoreError::Full), "{full}");
    let mut calls = 0;
    deliver(&mut || {
        calls += 1;
        Ok(())
    })
    .unwrap();
    assert_eq!(calls, 1);
    // It is the first batch: the delivery that failed left none.
    assert_eq!(store.stored("YT-001").iter().map(|s| s.id.batch).collect::<Vec<_>>(), [1, 1]);
}

pub(crate) fn equal_readings_from_elsewhere_are_one(mut store: Both) {
    let readings = [plain("YT-001", "U", day(1), 5e8), plain("YT-001", "V", day(1), 6e8)];
    store.readings(day(2), &file("a.csv"), &readings);
    let receipt = store.readings(day(3), &file("b.csv"), &readings);
    assert_eq!(counts(&receipt), (0, 2, 0, 0));
    let hand = ohmward::store::Source { kind: "hand".into(), file: None, ..file("Ines") };
    assert_eq!(counts(&store.readings(day(3), &hand, &readings)), (0, 2, 0, 0));
    assert_eq!(store.stored("YT-001").len(), 2);
}

pub(crate) fn a_contradiction_is_a_conflict_and_the_first_stands(mut store: Both) {
    let first = plain("YT-001", "U", day(1), 5e8);
    store.readings(day(2), &file("a.csv"), std::slice::from_ref(&first));
    let other = reading("YT-001", "U", day(1), 5e8, |f| {
        f.temperature_c = Some(20.0);
        f.remark = "hot".into();
    });
    let receipt = store.readings(day(3), &file("b.csv"), &[other]);
    assert_eq!(counts(&receipt), (0, 0, 0, 1));
    let (at, reject) = &receipt.first_rejects[0];
    assert_eq!((*at, reject.kind.as_str()), (place(1), "conflict"));
    for words in ["`1.1`", "`temperature_c`, `remark`", "the first stands"] {
        assert!(reject.reason.contains(words), "{}", reject.reason);
    }
    assert_eq!(store.stored("YT-001").iter().map(|s| &s.reading).collect::<Vec<_>>(), [&first]);
    // Precision and doubt about the time are no contradiction.
    let doubtful = reading("YT-001", "U", day(1), 5e8, |f| f.time_doubt = TimeDoubt::Given);
    assert_eq!(counts(&store.readings(day(3), &file("c.csv"), &[doubtful])), (0, 1, 0, 0));
}

pub(crate) fn the_same_record_of_a_file_is_a_duplicate_whatever_it_says(mut store: Both) {
    store.readings(day(2), &file("a.csv"), &[plain("YT-001", "U", day(1), 5e8)]);
    // A better profile reads an operator out of the same record.
    let more = reading("YT-001", "U", day(1), 5e8, |f| f.operator = "Ines".into());
    assert_eq!(counts(&store.readings(day(3), &file("a.csv"), &[more])), (0, 1, 0, 0));
    assert_eq!(store.stored("YT-001")[0].reading.operator, "");
}

pub(crate) fn coarse_equal_readings_of_one_file_are_separate(mut store: Both) {
    let twice = [on_day("YT-001", day(1), 5e8), on_day("YT-001", day(1), 5e8)];
    assert_eq!(counts(&store.readings(day(2), &file("a.csv"), &twice)), (2, 0, 0, 0));
    assert_eq!(counts(&store.readings(day(2), &file("a.csv"), &twice)), (0, 2, 0, 0));
    // The export has grown by one row and is another file now: each of its rows stands for one.
    let thrice = [&twice[..], &twice[..1]].concat();
    assert_eq!(counts(&store.readings(day(3), &file("b.csv"), &thrice)), (1, 2, 0, 0));
    assert_eq!(counts(&store.readings(day(3), &file("b.csv"), &thrice)), (0, 3, 0, 0));
    let ids: Vec<_> = store.stored("YT-001").iter().map(|s| s.id.to_string()).collect();
    assert_eq!(ids, ["1.1", "1.2", "2.3"]);
    // Of two that differ in a remark, an equal one is found whichever came first.
    let noted = |remark: &str| {
        let mut facts = on_day("YT-002", day(1), 5e8).into_facts();
        facts.remark = remark.into();
        ohmward::model::Reading::new(facts).unwrap()
    };
    let pair = [noted("left"), noted("right")];
    assert_eq!(counts(&store.readings(day(4), &file("c.csv"), &pair)), (2, 0, 0, 0));
    assert_eq!(counts(&store.readings(day(4), &file("d.csv"), &pair[1..])), (0, 1, 0, 0));
    let third = [noted("middle")];
    assert_eq!(counts(&store.readings(day(4), &file("e.csv"), &third)), (0, 0, 0, 1));
}

pub(crate) fn fine_equal_readings_of_one_file_are_one(mut store: Both) {
    let twice = [plain("YT-001", "U", day(1), 5e8), plain("YT-001", "U", day(1), 5e8)];
    assert_eq!(counts(&store.readings(day(2), &file("a.csv"), &twice)), (1, 1, 0, 0));
    assert_eq!(store.stored("YT-001").len(), 1);
}

pub(crate) fn another_value_at_the_same_instant_is_a_second_reading(mut store: Both) {
    let vary = |f: fn(&mut ohmward::model::Facts)| reading("YT-001", "U", day(1), 5e8, f);
    let readings = [
        vary(|_| {}),
        vary(|f| f.ohms = 6e8),
        vary(|f| f.bound = Bound::Over),
        vary(|f| f.duration_s = None),
        vary(|f| f.duration_s = Some(30.0)),
        vary(|f| f.tester = "T-2".into()),
        vary(|f| f.tester = Text::default()),
    ];
    assert_eq!(counts(&store.readings(day(2), &file("a.csv"), &readings)), (7, 0, 0, 0));
    assert_eq!(store.stored("YT-001").len(), 7);
}

pub(crate) fn a_resent_line_is_a_duplicate_and_a_retest_is_not(mut store: Both) {
    let bench = serial("bench-1");
    let line = |record, reading| {
        let entries = vec![(place(record), Entry::Reading(reading))];
        vec![Parcel { entries, lines: vec![format!("line {record}").into_bytes()] }]
    };
    let reading = on_day("YT-001", day(1), 5e8);
    let first = store.parcels(day(2), &bench, line(5, reading.clone()));
    let resent = store.parcels(day(2), &bench, line(5, reading.clone()));
    let retest = store.parcels(day(2), &bench, line(6, reading.clone()));
    assert_eq!([&first, &resent, &retest].map(|r| counts(r).0), [1, 0, 1]);
    assert_eq!(resent.batch, None);
    // From another bench it is the same reading.
    assert_eq!(counts(&store.parcels(day(2), &serial("bench-2"), line(1, reading))), (0, 1, 0, 0));
    // One line twice in one delivery, and a line that is not what it was.
    let other = |remark: &str| {
        let mut facts = plain("YT-002", "U", day(1), 5e8).into_facts();
        facts.remark = remark.into();
        ohmward::model::Reading::new(facts).unwrap()
    };
    let both = [line(7, other("")), line(7, other("")), line(7, other("not the same"))].concat();
    assert_eq!(counts(&store.parcels(day(3), &bench, both)), (1, 1, 0, 1));
}

pub(crate) fn parts_of_a_record_are_told_apart(mut store: Both) {
    let entries = ["U", "V", "W"].iter().enumerate().map(|(part, label)| {
        let place = RecordPlace { record: 12, part: part as u16 };
        (place, Entry::Reading(plain("YT-001", label, day(1), 5e8)))
    });
    let parcel = Parcel { entries: entries.collect(), lines: Vec::new() };
    store.parcels(day(2), &file("a.csv"), vec![parcel]);
    let ids: Vec<_> = store.stored("YT-001").iter().map(|s| s.id.to_string()).collect();
    assert_eq!(ids, ["1.12", "1.12.1", "1.12.2"]);
    let second = store.reader.find(ReadingId::parse("1.12.1").unwrap()).unwrap().unwrap();
    assert_eq!(second.reading.series.phase, phase("V"));
    assert_eq!(store.reader.find(ReadingId::parse("1.12.3").unwrap()).unwrap(), None);
}

pub(crate) fn an_unknown_asset_is_registered_once(mut store: Both) {
    let known = Asset { limit_ohm: None, ..Asset::first_met(id("YT-002")) };
    store.writer.record(day(0), "Ines", &[Change::Asset(known.clone())]).unwrap();
    // An event alone does not register.
    let event = event("YT-003", day(0), "cleaned", "");
    store.writer.record(day(0), "Ines", &[Change::Event(event)]).unwrap();
    let readings = ["YT-003", "YT-001", "YT-002", "YT-001"].map(|a| plain(a, "U", day(1), 5e8));
    let receipt = store.readings(day(2), &file("a.csv"), &readings);
    assert_eq!(receipt.new_assets, [id("YT-001"), id("YT-003")]);
    let assets = store.reader.assets(ALWAYS).unwrap();
    assert_eq!(assets, [first_met(id("YT-001")), known, first_met(id("YT-003"))]);
    let receipt = store.readings(day(3), &file("b.csv"), &[plain("YT-001", "W", day(1), 5e8)]);
    assert!(receipt.new_assets.is_empty());
    assert_eq!(store.reader.asset(&id("YT-009"), ALWAYS).unwrap(), None);
}

pub(crate) fn new_readings_wait_to_be_assessed(mut store: Both) {
    let readings = [
        plain("YT-001", "U", day(5), 5e8),
        plain("YT-001", "V", day(3), 5e8),
        plain("YT-002", "U", day(4), 5e8),
    ];
    store.readings(day(9), &file("a.csv"), &readings);
    let all = [("YT-001".to_owned(), day(3)), ("YT-002".to_owned(), day(4))];
    assert_eq!(store.waiting(), all);
    store.settle_all(day(9));
    assert!(store.waiting().is_empty());
    store.readings(day(9), &file("b.csv"), &readings);
    assert!(store.waiting().is_empty());
}

pub(crate) fn a_newer_mark_is_not_cleared(mut store: Both) {
    store.readings(day(9), &file("a.csv"), &[plain("YT-001", "U", day(5), 5e8)]);
    let seen = store.reader.pending().unwrap()[0].mark;
    store.readings(day(9), &file("b.csv"), &[plain("YT-001", "U", day(6), 5e8)]);
    store.writer.settle(day(9), &id("YT-001"), seen, &[]).unwrap();
    assert_eq!(store.waiting(), [("YT-001".to_owned(), day(5))]);
    store.settle_all(day(9));
    store.readings(day(9), &file("c.csv"), &[plain("YT-001", "U", day(7), 5e8)]);
    store.writer.settle(day(9), &id("YT-001"), seen, &[]).unwrap();
    assert_eq!(store.waiting(), [("YT-001".to_owned(), day(7))]);
}

pub(crate) fn the_tray_waits_until_moved_or_void(mut store: Both) {
    let some = |ohms| plain("?", "?", day(1), ohms);
    let entries = vec![
        tray(some(5e8), "17", "L1"),
        tray(some(5e8), "17", "L2"),
        tray(some(6e8), "", ""),
        tray(some(5e8), "17", "L1"),
    ];
    let receipt = store.receive(day(2), &file("a.csv"), entries.clone());
    assert_eq!(counts(&receipt), (0, 1, 3, 0));
    assert!(store.waiting().is_empty());
    assert_eq!(counts(&store.receive(day(2), &file("a.csv"), entries)), (0, 4, 0, 0));
    let waiting = store.reader.tray(ALWAYS).unwrap();
    let texts: Vec<_> = waiting
        .iter()
        .map(|t| (t.item.written_asset.as_str(), t.item.written_phase.as_str(), t.id.record))
        .collect();
    assert_eq!(texts, [("", "", 3), ("17", "L1", 1), ("17", "L2", 2)]);
    assert_eq!(waiting[1].item.reason, "no such asset");
    assert_eq!(waiting[1].item.reading, some(5e8));
    let found = store.reader.find(waiting[1].id).unwrap().unwrap();
    assert!(found.in_tray && found.reading == some(5e8));

    let changes = [
        Change::Correction(moved(waiting[1].id, "YT-017", "U")),
        Change::Correction(correction(waiting[0].id, CorrectionKind::Void)),
    ];
    assert_eq!(store.writer.record(day(3), "Ines", &changes).unwrap(), 2);
    let left: Vec<_> = store.reader.tray(ALWAYS).unwrap().iter().map(|t| t.id.record).collect();
    assert_eq!(left, [2]);
    assert_eq!(store.reader.tray(known_at(day(2))).unwrap().len(), 3);
    assert_eq!(store.waiting(), [("YT-017".to_owned(), day(1))]);
    let here = store.stored("YT-017");
    assert_eq!((here.len(), here[0].id, here[0].in_tray), (1, waiting[1].id, true));
    let restore = Change::Correction(correction(waiting[0].id, CorrectionKind::Restore));
    store.writer.record(day(4), "Ines", &[restore]).unwrap();
    assert_eq!(store.reader.tray(ALWAYS).unwrap().len(), 2);
}

pub(crate) fn the_last_reading_of_each_asset_is_the_last_that_stands(mut store: Both) {
    let rows = [
        plain("YT-001", "U", day(1), 5e8),
        plain("YT-001", "V", day(3), 5e8),
        plain("YT-002", "U", day(2), 5e8),
    ];
    let receipt = store.readings(day(4), &file("a.csv"), &rows);
    let last = |store: &Both, when: When| {
        let all = store.reader.last_taken(when).unwrap().into_iter();
        all.map(|(asset, at)| (asset.to_string(), at)).collect::<Vec<_>>()
    };
    let rows = |all: &[(&str, Stamp)]| {
        all.iter().map(|(asset, at)| ((*asset).to_owned(), *at)).collect::<Vec<_>>()
    };
    assert_eq!(last(&store, ALWAYS), rows(&[("YT-001", day(3)), ("YT-002", day(2))]));
    assert_eq!(last(&store, as_of(day(1))), rows(&[("YT-001", day(1))]));
    assert_eq!(last(&store, known_at(day(3))), rows(&[]));
    let second = ReadingId { batch: receipt.batch.unwrap(), record: 2, part: 0 };
    let there = [Change::Correction(moved(second, "YT-003", "V"))];
    store.writer.record(day(5), "Ines", &there).unwrap();
    let apart = rows(&[("YT-001", day(1)), ("YT-002", day(2)), ("YT-003", day(3))]);
    assert_eq!(last(&store, ALWAYS), apart);
    let void = [Change::Correction(correction(second, CorrectionKind::Void))];
    store.writer.record(day(6), "Ines", &void).unwrap();
    assert_eq!(last(&store, ALWAYS), rows(&[("YT-001", day(1)), ("YT-002", day(2))]));
    assert_eq!(last(&store, known_at(day(5))), apart);
}

pub(crate) fn a_moved_reading_is_here_and_there(mut store: Both) {
    let receipt = store.readings(day(2), &file("a.csv"), &[plain("YT-001", "U", day(1), 5e8)]);
    let it = ReadingId { batch: receipt.batch.unwrap(), record: 1, part: 0 };
    store.settle_all(day(2));
    let there = [Change::Correction(moved(it, "YT-002", "V"))];
    store.writer.record(day(3), "Ines", &there).unwrap();
    let both = [("YT-001".to_owned(), day(1)), ("YT-002".to_owned(), day(1))];
    assert_eq!(store.waiting(), both);
    assert_eq!(store.stored("YT-001"), store.stored("YT-002"));
    let here = store.reader.readings(&id("YT-002"), known_at(day(2))).unwrap();
    assert!(here.is_empty());
    store.settle_all(day(3));
    // Later it turns out to be void: both are told, and both list both corrections.
    let void = [Change::Correction(correction(it, CorrectionKind::Void))];
    store.writer.record(day(4), "Tom", &void).unwrap();
    assert_eq!(store.waiting(), both);
    for asset in ["YT-001", "YT-002"] {
        let known = store.reader.corrections(&id(asset), ALWAYS).unwrap();
        let kinds: Vec<_> = known.iter().map(|row| &row.value).collect();
        assert_eq!(kinds, [&moved(it, "YT-002", "V"), &correction(it, CorrectionKind::Void)]);
        assert_eq!((known[1].mark.by.as_str(), known[1].mark.recorded_at), ("Tom", day(4)));
    }
    assert!(store.reader.corrections(&id("YT-003"), ALWAYS).unwrap().is_empty());
    assert!(store.reader.corrections(&id("YT-002"), known_at(day(2))).unwrap().is_empty());
    assert_eq!(store.reader.all_corrections(known_at(day(3))).unwrap().len(), 1);
    let uses = store.reader.uses_of_tester("T-1", day(0), day(9)).unwrap();
    assert_eq!(uses, [(id("YT-001"), day(1)), (id("YT-002"), day(1))]);
}

pub(crate) fn rejects_are_kept_once_and_settled_once(mut store: Both) {
    let entries = vec![reject("5e8 Ohmm"), reject("x")];
    let first = store.receive(day(2), &file("a.csv"), entries.clone());
    assert_eq!((counts(&first), first.batch), ((0, 0, 0, 2), Some(1)));
    let again = store.receive(day(3), &file("a.csv"), entries.clone());
    assert_eq!((counts(&again), again.batch), ((0, 0, 0, 2), None));
    assert_eq!(again.first_rejects, first.first_rejects);
    store.receive(day(3), &file("b.csv"), entries[..1].to_vec());
    let bench = serial("bench-1");
    store.receive(day(3), &bench, entries[..1].to_vec());
    store.receive(day(3), &bench, entries[..1].to_vec());
    store.receive(day(3), &bench, vec![reject("other bytes")]);
    let all = store.reader.rejects(false).unwrap();
    let where_from: Vec<_> = all.iter().map(|r| (r.number, r.batch, r.place.record)).collect();
    assert_eq!(where_from, [(1, 1, 1), (2, 1, 2), (3, 2, 1), (4, 3, 1), (5, 4, 1)]);
    assert_eq!(all[0].item, first.first_rejects[0].1);
    store.writer.settle_rejects(&[1, 3], 3).unwrap();
    store.writer.settle_rejects(&[1], 4).unwrap();
    assert_eq!(store.reader.rejects(false).unwrap().len(), 3);
    let settled: Vec<_> =
        store.reader.rejects(true).unwrap().iter().map(|r| r.settled_by).collect();
    assert_eq!(settled, [Some(3), None, Some(3), None, None]);
}

pub(crate) fn a_receipt_shows_the_first_hundred_rejects(mut store: Both) {
    let mut entries: Vec<_> = (0..150).map(|n| reject(&format!("bad {n}"))).collect();
    entries.insert(0, Entry::Reading(plain("YT-001", "U", day(1), 5e8)));
    let noted = reading("YT-001", "U", day(1), 5e8, |f| f.remark = "late".into());
    entries.insert(1, Entry::Reading(noted));
    let receipt = store.receive(day(2), &file("a.csv"), entries);
    assert_eq!(counts(&receipt), (1, 0, 0, 151));
    let records: Vec<_> = receipt.first_rejects.iter().map(|(at, _)| at.record).collect();
    assert_eq!(records, (2..102).collect::<Vec<_>>());
    assert_eq!(store.reader.rejects(false).unwrap().len(), 151);
}

pub(crate) fn batches_have_no_gap(mut store: Both) {
    let readings = [plain("YT-001", "U", day(1), 5e8)];
    store.readings(day(2), &file("a.csv"), &readings);
    store.readings(day(3), &file("a.csv"), &readings);
    let asset = Change::Asset(Asset { limit_ohm: None, ..first_met(id("YT-001")) });
    store.writer.record(day(4), "Ines", std::slice::from_ref(&asset)).unwrap();
    store.writer.record(day(5), "Ines", &[asset]).unwrap();
    store.receive(day(6), &serial("bench-1"), vec![tray(plain("?", "?", day(1), 1e8), "x", "U")]);
    let batches: Vec<_> = (1..=4).map(|n| store.reader.batch(n).unwrap()).collect();
    let told: Vec<_> = batches
        .iter()
        .flatten()
        .map(|b| (b.number, b.received_at, b.source.kind.as_str(), b.source.name.as_str()))
        .collect();
    assert_eq!(
        told,
        [
            (1, day(2), "file", "a.csv"),
            (2, day(4), "hand", "Ines"),
            (3, day(6), "serial", "bench-1")
        ]
    );
    assert_eq!(store.reader.batch(0).unwrap(), None);
}

pub(crate) fn changes_are_all_or_none(mut store: Both) {
    let nobody = ReadingId { batch: 7, record: 7, part: 0 };
    let changes = [
        Change::Asset(first_met(id("YT-001"))),
        Change::Correction(correction(nobody, CorrectionKind::Void)),
    ];
    let refused = store.writer.record(day(1), "Ines", &changes);
    assert!(matches!(refused, Err(StoreError::NoReading(it)) if it == nobody));
    assert_eq!(store.reader.assets(ALWAYS).unwrap(), []);
    assert_eq!(store.reader.batch(1).unwrap(), None);
    assert!(store.waiting().is_empty());
    assert_eq!(store.writer.record(day(1), "Ines", &changes[..1]).unwrap(), 1);
    assert_eq!(store.writer.record(day(1), "Ines", &[]).unwrap(), 0);
}

pub(crate) fn registers_are_known_as_of_a_time(mut store: Both) {
    use ohmward::model::{Limit, LimitMeaning};
    let isolation = LimitMeaning::Isolation { ohm_per_volt: 100.0, working_voltage_v: 800.0 };
    let first = Asset {
        more_limits: vec![
            Limit { ohms: 80_000.0, meaning: isolation },
            Limit { ohms: 1e6, meaning: LimitMeaning::AsRead },
        ],
        ..first_met(id("YT-001"))
    };
    let second = Asset { remark: "rewired".into(), ..first_met(id("YT-001")) };
    let tester = |remark: &str| Gear {
        id: "T-1".into(),
        kind: GearKind::Tester,
        category: "CAT III".into(),
        rated_voltage_v: Some(600.0),
        full_scale_ohm: Some(2e9),
        lowest_ohm: None,
        due: Some(day(300)),
        remark: remark.into(),
        ranges: [(250.0, 1e9), (500.0, 2e9)]
            .map(|(test_voltage_v, full_scale_ohm)| Range { test_voltage_v, full_scale_ohm })
            .to_vec(),
        proof_days: Some(30),
    };
    let mut record = |at, change| store.writer.record(at, "Ines", &[change]).unwrap();
    assert_eq!(record(day(1), Change::Asset(first.clone())), 1);
    assert_eq!(record(day(2), Change::Asset(first.clone())), 0);
    assert_eq!(record(day(3), Change::Asset(second.clone())), 1);
    assert_eq!(record(day(1), Change::Gear(tester("new"))), 1);
    assert_eq!(record(day(3), Change::Gear(tester("dropped"))), 1);
    assert_eq!(record(day(4), Change::Gear(tester("dropped"))), 0);
    let reader = &store.reader;
    assert_eq!(reader.asset(&id("YT-001"), known_at(day(0))).unwrap(), None);
    assert_eq!(reader.asset(&id("YT-001"), known_at(day(2))).unwrap().unwrap(), first);
    assert_eq!(reader.assets(known_at(day(2))).unwrap(), [first]);
    assert_eq!(reader.asset(&id("YT-001"), ALWAYS).unwrap().unwrap(), second);
    let known = reader.gear(ALWAYS).unwrap();
    assert_eq!((known.len(), &known[0].value), (1, &tester("dropped")));
    assert_eq!(known[0].mark.recorded_at, day(3));
    assert_eq!(reader.gear(known_at(day(2))).unwrap()[0].value, tester("new"));
    let versions = reader.gear_versions(ALWAYS).unwrap();
    let versions: Vec<_> = versions.into_iter().map(|row| row.value).collect();
    assert_eq!(versions, [tester("new"), tester("dropped")]);
    assert_eq!(reader.gear_versions(known_at(day(2))).unwrap().len(), 1);
}

pub(crate) fn a_class_says_what_its_assets_are_silent_about(mut store: Both) {
    let class = |limit: f64| AssetClass {
        kind: "traction motor".into(),
        limit_ohm: Some(limit),
        as_read_ohm: Some(1e6),
        isolation: Some(Isolation { ohm_per_volt: 100.0, working_voltage_v: 800.0 }),
        insulation: Insulation::Thermosetting,
        joining: Joining::Tied,
        interval_days: Some(90),
        discharge_s: Some(120),
        remark: "invented".into(),
        ..AssetClass::named("drive motor 400 V".into())
    };
    let silent = Asset { class: class(1.0).name, ..Asset::silent(id("YT-001")) };
    let outspoken = Asset {
        kind: "pump".into(),
        joining: Joining::Separable,
        limit_ohm: Some(2e6),
        interval_days: Some(7),
        training: Some(Training::parse("V to case 200 kΩ, put in on purpose").unwrap()),
        ..Asset { id: id("YT-002"), ..silent.clone() }
    };
    let mut record = |at, changes: &[Change]| store.writer.record(at, "Ines", changes).unwrap();
    let changes = [
        Change::Asset(silent.clone()),
        Change::Asset(outspoken.clone()),
        Change::Class(class(5e6)),
        Change::Class(class(5e6)),
    ];
    assert_eq!(record(day(1), &changes), 3);
    assert_eq!(record(day(3), &[Change::Class(class(8e6))]), 1);

    let reader = &store.reader;
    // A class that nobody knew yet is taken as that of what is met first.
    let before = reader.asset(&id("YT-001"), known_at(day(0))).unwrap();
    assert_eq!(before, None);
    let meant = reader.asset(&id("YT-001"), known_at(day(2))).unwrap().unwrap();
    assert_eq!(meant, class(5e6).fill(silent.clone()));
    assert_eq!((meant.limit_ohm, meant.interval_days), (Some(5e6), Some(90)));
    assert_eq!(meant.limits().count(), 3);
    let assets = reader.assets(ALWAYS).unwrap();
    assert_eq!(assets[0].limit_ohm, Some(8e6), "what the class says now holds for all of it");
    assert_eq!(assets[1], class(8e6).fill(outspoken.clone()));
    assert_eq!((assets[1].kind.as_str(), assets[1].limit_ohm), ("pump", Some(2e6)));
    assert_eq!((assets[1].joining, assets[1].interval_days), (Joining::Separable, Some(7)));
    assert_eq!(reader.assets_as_registered(ALWAYS).unwrap(), [silent.clone(), outspoken]);
    assert_eq!(reader.asset_as_registered(&id("YT-001"), ALWAYS).unwrap(), Some(silent));
    let classes = reader.classes(ALWAYS).unwrap();
    assert_eq!((classes.len(), &classes[0].value), (1, &class(8e6)));
    assert_eq!(classes[0].mark.recorded_at, day(3));
    assert_eq!(reader.classes(known_at(day(2))).unwrap()[0].value, class(5e6));
    assert_eq!(store.waiting().len(), 2, "both are to be assessed again");
    assert!(store.writer.record(day(4), "Ines", &[Change::Class(AssetClass::default())]).is_err());
}

pub(crate) fn the_newest_reading_of_each_asset_is_told(mut store: Both) {
    let readings = [
        plain("YT-001", "U", day(1), 1e9),
        plain("YT-001", "V", day(3), 1e9),
        plain("YT-002", "U", day(2), 1e9),
    ];
    store.readings(day(10), &file("a.csv"), &readings);
    store.readings(day(20), &file("b.csv"), &[plain("YT-001", "U", day(9), 1e9)]);
    store.receive(day(21), &file("c.csv"), vec![tray(plain("?", "?", day(9), 2e8), "17", "L1")]);
    let told = |when| store.reader.last_taken(when).unwrap();
    let both = |last| vec![(id("YT-001"), last), (id("YT-002"), day(2))];
    assert_eq!(told(ALWAYS), both(day(9)));
    assert_eq!(told(known_at(day(15))), both(day(3)));
    assert_eq!(told(as_of(day(1))), [(id("YT-001"), day(1))]);
    assert_eq!(told(known_at(day(5))), []);
}

pub(crate) fn readings_that_are_thinned_out_are_gone_with_their_lines(mut store: Both) {
    let warm = |at: i64| reading("YT-001", "U", day(at), 1e9, |f| f.temperature_c = Some(20.0));
    let entries = (1..=4).map(|n| (place(n), Entry::Reading(warm(n as i64)))).collect();
    let lines = (1..=4).map(|n| vec![b'0' + n]).collect();
    store.parcels(day(10), &serial("bench-1"), vec![Parcel { entries, lines }]);
    let temperatures = store.reader.day_temperatures().unwrap();
    store.settle_all(day(11));
    let of = |record| ReadingId { batch: 1, record, part: 0 };
    assert_eq!(store.writer.thin(&[of(2), of(3), of(9)]).unwrap(), 2);
    assert_eq!(store.writer.thin(&[of(2)]).unwrap(), 0);
    let left: Vec<_> = store.stored("YT-001").iter().map(|s| s.id).collect();
    assert_eq!(left, [of(1), of(4)]);
    let lines: Vec<bool> = (1..=4).map(|n| store.reader.line(1, n).unwrap().is_some()).collect();
    assert_eq!(lines, [true, false, false, true]);
    assert_eq!(store.reader.day_temperatures().unwrap(), temperatures);
    assert_eq!(store.waiting(), [], "nothing is to be assessed again");
    assert_eq!(store.reader.check().unwrap(), Vec::<String>::new());
}

pub(crate) fn an_event_is_replaced_and_taken_back(mut store: Both) {
    let mut record = |at, change| store.writer.record(at, "Ines", &[change]).unwrap();
    let dried = event("YT-001", day(5), "dried", "8 h in the oven");
    let better = event("YT-001", day(5), "dried", "16 h in the oven");
    assert_eq!(record(day(6), Change::EventVoid(dried.clone())), 0);
    assert_eq!(record(day(6), Change::Event(dried.clone())), 1);
    assert_eq!(record(day(6), Change::Event(dried.clone())), 0);
    assert_eq!(record(day(7), Change::Event(better.clone())), 1);
    assert_eq!(record(day(7), Change::Event(event("YT-002", day(4), "washed", ""))), 1);
    let of = |when| {
        let events = store.reader.events(Some(&id("YT-001")), when).unwrap();
        events.into_iter().map(|row| row.value).collect::<Vec<_>>()
    };
    assert_eq!(of(ALWAYS), std::slice::from_ref(&better));
    assert_eq!(of(known_at(day(6))), std::slice::from_ref(&dried));
    assert_eq!(of(as_of(day(4))), []);
    assert_eq!(store.reader.events(None, ALWAYS).unwrap().len(), 2);
    assert_eq!(store.waiting(), [("YT-001".to_owned(), day(5)), ("YT-002".to_owned(), day(4))]);
    // Whatever the remark, it is that event that is taken back.
    assert_eq!(
        store.writer.record(day(8), "Ines", &[Change::EventVoid(dried.clone())]).unwrap(),
        1
    );
    assert_eq!(store.reader.events(Some(&id("YT-001")), ALWAYS).unwrap(), []);
    assert_eq!(store.writer.record(day(9), "Ines", &[Change::Event(dried)]).unwrap(), 1);
    assert_eq!(store.reader.events(Some(&id("YT-001")), ALWAYS).unwrap().len(), 1);
}

pub(crate) fn proofs_never_replace_each_other(mut store: Both) {
    let (good, bad) = (proof("T-1", day(1), true), proof("T-1", day(1), false));
    let both = [Change::Proof(bad.clone()), Change::Proof(good.clone())];
    assert_eq!(store.writer.record(day(2), "Ines", &both).unwrap(), 2);
    assert_eq!(store.writer.record(day(2), "Ines", &both).unwrap(), 0);
    let other = Change::Proof(proof("T-2", day(0), true));
    store.writer.record(day(2), "Ines", &[other]).unwrap();
    let known = |when| {
        let proofs = store.reader.proofs(Some("T-1"), when).unwrap();
        proofs.into_iter().map(|row| row.value).collect::<Vec<_>>()
    };
    assert_eq!(known(ALWAYS), [bad.clone(), good.clone()]);
    assert_eq!(known(as_of(day(0))), []);
    assert_eq!(store.reader.proofs(None, ALWAYS).unwrap().len(), 3);
    let void = [Change::ProofVoid(bad.clone())];
    assert_eq!(store.writer.record(day(3), "Ines", &void).unwrap(), 1);
    assert_eq!(store.writer.record(day(3), "Ines", &void).unwrap(), 0);
    let left = store.reader.proofs(Some("T-1"), ALWAYS).unwrap();
    assert_eq!(left.iter().map(|row| &row.value).collect::<Vec<_>>(), [&good]);
    assert_eq!(store.reader.proofs(Some("T-1"), known_at(day(2))).unwrap().len(), 2);
}

pub(crate) fn an_alias_is_replaced_and_taken_back(mut store: Both) {
    let slot = |asset: &str, from| Alias {
        written: "17".into(),
        asset: id(asset),
        phase_written: "L1".into(),
        phase: Some(phase("U")),
        from,
        until: None,
        remark: Text::default(),
        merged: false,
    };
    let mut record = |at, change| store.writer.record(at, "Ines", &[change]).unwrap();
    assert_eq!(record(day(1), Change::Alias(slot("YT-001", None))), 1);
    assert_eq!(record(day(1), Change::Alias(slot("YT-001", None))), 0);
    assert_eq!(record(day(2), Change::Alias(slot("YT-002", Some(day(50))))), 1);
    assert_eq!(record(day(3), Change::Alias(slot("YT-003", None))), 1);
    let own = Alias { written: Text::default(), ..slot("YT-004", None) };
    assert_eq!(record(day(3), Change::Alias(own.clone())), 1);
    assert_eq!(record(day(3), Change::Alias(Alias { asset: id("YT-005"), ..own })), 1);
    let known = |when| {
        let aliases = store.reader.aliases(when).unwrap();
        aliases.iter().map(|row| row.value.asset.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(known(known_at(day(2))), ["YT-001", "YT-002"]);
    assert_eq!(known(ALWAYS), ["YT-004", "YT-005", "YT-003", "YT-002"]);
    let waiting: Vec<_> = store.waiting().into_iter().collect();
    assert_eq!(waiting[0], ("YT-001".to_owned(), Stamp::MIN));
    assert_eq!(waiting[1], ("YT-002".to_owned(), day(50)));
    let void = [Change::AliasVoid(slot("YT-003", None))];
    assert_eq!(store.writer.record(day(4), "Ines", &void).unwrap(), 1);
    assert_eq!(store.reader.aliases(ALWAYS).unwrap().len(), 3);
    let merger = Alias::merger(&id("YT-006"), id("YT-001"), "the same".into());
    assert_eq!(store.writer.record(day(5), "Ines", &[Change::Alias(merger.clone())]).unwrap(), 1);
    let known = store.reader.aliases(ALWAYS).unwrap();
    let merged: Vec<_> = known.into_iter().map(|row| row.value).filter(|a| a.merged).collect();
    assert_eq!(merged, [merger]);
}

pub(crate) fn a_proof_marks_what_it_can_touch(mut store: Both) {
    let readings = [
        plain("YT-001", "U", day(1), 5e8),
        plain("YT-002", "U", day(200), 5e8),
        reading("YT-003", "U", day(200), 5e8, |f| f.tester = "T-2".into()),
        reading("YT-004", "U", day(200), 5e8, |f| f.tester = Text::default()),
    ];
    store.readings(day(201), &file("a.csv"), &readings);
    store.settle_all(day(201));
    let mut record =
        |proof| store.writer.record(day(201), "Ines", &[Change::Proof(proof)]).unwrap();
    record(proof("T-1", day(150), true));
    // The tester itself is marked too: findings about it stand under an id of their own.
    let all = ["YT-001", "YT-002", "tester T-1"].map(|asset| (asset.to_owned(), Stamp::MIN));
    assert_eq!(store.waiting(), all);
    store.settle_all(day(201));
    // Back to the last good proof: what was long before that is not touched.
    let failed = [Change::Proof(proof("T-1", day(201), false))];
    store.writer.record(day(202), "Ines", &failed).unwrap();
    let touched = ["YT-002", "tester T-1"].map(|asset| (asset.to_owned(), day(150)));
    assert_eq!(store.waiting(), touched);
    store.settle_all(day(202));
    // One that was never used is marked alone, and no mark makes an asset.
    let unused = [Change::Proof(proof("T-9", day(201), false))];
    store.writer.record(day(202), "Ines", &unused).unwrap();
    assert_eq!(store.waiting(), [("tester T-9".to_owned(), Stamp::MIN)]);
    assert_eq!(store.reader.assets(ALWAYS).unwrap().len(), 4);
    let uses = store.reader.uses_of_tester("T-1", day(1), day(200)).unwrap();
    assert_eq!(uses, [(id("YT-001"), day(1)), (id("YT-002"), day(200))]);
    assert!(store.reader.uses_of_tester("T-1", day(2), day(199)).unwrap().is_empty());
    assert!(store.reader.uses_of_tester("", day(0), day(900)).unwrap().is_empty());
}

pub(crate) fn a_correction_that_stands_is_not_written_again(mut store: Both) {
    store.readings(day(2), &file("a.csv"), &[plain("YT-001", "U", day(1), 5e8)]);
    let it = ReadingId { batch: 1, record: 1, part: 0 };
    let kinds = |kinds: &[CorrectionKind]| -> Vec<Change> {
        let kinds = kinds.iter().cloned();
        kinds.map(|kind| Change::Correction(correction(it, kind))).collect()
    };
    use CorrectionKind::{Overrule, Restore, Void};
    let mut record = |changes: Vec<Change>| store.writer.record(day(3), "Ines", &changes).unwrap();
    assert_eq!(record(kinds(&[Void, Void])), 1);
    assert_eq!(record(kinds(&[Overrule, Void])), 1);
    assert_eq!(record(kinds(&[Restore, Void])), 2);
    assert_eq!(record(vec![Change::Correction(moved(it, "YT-002", "U"))]), 1);
    assert_eq!(record(vec![Change::Correction(moved(it, "YT-002", "U"))]), 0);
    assert_eq!(record(vec![Change::Correction(moved(it, "YT-002", "V"))]), 1);
}

pub(crate) fn a_finding_needs_no_registered_asset(mut store: Both) {
    let subject = "tester T-1 on 2026-03-02";
    let cause = episode(subject, FindingKind::CommonCause, day(10), None);
    let declining = episode("YT-001", FindingKind::Declining, day(20), None);
    let seen = ohmward::store::PendingMark(0);
    for finding in [&cause, &declining] {
        let one = std::slice::from_ref(finding);
        store.writer.settle(day(30), &finding.asset, seen, one).unwrap();
    }
    assert_eq!(store.reader.findings(None, ALWAYS).unwrap().len(), 2);
    let of = |kind, when| store.reader.findings_of(kind, when).unwrap();
    assert_eq!(of(FindingKind::CommonCause, ALWAYS), std::slice::from_ref(&cause));
    assert!(of(FindingKind::CommonCause, When { as_of: day(9), ..ALWAYS }).is_empty());
    assert!(of(FindingKind::CommonCause, When { known_at: day(29), ..ALWAYS }).is_empty());
    assert!(store.reader.assets(ALWAYS).unwrap().is_empty());
    assert!(store.reader.check().unwrap().is_empty());
    // An answer to a common cause marks it: its assets are to be assessed again. Others don't.
    for (finding, waits) in [(&declining, 0), (&cause, 1)] {
        let act = FindingAct {
            asset: finding.asset.clone(),
            kind: finding.kind,
            since: finding.since,
            act: Act::Close,
            remark: "looked at".into(),
        };
        store.writer.record(day(31), "Ines", &[Change::FindingAct(act)]).unwrap();
        assert_eq!(store.waiting().len(), waits);
    }
    assert_eq!(of(FindingKind::CommonCause, ALWAYS)[0].state, FindingState::Closed);
}

pub(crate) fn findings_follow_their_episodes(mut store: Both) {
    use FindingKind::{BelowLimit, Declining};
    let asset = id("YT-001");
    let seen = ohmward::store::PendingMark(0);
    let declining = episode("YT-001", Declining, day(10), None);
    let below = episode("YT-001", BelowLimit, day(20), Some(day(25)));
    let mut settle =
        |now, episodes: &[_]| store.writer.settle(now, &asset, seen, episodes).unwrap();
    settle(day(30), &[declining.clone(), below.clone()]);
    settle(day(31), &[declining.clone(), below.clone()]);
    // Late data: it began earlier, and the other never was.
    let earlier = episode("YT-001", Declining, day(8), None);
    settle(day(32), std::slice::from_ref(&earlier));
    settle(day(33), std::slice::from_ref(&earlier));
    let found = |when| {
        let all = store.reader.findings(Some(&asset), when).unwrap();
        all.into_iter().map(|f| (f.kind, f.since, f.until, f.state)).collect::<Vec<_>>()
    };
    use FindingState::{Closed, Open, Withdrawn};
    assert_eq!(
        found(ALWAYS),
        [(BelowLimit, day(20), Some(day(25)), Withdrawn), (Declining, day(8), None, Open)]
    );
    assert_eq!(
        found(known_at(day(31))),
        [(BelowLimit, day(20), Some(day(25)), Closed), (Declining, day(10), None, Open)]
    );
    let as_it_was = ohmward::store::When { as_of: day(22), known_at: day(31) };
    assert_eq!(found(as_it_was)[0], (BelowLimit, day(20), None, Open));
    assert_eq!(found(as_of(day(9))).len(), 1);
    assert!(found(known_at(day(29))).is_empty());
    // What was withdrawn comes back under its old name.
    store.writer.settle(day(34), &asset, seen, &[earlier, below]).unwrap();
    assert_eq!(store.reader.findings(None, ALWAYS).unwrap().len(), 2);
}

pub(crate) fn people_answer_findings(mut store: Both) {
    use FindingKind::Declining;
    let asset = id("YT-001");
    let seen = ohmward::store::PendingMark(0);
    let act = |since, act, remark: &str| {
        let (asset, remark) = (id("YT-001"), remark.into());
        [Change::FindingAct(FindingAct { asset, kind: Declining, since, act, remark })]
    };
    let nothing = store.writer.record(day(1), "Ines", &act(day(10), Act::Close, ""));
    assert!(matches!(nothing, Err(StoreError::NoFinding { .. })));
    let since_10 = episode("YT-001", Declining, day(10), None);
    store.writer.settle(day(11), &asset, seen, &[since_10]).unwrap();
    let seen_it = act(day(10), Act::Acknowledge, "bearing ordered");
    assert_eq!(store.writer.record(day(12), "Ines", &seen_it).unwrap(), 1);
    assert_eq!(store.writer.record(day(12), "Ines", &seen_it).unwrap(), 0);
    // Assessed again with a new beginning, beside a new one of another phase: the answer stays.
    let mut of_v = episode("YT-001", Declining, day(7), None);
    of_v.phase = Some(phase("V"));
    let episodes = [episode("YT-001", Declining, day(9), None), of_v];
    store.writer.settle(day(13), &asset, seen, &episodes).unwrap();
    store.writer.settle(day(14), &asset, seen, &episodes).unwrap();
    let states = |when| {
        let all = store.reader.findings(Some(&asset), when).unwrap();
        all.into_iter().map(|f| (f.since, f.state)).collect::<Vec<_>>()
    };
    use FindingState::{Acknowledged, Closed, Open};
    assert_eq!(states(ALWAYS), [(day(9), Acknowledged), (day(7), Open)]);
    assert_eq!(states(known_at(day(11))), [(day(10), Open)]);
    let acts = store.reader.acts(Some(&asset), ALWAYS).unwrap();
    assert_eq!((acts.len(), acts[0].value.since, acts[0].mark.by.as_str()), (1, day(9), "Ines"));
    let done = act(day(9), Act::Close, "rewound");
    assert_eq!(store.writer.record(day(15), "Tom", &done).unwrap(), 1);
    let all = store.reader.findings(None, ALWAYS).unwrap();
    assert_eq!(all[0].state, Closed);
    assert_eq!(store.reader.acts(None, ALWAYS).unwrap().len(), 2);
}

pub(crate) fn accounts_and_tokens_are_known_as_of_a_time(mut store: Both) {
    let account = |role, revoked| {
        let password = Check::new("invented hash");
        Change::Account(Account { name: "Ines".into(), role, password, revoked })
    };
    let token = |revoked| {
        let (key, digest) = ("0123".into(), Check::new("invented digest"));
        let (name, role) = ("crane gateway".into(), Role::Ingest);
        Change::Token(Token { name, role, key, digest, expires: Some(day(90)), revoked })
    };
    let came = |kind, times| {
        let (name, client) = ("Ines".into(), "192.0.2.7".into());
        Change::Access(Access { kind, name, client, times })
    };
    let writer = &mut store.writer;
    let first = [account(Role::Read, false), token(false), came(AccessKind::LoggedIn, 1)];
    assert_eq!(writer.record(day(1), "M", &first).unwrap(), 3);
    // What stands is not written again; that somebody came always is.
    assert_eq!(writer.record(day(2), "M", &first).unwrap(), 1);
    let second = [account(Role::Bench, false), token(true), came(AccessKind::LoginRefused, 7)];
    assert_eq!(writer.record(day(3), "N", &second).unwrap(), 3);
    assert_eq!(writer.record(day(4), "N", &[account(Role::Bench, true)]).unwrap(), 1);
    let reader = &store.reader;
    let accounts = |when| {
        let rows = reader.accounts(when).unwrap();
        assert_eq!(rows.len(), 1);
        (rows[0].value.role, rows[0].value.revoked, rows[0].mark.by.clone())
    };
    assert_eq!(accounts(ALWAYS), (Role::Bench, true, "N".into()));
    assert_eq!(accounts(known_at(day(3))), (Role::Bench, false, "N".into()));
    assert_eq!(accounts(known_at(day(2))), (Role::Read, false, "M".into()));
    let tokens = reader.tokens(ALWAYS).unwrap();
    assert_eq!(Change::Token(tokens[0].value.clone()), token(true));
    assert!(!reader.tokens(known_at(day(2))).unwrap()[0].value.revoked);
    let since = reader.accesses(day(2), ALWAYS).unwrap();
    let since: Vec<_> = since.into_iter().map(|r| (r.value.kind, r.value.times)).collect();
    assert_eq!(since, [(AccessKind::LoggedIn, 1), (AccessKind::LoginRefused, 7)]);
    assert_eq!(reader.accesses(Stamp::MIN, known_at(day(1))).unwrap().len(), 1);
    // None of it makes anything to assess.
    assert!(reader.pending().unwrap().is_empty());
    assert_eq!(reader.check().unwrap(), Vec::<String>::new());
}

pub(crate) fn findings_keep_their_numbers(mut store: Both) {
    use FindingKind::{BelowLimit, Declining};
    let seen = ohmward::store::PendingMark(0);
    let declining = episode("YT-001", Declining, day(10), None);
    let below = episode("YT-002", BelowLimit, day(5), None);
    store.writer.settle(day(11), &id("YT-001"), seen, std::slice::from_ref(&declining)).unwrap();
    store.writer.settle(day(11), &id("YT-002"), seen, std::slice::from_ref(&below)).unwrap();
    let numbered = |when| store.reader.numbered_findings(when).unwrap();
    assert_eq!(numbered(ALWAYS), [(1, declining), (2, below)]);
    assert_eq!(numbered(as_of(day(7))).len(), 1);
    // Assessed again with another beginning, then without: the number stays.
    let earlier = episode("YT-001", Declining, day(9), None);
    store.writer.settle(day(12), &id("YT-001"), seen, std::slice::from_ref(&earlier)).unwrap();
    store.writer.settle(day(13), &id("YT-001"), seen, &[]).unwrap();
    let (number, finding) = store.reader.numbered_findings(ALWAYS).unwrap().remove(0);
    assert_eq!((number, finding.since, finding.state), (1, day(9), FindingState::Withdrawn));
}

pub(crate) fn a_message_is_posted_once_and_ends_once(mut store: Both) {
    let finding = episode("YT-001", FindingKind::Declining, day(1), None);
    let seen = ohmward::store::PendingMark(0);
    store.writer.settle(day(2), &id("YT-001"), seen, std::slice::from_ref(&finding)).unwrap();
    let told = Told { finding: 1, what: Happening::Stated };
    let message = |channel: &str, key: &str, tells: &[Told]| Message {
        channel: channel.into(),
        key: key.into(),
        urgent: key == "b",
        subject: "declining: YT-001 Ü".into(),
        content: "{\"what\":\"stated\"}\n".into(),
        tells: tells.to_vec(),
    };
    let two = [message("office", "a", &[told, told]), message("office", "b", &[])];
    assert_eq!(store.writer.post(day(3), &two).unwrap(), 2);
    assert_eq!(store.writer.post(day(4), &two).unwrap(), 0);
    assert_eq!(store.writer.post(day(4), &[message("shift", "a", &[told])]).unwrap(), 1);
    let first = store.reader.outbox(false).unwrap().remove(0);
    assert_eq!((first.number, first.posted_at, first.due_at), (1, day(3), day(3)));
    assert_eq!(first.message, message("office", "a", &[told]));
    assert_eq!((first.fate, first.tries, first.error.as_str()), (Fate::Waiting, 0, ""));
    assert_eq!(store.reader.posted_at("office", "b").unwrap(), Some(day(3)));
    assert_eq!(store.reader.posted_at("office", "c").unwrap(), None);

    let failed = Turn::Failed { why: "nobody answers".into(), again_at: day(9) };
    store.writer.turn(day(5), 1, &failed).unwrap();
    let first = store.reader.outbox(true).unwrap().remove(0);
    assert_eq!((first.tries, first.due_at, first.error.as_str()), (1, day(9), "nobody answers"));
    store.writer.turn(day(6), 1, &Turn::Hastened).unwrap();
    assert_eq!(store.reader.outbox(true).unwrap()[0].due_at, day(6));
    store.writer.turn(day(7), 1, &Turn::Sent).unwrap();
    store.writer.turn(day(7), 3, &Turn::Dropped { why: "closed".into() }).unwrap();
    // What has ended stays as it ended.
    for number in [1, 3, 99] {
        store.writer.turn(day(8), number, &failed).unwrap();
    }
    let all = store.reader.outbox(false).unwrap();
    let ends: Vec<_> = all.iter().map(|p| (p.fate, p.tries, p.ended_at)).collect();
    let (sent, dropped) = ((Fate::Sent, 2, Some(day(7))), (Fate::Dropped, 0, Some(day(7))));
    assert_eq!(ends, [sent, (Fate::Waiting, 0, None), dropped]);
    assert_eq!(all[2].error, "closed");
    assert_eq!(store.reader.outbox(true).unwrap().len(), 1);
    let tellings = store.reader.tellings("shift").unwrap();
    assert_eq!(tellings.len(), 1);
    assert_eq!((tellings[0].message, tellings[0].told, tellings[0].fate), (3, told, Fate::Dropped));
    assert!(store.reader.check().unwrap().is_empty());
}

pub(crate) fn lines_of_streams_are_kept(mut store: Both) {
    let parcel = Parcel {
        entries: vec![
            (place(3), Entry::Reading(plain("YT-001", "U", day(1), 5e8))),
            (place(4), tray(plain("?", "?", day(1), 5e8), "x", "U")),
            (place(5), Entry::Reading(plain("YT-001", "U", day(1), 5e8))),
        ],
        lines: vec![b"three".to_vec(), b"four".to_vec(), b"five".to_vec()],
    };
    let receipt = store.parcels(day(2), &serial("bench-1"), vec![parcel]);
    assert_eq!(counts(&receipt), (1, 1, 1, 0));
    let line = |record| store.reader.line(1, record).unwrap();
    assert_eq!(line(3).unwrap(), b"three");
    assert_eq!(line(4).unwrap(), b"four");
    assert_eq!(line(5), None);
}

pub(crate) fn all_readings_come_by_time_then_series(mut store: Both) {
    let entries = vec![
        Entry::Reading(plain("YT-002", "U", day(2), 1e8)),
        Entry::Reading(plain("YT-001", "V", day(2), 2e8)),
        Entry::Reading(plain("YT-001", "U", day(2), 4e8)),
        Entry::Reading(plain("YT-001", "U", day(2), 3e8)),
        Entry::Reading(plain("YT-003", "U", day(1), 5e8)),
        tray(plain("?", "?", day(2), 6e8), "slot 4", "L1"),
    ];
    store.receive(day(3), &file("a.csv"), entries);
    let mut seen = Vec::new();
    store
        .reader
        .for_each_reading(ALWAYS, &mut |s| {
            seen.push((s.reading.series.asset.to_string(), s.reading.ohms));
            Ok(())
        })
        .unwrap();
    let seen: Vec<_> = seen.iter().map(|(asset, ohms)| (asset.as_str(), *ohms)).collect();
    let by_time = [
        ("YT-003", 5e8),
        ("?", 6e8),
        ("YT-001", 3e8),
        ("YT-001", 4e8),
        ("YT-001", 2e8),
        ("YT-002", 1e8),
    ];
    assert_eq!(seen, by_time);
    assert_eq!(store.ohms("YT-001"), [3e8, 4e8, 2e8]);
    let stop =
        store.reader.for_each_reading(ALWAYS, &mut |_| Err(StoreError::Other("enough".to_owned())));
    assert!(matches!(stop, Err(StoreError::Other(why)) if why == "enough"));
}

pub(crate) fn the_readings_of_an_asset_come_by_time_however_many_series_it_has(mut store: Both) {
    let mut taken = Vec::new();
    for (asset, series) in [("YT-001", 1), ("YT-002", 7), ("YT-003", 90)] {
        let mut readings = Vec::new();
        for n in 0..series * 5 {
            // Several in an instant, in no order of series.
            let (label, at) = (format!("P{}", n * 7 % series), day(i64::from(n * 11 % 17)));
            readings.push(plain(asset, &label, at, 1e8 + f64::from(n)));
        }
        // One more that belongs there, between the others.
        let stray = plain(&format!("{asset}x"), "U", day(8), 7e8);
        store.readings(day(20), &file(asset), &readings);
        let receipt = store.readings(day(20), &file("x"), &[stray]);
        let it = ReadingId { batch: receipt.batch.unwrap(), record: 1, part: 0 };
        store
            .writer
            .record(day(21), "Ines", &[Change::Correction(moved(it, asset, "P0"))])
            .unwrap();
        let all = store.reader.readings(&id(asset), ALWAYS).unwrap();
        assert_eq!(all.len(), readings.len() + 1);
        let order = |s: &Stored| (s.reading.taken_at, s.reading.series.clone());
        assert!(all.is_sorted_by_key(order), "{asset}");
        let some = store.reader.readings(&id(asset), as_of(day(8))).unwrap();
        let until: Vec<_> = all.iter().filter(|s| s.reading.taken_at <= day(8)).cloned().collect();
        assert_eq!(some, until);
        let before = store.reader.readings(&id(asset), known_at(day(20))).unwrap();
        assert_eq!(before.len(), readings.len());
        taken.push(all);
    }
    let mut first = None;
    let stop = store.reader.for_each_of(&id("YT-002"), ALWAYS, &mut |stored| {
        first = Some(stored);
        Err(StoreError::Other("enough".to_owned()))
    });
    assert!(matches!(stop, Err(StoreError::Other(why)) if why == "enough"));
    assert_eq!(first.as_ref(), taken[1].first());
}

pub(crate) fn questions_keep_to_their_times(mut store: Both) {
    store.readings(day(10), &file("a.csv"), &[plain("YT-001", "U", day(1), 1e8)]);
    store.readings(day(11), &file("b.csv"), &[plain("YT-001", "U", day(2), 2e8)]);
    store.readings(day(12), &file("c.csv"), &[plain("YT-001", "U", day(0), 3e8)]);
    let ohms = |when| {
        let all = store.reader.readings(&id("YT-001"), when).unwrap();
        all.iter().map(|s| s.reading.ohms).collect::<Vec<_>>()
    };
    assert_eq!(ohms(ALWAYS), [3e8, 1e8, 2e8]);
    assert_eq!(ohms(as_of(day(1))), [3e8, 1e8]);
    assert_eq!(ohms(known_at(day(11))), [1e8, 2e8]);
    assert!(ohms(known_at(day(9))).is_empty());
    let mut count = 0;
    let when = ohmward::store::When { as_of: day(1), known_at: day(11) };
    store
        .reader
        .for_each_reading(when, &mut |_| {
            count += 1;
            Ok(())
        })
        .unwrap();
    assert_eq!(count, 1);
}

pub(crate) fn steps_of_a_sheet_follow_one_another(mut store: Both) {
    let sheet = |station: &str, at| SheetKey { station: station.into(), opened: at };
    let step = |sheet: &SheetKey, number, act: &str| {
        let (sheet, details) = (sheet.clone(), format!("{{\"n\":{number}}}"));
        let at = sheet.opened.plus_days(f64::from(number) / 1_440.0);
        SheetStep { sheet, number, at, act: act.into(), details }
    };
    let (first, second) = (sheet("bench-1", day(1)), sheet("bench-1", day(2)));
    let other = sheet("bench-2", day(1));
    let two = [Change::Step(step(&first, 1, "opened")), Change::Step(step(&first, 2, "planned"))];
    assert_eq!(store.writer.record(day(1), "Ines", &two).unwrap(), 2);
    // Somebody else was quicker: nothing of the change is recorded, the proof neither.
    let late = [Change::Proof(proof("T-1", day(1), false)), Change::Step(step(&first, 2, "late"))];
    let refused = store.writer.record(day(1), "Tom", &late);
    assert!(matches!(refused, Err(StoreError::Stale { last: 2, .. })), "{refused:?}");
    assert!(store.reader.proofs(None, When::ALWAYS).unwrap().is_empty());
    let gap = [Change::Step(step(&second, 2, "early"))];
    assert!(matches!(
        store.writer.record(day(2), "Tom", &gap),
        Err(StoreError::Stale { last: 0, .. })
    ));
    for key in [&second, &other] {
        store.writer.record(day(2), "Tom", &[Change::Step(step(key, 1, "opened"))]).unwrap();
    }
    let steps = store.reader.steps(&first).unwrap();
    let told: Vec<_> =
        steps.iter().map(|s| (s.value.number, s.value.act.as_str(), s.mark.by.as_str())).collect();
    assert_eq!(told, [(1, "opened", "Ines"), (2, "planned", "Ines")]);
    assert_eq!(steps[1].value.at, day(1).plus_days(2.0 / 1_440.0));
    assert_eq!((steps[1].value.details.as_str(), steps[1].mark.recorded_at), ("{\"n\":2}", day(1)));
    assert_eq!(store.reader.sheets(Some("bench-1"), 9).unwrap(), [second.clone(), first.clone()]);
    assert_eq!(store.reader.sheets(None, 2).unwrap(), [second, first]);
    assert!(store.reader.steps(&sheet("bench-3", day(1))).unwrap().is_empty());
}

pub(crate) fn a_line_set_aside_is_kept_and_is_no_reading(mut store: Both) {
    let lines = Parcel {
        entries: vec![
            (place(3), Entry::Aside),
            (place(4), Entry::Reading(plain("YT-001", "U", day(3), 2e8))),
        ],
        lines: vec![b"9.9E37,512".to_vec(), b"2.0E8,511".to_vec()],
    };
    let receipt = store.parcels(day(3), &serial("bench-1"), vec![lines]);
    assert_eq!((receipt.accepted, receipt.aside, receipt.tray, receipt.rejected), (1, 1, 0, 0));
    let only = Parcel { entries: vec![(place(5), Entry::Aside)], lines: vec![b"0.0,0".to_vec()] };
    let alone = store.parcels(day(4), &serial("bench-1"), vec![only]);
    let batch = alone.batch.unwrap();
    assert_eq!(store.reader.line(batch, 5).unwrap().unwrap(), b"0.0,0");
    assert_eq!(store.reader.line(receipt.batch.unwrap(), 3).unwrap().unwrap(), b"9.9E37,512");
    assert!(store.reader.tray(When::ALWAYS).unwrap().is_empty());
    assert!(store.reader.rejects(true).unwrap().is_empty());
    assert_eq!(store.reader.readings(&id("YT-001"), When::ALWAYS).unwrap().len(), 1);
}
