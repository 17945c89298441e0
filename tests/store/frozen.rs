//! A database of every schema version as its program wrote it, and a damaged twin of each, in
//! `fixtures/databases/v<N>`. All data in them is invented.

use std::fs;
use std::path::{Path, PathBuf};

use ohmward::model::{
    Access, AccessKind, Account, Alias, Asset, AssetClass, Check, CorrectionKind, FindingKind,
    FindingState, Gear, GearKind, Range, Reading, ReadingId, Role, Token, Training,
};
use ohmward::store::sqlite::{FILE, SqliteStore};
use ohmward::store::{
    Act, Change, FindingAct, Happening, Message, Parcel, PendingMark, Reader, SheetKey, SheetStep,
    StoreError, Told, Writer,
};

use crate::words::*;

/// The newest schema version, whose database [`freeze`] writes.
const NEWEST: u32 = 2;

fn folder_of(version: u32) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/databases/v{version}"))
}

/// A frozen database, or its twin, in a folder of its own.
fn thawed(version: u32, name: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(folder_of(version).join(name), folder.path().join(FILE)).unwrap();
    folder
}

fn readings() -> Vec<Reading> {
    let visits = (0..40).map(|n| {
        let asset = ["YT-001", "YT-002"][n % 2];
        plain(asset, ["U", "V", "W"][n % 3], day(n as i64), 1e9 / (n + 1) as f64)
    });
    visits.chain([on_day("YT-003", day(9), 5e8), on_day("YT-003", day(9), 5e8)]).collect()
}

fn fill(store: &mut Both) {
    store.readings(day(50), &file("a.csv"), &readings());
    let lines = Parcel {
        entries: vec![(place(7), tray(plain("?", "?", day(3), 2e8), "17", "L1"))],
        lines: vec![b"17 L1 0.2 GOhm".to_vec()],
    };
    store.parcels(day(51), &serial("bench-1"), vec![lines]);
    store.receive(day(52), &file("b.csv"), vec![reject("x"), reject("5 Ohmm")]);
    store.writer.settle_rejects(&[1], 1).unwrap();
    let it = ReadingId { batch: 1, record: 1, part: 0 };
    let waiting = ReadingId { batch: 2, record: 7, part: 0 };
    let changes = [
        Change::Event(event("YT-001", day(20), "rewound", "new winding")),
        Change::Proof(proof("T-1", day(30), false)),
        Change::Correction(correction(it, CorrectionKind::Void)),
        Change::Correction(moved(waiting, "YT-001", "U")),
    ];
    store.writer.record(day(53), "Ines", &changes).unwrap();
    let found = [episode("YT-001", FindingKind::Declining, day(25), None)];
    let asset = id("YT-001");
    store.writer.settle(day(54), &asset, PendingMark(u64::MAX >> 1), &found).unwrap();
    let (kind, since, act) = (FindingKind::Declining, day(25), Act::Acknowledge);
    let act = FindingAct { asset, kind, since, act, remark: "seen".into() };
    store.writer.record(day(55), "Ines", &[Change::FindingAct(act)]).unwrap();
}

