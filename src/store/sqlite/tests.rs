//! What only can be seen from inside: a full disk, a held lock, a damaged row, group commit.

use std::sync::Arc;
use std::time::Duration;

use super::{FILE, SqliteStore, SqliteWriter};
use crate::model::{
    Asset, AssetId, Bound, Facts, Phase, Precision, Reading, Series, Stamp, Text, TimeDoubt,
};
use crate::store::{
    Change, Entry, Parcel, Reader, Receipt, RecordPlace, Result, Source, StoreError, When, Writer,
};

fn reading(asset: &str, at: i64) -> Entry {
    let series = Series {
        asset: AssetId::new(asset).unwrap(),
        phase: Phase::new("U").unwrap(),
        against: "case".into(),
        setup: Text::default(),
        test_voltage: None,
    };
    let facts = Facts {
        series: Arc::new(series),
        taken_at: Stamp::from_micros(at),
        precision: Precision::Fine,
        time_doubt: TimeDoubt::None,
        ohms: 1e9 / 3.0,
        bound: Bound::Measured,
        delivered_voltage_v: None,
        duration_s: Some(1.0 / 3.0),
        temperature_c: Some(1.0 / 7.0),
        temperature_of: None,
        humidity_pct: None,
        tester: "T-1".into(),
        operator: Text::default(),
        station: Text::default(),
        remark: Text::default(),
    };
    Entry::Reading(Reading::new(facts).unwrap())
}

fn source(name: &str) -> Source {
    Source { kind: "serial".into(), name: name.into(), profile: Text::default(), file: None }
}

fn receive(writer: &mut dyn Writer, name: &str, entries: Vec<Entry>) -> Result<Receipt> {
    let place = |i| RecordPlace { record: i as u64 + 1, part: 0 };
    let entries = entries.into_iter().enumerate().map(|(i, e)| (place(i), e)).collect();
    let parcel = Parcel { entries, lines: Vec::new() };
    let now = Stamp::from_micros(0);
    writer.receive(now, &source(name), &Asset::first_met, &mut std::iter::once(parcel))
}

fn many(asset: &str, count: i64) -> Vec<Entry> {
    (0..count).map(|at| reading(asset, at * 1_000_000)).collect()
}

fn store() -> (tempfile::TempDir, SqliteStore, SqliteWriter) {
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    let writer = store.writer().unwrap();
    (folder, store, writer)
}

/// Lets the database grow by so many pages and no further, like a disk.
fn room_for(writer: &SqliteWriter, pages: i64) {
    let db = &writer.core.db;
    let now: i64 = db.pragma_query_value(None, "page_count", |r| r.get(0)).unwrap();
    let most = format!("PRAGMA max_page_count = {}", now + pages);
    db.query_row(&most, [], |_| Ok(())).unwrap();
}

fn count(store: &SqliteStore) -> usize {
    let mut count = 0;
    let each = &mut |_: &_| {
        count += 1;
        Ok(())
    };
    store.reader().unwrap().for_each_reading(When::ALWAYS, each).unwrap();
    count
}

#[test]
fn a_full_disk_stores_nothing_of_the_step_and_all_of_it_later() {
    let (_folder, store, mut writer) = store();
    receive(&mut writer, "a", many("YT-001", 10)).unwrap();
    room_for(&writer, 2);
    let full = receive(&mut writer, "b", many("YT-002", 5_000));
    assert!(matches!(full, Err(StoreError::Full)), "{full:?}");
    assert_eq!(count(&store), 10);
    assert_eq!(store.reader().unwrap().assets(When::ALWAYS).unwrap().len(), 1);
    // What fits still goes in, under numbers that have no gap.
    let small = receive(&mut writer, "c", many("YT-001", 20)).unwrap();
    assert_eq!((small.batch, small.accepted, small.duplicate), (Some(2), 10, 10));
    room_for(&writer, 10_000);
    let all = receive(&mut writer, "b", many("YT-002", 5_000)).unwrap();
    assert_eq!((all.batch, all.accepted, all.new_assets.len()), (Some(3), 5_000, 1));
    assert_eq!(store.reader().unwrap().check().unwrap(), Vec::<String>::new());
}