/// What version 2 can hold more.
fn changes_of_2() -> Vec<Change> {
    let class = AssetClass {
        as_read_ohm: Some(1e6),
        interval_days: Some(90),
        discharge_s: Some(120),
        ..AssetClass::named("drive motor 400 V".into())
    };
    let training = Training::parse("V to case 200 kΩ, put in on purpose").ok();
    let asset =
        Asset { class: class.name.clone(), training, ..Asset::silent(id("training/stator-1")) };
    let other = Asset::silent(id("training/stator-one"));
    let merged = Alias {
        written: "training/stator-one".into(),
        asset: id("training/stator-1"),
        phase_written: "".into(),
        phase: None,
        from: None,
        until: None,
        remark: "the same".into(),
        merged: true,
    };
    let ranges = vec![Range { test_voltage_v: 500.0, full_scale_ohm: 2e9 }];
    let gear = Gear { ranges, proof_days: Some(30), ..Gear::new("T-1".into(), GearKind::Tester) };
    let sheet = SheetKey { station: "bench-1".into(), opened: day(56) };
    let at = day(56);
    let step = SheetStep { sheet, number: 1, at, act: "opened".into(), details: "{}".into() };
    let account = Account {
        name: "Ines".into(),
        role: Role::Manage,
        password: Check::new("invented hash"),
        revoked: false,
    };
    let token = Token {
        name: "crane gateway".into(),
        role: Role::Ingest,
        key: "0123".into(),
        digest: Check::new("invented digest"),
        expires: Some(day(400)),
        revoked: false,
    };
    let (name, client) = ("Ines".into(), "192.0.2.7".into());
    let access = Access { kind: AccessKind::LoggedIn, name, client, times: 1 };
    vec![
        Change::Class(class),
        Change::Asset(asset),
        Change::Asset(other),
        Change::Alias(merged),
        Change::Gear(gear),
        Change::Step(step),
        Change::Account(account),
        Change::Token(token),
        Change::Access(access),
    ]
}

fn message_of_2() -> Message {
    Message {
        channel: "shift".into(),
        key: "a".into(),
        urgent: true,
        subject: "declining: YT-001".into(),
        content: "{}".into(),
        tells: vec![Told { finding: 1, what: Happening::Stated }],
    }
}

fn holds_what_2_can(reader: &dyn Reader) {
    let told = reader.assets(ALWAYS).unwrap();
    let asset = told.iter().find(|a| a.id == id("training/stator-1")).unwrap();
    assert_eq!((asset.interval_days, asset.discharge_s), (Some(90), Some(120)));
    assert!(asset.training.is_some());
    let mut held = Vec::new();
    held.extend(reader.classes(ALWAYS).unwrap().into_iter().map(|r| Change::Class(r.value)));
    held.extend(reader.aliases(ALWAYS).unwrap().into_iter().map(|r| Change::Alias(r.value)));
    held.extend(reader.gear(ALWAYS).unwrap().into_iter().map(|r| Change::Gear(r.value)));
    let sheet = reader.sheets(None, 9).unwrap().remove(0);
    held.extend(reader.steps(&sheet).unwrap().into_iter().map(|r| Change::Step(r.value)));
    held.extend(reader.accounts(ALWAYS).unwrap().into_iter().map(|r| Change::Account(r.value)));
    held.extend(reader.tokens(ALWAYS).unwrap().into_iter().map(|r| Change::Token(r.value)));
    let came = reader.accesses(day(0), ALWAYS).unwrap();
    held.extend(came.into_iter().map(|r| Change::Access(r.value)));
    let mut expected = changes_of_2();
    expected.retain(|change| !matches!(change, Change::Asset(_)));
    assert_eq!(held, expected);
    assert_eq!(reader.outbox(true).unwrap().remove(0).message, message_of_2());
}

/// Writes the database of the newest version and its twin; run once per version, by hand:
/// `cargo test --test store freeze -- --ignored`.
#[test]
#[ignore = "writes a fixture, once per schema version"]
fn freeze() {
    let folder = folder_of(NEWEST);
    fs::create_dir_all(&folder).unwrap();
    let path = folder.join(FILE);
    assert!(!path.exists(), "a frozen database is never written again");
    let work = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(work.path()).unwrap();
    let mut both = Both {
        writer: Box::new(store.writer().unwrap()),
        reader: Box::new(store.reader().unwrap()),
        _folder: None,
    };
    fill(&mut both);
    both.writer.record(day(56), "Ines", &changes_of_2()).unwrap();
    both.writer.post(day(56), &[message_of_2()]).unwrap();
    both.writer.backup(&path).unwrap();
    // The twin: these tables have lost 200 bytes each where their last rows were.
    let mut bytes = fs::read(&path).unwrap();
    let db = rusqlite::Connection::open(&path).unwrap();
    for table in ["reading", "asset_version", "event"] {
        let find = "SELECT rootpage FROM sqlite_schema WHERE name = ?1";
        let page: u32 = db.query_row(find, [table], |row| row.get(0)).unwrap();
        let page = page as usize;
        bytes[page * 4096 - 200..page * 4096].fill(0xA5);
    }
    fs::write(folder.join("damaged.db"), bytes).unwrap();
}