#[test]
fn a_large_delivery_on_a_full_disk_keeps_what_was_committed() {
    let (_folder, store, writer) = store();
    let mut writer = writer.with_part_bytes(1_000);
    room_for(&writer, 20);
    let parcels = |from: i64, to: i64| {
        let parcel = |at| Parcel {
            entries: vec![(
                RecordPlace { record: at as u64 + 1, part: 0 },
                reading("YT-001", at * 1_000_000),
            )],
            lines: Vec::new(),
        };
        (from..to).map(parcel)
    };
    let now = Stamp::from_micros(0);
    let full = writer.receive(now, &source("a"), &Asset::first_met, &mut parcels(0, 4_000));
    assert!(matches!(full, Err(StoreError::Full)), "{full:?}");
    let kept = count(&store) as u64;
    assert!(kept > 0 && kept < 4_000, "{kept}");
    room_for(&writer, 10_000);
    let rest =
        writer.receive(now, &source("a"), &Asset::first_met, &mut parcels(0, 4_000)).unwrap();
    assert_eq!((rest.duplicate, rest.accepted), (kept, 4_000 - kept));
    assert_eq!(rest.batch, Some(2));
}

#[test]
fn a_held_lock_is_busy_and_no_harm_is_done() {
    let (folder, store, mut writer) = store();
    let other = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    writer.core.db.busy_timeout(Duration::from_millis(10)).unwrap();
    let busy = receive(&mut writer, "a", many("YT-001", 1));
    assert!(matches!(busy, Err(StoreError::Busy)), "{busy:?}");
    // Readers are not held up.
    assert_eq!(count(&store), 0);
    other.execute_batch("COMMIT").unwrap();
    assert_eq!(receive(&mut writer, "a", many("YT-001", 1)).unwrap().accepted, 1);
}

#[test]
fn a_damaged_row_is_named() {
    let (folder, store, mut writer) = store();
    receive(&mut writer, "a", many("YT-001", 3)).unwrap();
    let db = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    db.execute("UPDATE reading SET ohms = -5 WHERE record = 2", []).unwrap();
    db.execute("UPDATE asset_version SET insulation = 'wood'", []).unwrap();
    let reader = store.reader().unwrap();
    let id = AssetId::new("YT-001").unwrap();
    let error = reader.readings(&id, When::ALWAYS).unwrap_err().to_string();
    for words in ["`reading`", "row 1.2", "`resistance_ohm`", "-5"] {
        assert!(error.contains(words), "{error}");
    }
    let error = reader.asset(&id, When::ALWAYS).unwrap_err().to_string();
    assert!(error.contains("`asset_version`, row 1") && error.contains("`wood`"), "{error}");
    assert_eq!(reader.check().unwrap().len(), 2);
    // Everything else is still there.
    assert!(reader.pending().is_ok() && reader.rejects(true).is_ok());
}

#[test]
fn gaps_and_orphans_are_found() {
    let (folder, store, mut writer) = store();
    receive(&mut writer, "a", many("YT-001", 1)).unwrap();
    receive(&mut writer, "b", many("YT-002", 1)).unwrap();
    let db = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    db.execute_batch("PRAGMA foreign_keys = OFF; DELETE FROM batch WHERE no = 1").unwrap();
    let wrong = store.reader().unwrap().check().unwrap().join("\n");
    for words in ["without a gap", "1 rows name a batch that is gone", "`asset_version`, row 1"] {
        assert!(wrong.contains(words), "{wrong}");
    }
}

#[test]
fn jobs_that_wait_share_a_commit_and_one_failing_harms_no_other() {
    let (folder, store, writer) = store();
    let (handle, thread) = writer.on_a_thread().unwrap();
    // While another process holds the lock, jobs pile up behind the first.
    let other = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let callers: Vec<_> = (0..12)
        .map(|n| {
            let mut handle = handle.clone();
            std::thread::spawn(move || {
                if n % 4 == 3 {
                    let reading = crate::model::ReadingId { batch: 99, record: 1, part: 0 };
                    let kind = crate::model::CorrectionKind::Void;
                    let void = crate::model::Correction { reading, kind, reason: "x".into() };
                    handle.record(Stamp::from_micros(0), "Ines", &[Change::Correction(void)])
                } else {
                    let name = format!("bench-{n}");
                    let asset = format!("YT-{n:03}");
                    receive(&mut handle, &name, many(&asset, 2)).map(|r| r.accepted)
                }
            })
        })
        .collect();
    std::thread::sleep(Duration::from_millis(50));
    other.execute_batch("COMMIT").unwrap();
    for (n, caller) in callers.into_iter().enumerate() {
        match caller.join().unwrap() {
            Ok(stored) => assert!(n % 4 != 3 && stored == 2),
            Err(e) => assert!(n % 4 == 3 && matches!(e, StoreError::NoReading(_)), "{e}"),
        }
    }
    drop(handle);
    thread.join().unwrap();
    assert_eq!(count(&store), 18);
    let reader = store.reader().unwrap();
    assert_eq!(reader.assets(When::ALWAYS).unwrap().len(), 9);
    assert!(reader.batch(9).unwrap().is_some() && reader.batch(10).unwrap().is_none());
    assert_eq!(reader.check().unwrap(), Vec::<String>::new());
}

#[test]
fn a_full_disk_under_a_group_fails_only_what_does_not_fit() {
    let (_folder, store, mut writer) = store();
    receive(&mut writer, "a", many("YT-001", 10)).unwrap();
    room_for(&writer, 20);
    let (handle, _thread) = writer.on_a_thread().unwrap();
    let callers: Vec<_> = [("b", 5_000), ("c", 3), ("d", 3)]
        .map(|(name, rows)| {
            let mut handle = handle.clone();
            std::thread::spawn(move || receive(&mut handle, name, many(name, rows)))
        })
        .into();
    let outcomes: Vec<_> = callers.into_iter().map(|c| c.join().unwrap()).collect();
    assert!(matches!(outcomes[0], Err(StoreError::Full)), "{outcomes:?}");
    assert!(outcomes[1].is_ok() && outcomes[2].is_ok(), "{outcomes:?}");
    assert_eq!(count(&store), 16);
}

#[test]
fn two_processes_may_write_by_turns() {
    let (_folder, store, mut one) = store();
    let mut two = store.writer().unwrap();
    for turn in 0..4_i64 {
        let asset = format!("YT-{turn:03}");
        receive(&mut one, "a", many(&asset, turn + 1)).unwrap();
        receive(&mut two, "b", many(&asset, turn + 2)).unwrap();
        let next = format!("YT-{:03}", turn + 100);
        receive(&mut two, "b", many(&next, 1)).unwrap();
        receive(&mut one, "a", many(&next, 1)).unwrap();
    }
    let reader = store.reader().unwrap();
    assert_eq!(reader.assets(When::ALWAYS).unwrap().len(), 8);
    assert_eq!(count(&store), 2 + 3 + 4 + 5 + 4);
    assert_eq!(reader.check().unwrap(), Vec::<String>::new());
}

/// A writer of runs that is busy until it has to take one.
struct Busy {
    runs: Vec<super::run::Run>,
}

impl super::feed::RunWriter for Busy {
    fn is_idle(&mut self) -> Result<bool> {
        Ok(false)
    }

    fn hand_over(&mut self, run: super::run::Run) -> Result<()> {
        self.runs.push(run);
        Ok(())
    }

    fn spare(&mut self) -> Option<super::run::Part> {
        None
    }
}

#[test]
fn parts_that_waited_on_the_disk_make_one_run() {
    let (folder, store, mut writer) = store();
    // Three assets by turns, times going up and down, one of them far longer than the others.
    let entry = |i: i64| match i % 10 {
        0 => reading("YT-001", i * 1_000),
        1 => reading("YT-002", -i * 1_000),
        _ => reading("YT-003", (i * 7_919 % 3_000) * 1_000),
    };
    let parcels = |from: i64, to: i64| {
        (from..to).map(move |i| Parcel {
            entries: vec![(RecordPlace { record: i as u64, part: 3 }, entry(i))],
            lines: Vec::new(),
        })
    };
    let mut packer = super::packer::Packer::new(folder.path(), 4_800);
    let mut busy = Busy { runs: Vec::new() };
    let all = &mut parcels(1, 3_001);
    let more = packer.fill(all).unwrap();
    super::feed::feed(packer, more, &Asset::first_met, all, &mut busy).unwrap();
    // Nine parts of less than a hundred rows each, eight of them from the disk.
    let spooled = busy.runs[0].spool.as_ref().map(|spool| spool.parts());
    assert_eq!(spooled, Some(8));
    assert!((2..8).contains(&busy.runs.len()), "{}", busy.runs.len());
    let mut delivery = super::delivery::Delivery::new(Stamp::from_micros(0), &source("a"));
    for run in &busy.runs {
        let outcome = writer
            .core
            .transaction(|db, names| super::receive::store_run(db, names, &delivery, run))
            .unwrap();
        delivery.add(outcome);
    }
    let spooled = delivery.into_receipt();
    assert_eq!(count(&store) as u64, spooled.accepted);

    let (_folder, plain_store, mut plain) = self::store();
    let receipt = plain
        .receive(Stamp::from_micros(0), &source("a"), &Asset::first_met, &mut parcels(1, 3_001))
        .unwrap();
    assert_eq!(receipt, spooled);
    for asset in ["YT-001", "YT-002", "YT-003"] {
        let id = AssetId::new(asset).unwrap();
        let all =
            |store: &SqliteStore| store.reader().unwrap().readings(&id, When::ALWAYS).unwrap();
        assert_eq!(all(&store), all(&plain_store));
    }
    assert_eq!(store.reader().unwrap().check().unwrap(), Vec::<String>::new());
    let names: Vec<_> = std::fs::read_dir(folder.path()).unwrap().flatten().collect();
    assert!(names.iter().all(|n| !n.file_name().to_string_lossy().contains("spool")));
}