#[test]
fn every_version_opens_and_says_the_same() {
    for version in 1..=NEWEST {
        let folder = thawed(version, FILE);
        let store = SqliteStore::open(folder.path()).unwrap();
        let reader = store.reader().unwrap();
        let mut wrong = reader.check().unwrap();
        wrong.retain(|w| !w.starts_with("kept file"));
        assert_eq!(wrong, Vec::<String>::new());

        let mut count = 0;
        for asset in ["YT-001", "YT-002", "YT-003"] {
            for stored in reader.readings(&id(asset), ALWAYS).unwrap() {
                if !stored.in_tray {
                    let record = stored.id.record as usize;
                    assert_eq!(stored.reading, readings()[record - 1]);
                    count += 1;
                }
            }
        }
        assert_eq!(count, readings().len());
        if version >= 2 {
            holds_what_2_can(&reader);
        } else {
            assert_eq!(reader.assets(ALWAYS).unwrap().len(), 3);
        }
        assert_eq!(reader.assets(ALWAYS).unwrap()[0], first_met(id("YT-001")));
        assert_eq!(reader.line(2, 7).unwrap().unwrap(), b"17 L1 0.2 GOhm");
        assert_eq!(reader.tray(known_at(day(52))).unwrap()[0].item.written_asset, "17");
        assert_eq!(reader.tray(ALWAYS).unwrap(), []);
        assert_eq!(reader.rejects(false).unwrap().len(), 1);
        assert_eq!(reader.corrections(&id("YT-001"), ALWAYS).unwrap().len(), 2);
        let events = reader.events(None, ALWAYS).unwrap();
        assert_eq!(events[0].value, event("YT-001", day(20), "rewound", "new winding"));
        assert_eq!(reader.proofs(None, ALWAYS).unwrap()[0].value, proof("T-1", day(30), false));
        let finding = reader.findings(None, ALWAYS).unwrap().remove(0);
        assert_eq!((finding.since, finding.state), (day(25), FindingState::Acknowledged));
        let mut pending = reader.pending().unwrap();
        pending.retain(|p| p.asset.as_str().starts_with("YT-"));
        assert_eq!(pending.len(), 2);

        // And it is still a store to write to.
        let mut both = Both {
            writer: Box::new(store.writer().unwrap()),
            reader: Box::new(reader),
            _folder: Some(folder),
        };
        let again = both.readings(day(60), &file("a.csv"), &readings());
        assert_eq!((again.accepted, again.duplicate), (0, 42));
        let more = both.readings(day(60), &file("c.csv"), &[plain("YT-009", "U", day(1), 1e8)]);
        // One batch more for what version 2 can hold.
        assert_eq!(more.batch, Some(5 + u64::from(version)));
    }
}

#[test]
fn damage_is_told_and_nothing_is_made_up() {
    for version in 1..=NEWEST {
        let folder = thawed(version, "damaged.db");
        let store = SqliteStore::open(folder.path()).unwrap();
        let reader = store.reader().unwrap();
        let told = match reader.check() {
            Ok(wrong) => !wrong.is_empty(),
            Err(StoreError::Damaged { .. }) => true,
            Err(other) => panic!("{other}"),
        };
        assert!(told);
        for asset in ["YT-001", "YT-002", "YT-003"] {
            match reader.readings(&id(asset), ALWAYS) {
                Ok(all) => {
                    for stored in all.iter().filter(|s| !s.in_tray) {
                        assert_eq!(stored.reading, readings()[stored.id.record as usize - 1]);
                    }
                }
                Err(StoreError::Damaged { .. }) => {}
                Err(other) => panic!("{other}"),
            }
        }
        let copy = folder.path().join("copy.db");
        assert!(store.writer().unwrap().backup(&copy).is_err());
        assert!(!copy.exists());
    }
}
