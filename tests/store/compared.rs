//! The database against the plain store in memory: after any history, every question has the same
//! answer from both.

use ohmward::model::{
    Alias, Asset, AssetClass, Bound, CorrectionKind, FindingKind, Gear, GearKind, Precision, Range,
    ReadingId, Text, Training,
};
use ohmward::store::memory::MemoryStore;
use ohmward::store::sqlite::SqliteStore;
use ohmward::store::{
    Act, Change, Entry, FindingAct, Parcel, Reader, RecordPlace, Source, Stored, When, Writer,
};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::words::*;

/// What happens to a store.
#[derive(Clone, Debug)]
enum Happening {
    Delivery(Source, Vec<(RecordPlace, Entry)>, bool),
    Changes(Vec<Change>),
    /// Settle rejects by number.
    Rejects(Vec<u64>),
    /// Assess one of the assets that wait.
    Assess(usize, Vec<ohmward::model::Finding>),
}

fn any_asset() -> impl Strategy<Value = &'static str> {
    prop_oneof![Just("YT-001"), Just("YT-002"), Just("YT-003")]
}

fn any_phase() -> impl Strategy<Value = &'static str> {
    prop_oneof![Just("U"), Just("V")]
}

fn any_tester() -> impl Strategy<Value = &'static str> {
    prop_oneof![Just(""), Just("T-1"), Just("T-2")]
}

/// Readings that meet each other often: few values of everything.
fn any_reading() -> impl Strategy<Value = ohmward::model::Reading> {
    let precision = prop_oneof![Just(Precision::Fine), Just(Precision::Day)];
    let bound = prop_oneof![Just(Bound::Measured), Just(Bound::Over)];
    let where_and_when = (any_asset(), any_phase(), 0_i64..3, precision, any_tester());
    let what = (
        prop_oneof![Just(1e8), Just(2.5e8)],
        bound,
        prop::option::of(prop_oneof![Just(60.0), Just(0.1)]),
        prop::option::weighted(0.3, prop_oneof![Just(20.0), Just(1.0 / 3.0)]),
        prop_oneof![3 => Just(""), 1 => Just("noted")],
    );
    (where_and_when, what).prop_map(
        |((asset, label, at, precision, tester), (ohms, bound, duration, temperature, remark))| {
            reading(asset, label, day(at), ohms, |f| {
                f.precision = precision;
                f.tester = tester.into();
                f.bound = bound;
                f.duration_s = duration;
                f.temperature_c = temperature;
                f.remark = remark.into();
            })
        },
    )
}

fn any_entry() -> impl Strategy<Value = Entry> {
    let texts = prop_oneof![Just(("17", "L1")), Just(("17", "L2")), Just(("", ""))];
    prop_oneof![
        8 => any_reading().prop_map(Entry::Reading),
        2 => (any_reading(), texts).prop_map(|(reading, (asset, label))| tray(reading, asset, label)),
        1 => prop_oneof![Just("x"), Just("5 Ohmm")].prop_map(reject),
    ]
}

fn any_source() -> impl Strategy<Value = Source> {
    let named = |kind: &'static str| Source { kind: kind.into(), ..serial("Ines") };
    prop_oneof![
        4 => prop_oneof![Just("a.csv"), Just("b.csv"), Just("c.csv")].prop_map(file),
        2 => prop_oneof![Just("bench-1"), Just("bench-2")].prop_map(serial),
        1 => Just(named("http")),
        1 => Just(named("hand")),
    ]
}

fn any_delivery() -> impl Strategy<Value = Happening> {
    let entries = vec((any_entry(), 0_u64..2), 0..8);
    (any_source(), entries, 1_u64..6, any::<bool>()).prop_map(|(source, entries, first, lines)| {
        // Records go up, with gaps; a stream sometimes sends one again as it was.
        let stream = source.file.is_none();
        let mut numbered: Vec<(RecordPlace, Entry)> = Vec::new();
        let mut record = first;
        for (entry, gap) in entries {
            match numbered.last() {
                Some(last) if stream && gap == 0 => numbered.push(last.clone()),
                _ => {
                    record += 1 + gap;
                    numbered.push((place(record), entry));
                }
            }
        }
        Happening::Delivery(source, numbered, lines && stream)
    })
}

fn any_id() -> impl Strategy<Value = ReadingId> {
    (1_u64..4, 1_u64..8).prop_map(|(batch, record)| ReadingId { batch, record, part: 0 })
}

fn any_correction() -> impl Strategy<Value = Change> {
    let kind = prop_oneof![
        Just(CorrectionKind::Void),
        Just(CorrectionKind::Restore),
        Just(CorrectionKind::Overrule),
        (any_asset(), any_phase()).prop_map(|(asset, label)| moved(
            ReadingId { batch: 1, record: 1, part: 0 },
            asset,
            label
        )
        .kind),
    ];
    (any_id(), kind).prop_map(|(id, kind)| Change::Correction(correction(id, kind)))
}

fn any_change() -> impl Strategy<Value = Change> {
    let remark = || prop_oneof![Just(""), Just("again")];
    let asset = (any_asset(), remark(), any::<bool>(), any::<bool>()).prop_map(
        |(asset, remark, of_class, training)| {
            let asset = match of_class {
                true => Asset { class: "motor".into(), ..Asset::silent(id(asset)) },
                false => first_met(id(asset)),
            };
            let training = training.then(|| Training::parse("V to case 200 kΩ").unwrap());
            Change::Asset(Asset { remark: remark.into(), training, ..asset })
        },
    );
    let classes = (remark(), any::<bool>()).prop_map(|(remark, named)| {
        let name = if named { "motor" } else { "" };
        let class = AssetClass::named(name.into());
        Change::Class(AssetClass { remark: remark.into(), interval_days: Some(30), ..class })
    });
    let events =
        (any_asset(), 0_i64..3, remark(), any::<bool>()).prop_map(|(asset, at, remark, void)| {
            let event = event(asset, day(at), "dried", remark);
            if void { Change::EventVoid(event) } else { Change::Event(event) }
        });
    let proofs = (any_tester(), 0_i64..3, any::<bool>(), any::<bool>()).prop_map(
        |(tester, at, passed, void)| {
            let proof = proof(tester, day(at), passed);
            if void { Change::ProofVoid(proof) } else { Change::Proof(proof) }
        },
    );
    let gear = (any_tester(), remark(), any::<bool>()).prop_map(|(tester, remark, ranged)| {
        let range = Range { test_voltage_v: 250.0, full_scale_ohm: 1e9 };
        Change::Gear(Gear {
            remark: remark.into(),
            ranges: if ranged { vec![range] } else { Vec::new() },
            ..Gear::new(tester.into(), GearKind::Tester)
        })
    });
    let aliases = (
        prop_oneof![Just(""), Just("17"), Just("YT-002")],
        any_asset(),
        prop::option::of(0_i64..2),
        any::<bool>(),
        any::<bool>(),
    )
        .prop_map(|(written, asset, from, void, merged)| {
            let alias = Alias {
                written: written.into(),
                asset: id(asset),
                phase_written: Text::default(),
                phase: None,
                from: from.map(day),
                until: None,
                remark: Text::default(),
                merged,
            };
            if void { Change::AliasVoid(alias) } else { Change::Alias(alias) }
        });
    let acts =
        (any_asset(), 0_i64..6, any::<bool>(), remark()).prop_map(|(asset, at, close, remark)| {
            let act = if close { Act::Close } else { Act::Acknowledge };
            let (asset, kind, since) = (id(asset), FindingKind::Declining, day(at));
            Change::FindingAct(FindingAct { asset, kind, since, act, remark: remark.into() })
        });
    prop_oneof![
        4 => any_correction(), 2 => asset, 1 => classes, 2 => events, 2 => proofs, 1 => gear, 2 => aliases,
        2 => acts,
    ]
}

fn any_happening() -> impl Strategy<Value = Happening> {
    let span = (0_i64..6, prop::option::of(0_i64..3), any_phase(), any::<bool>());
    let episodes = vec(span, 0..3);
    prop_oneof![
        5 => any_delivery(),
        4 => vec(any_change(), 1..3).prop_map(Happening::Changes),
        1 => vec(1_u64..5, 1..3).prop_map(Happening::Rejects),
        2 => (0_usize..3, episodes).prop_map(|(which, spans)| {
            let episodes = spans.into_iter().map(|(since, length, label, step)| {
                let kind = if step { FindingKind::Step } else { FindingKind::Declining };
                let until = length.map(|length| day(since + length));
                let mut episode = episode("YT-001", kind, day(since), until);
                episode.phase = Some(phase(label));
                episode
            });
            Happening::Assess(which, episodes.collect())
        }),
    ]
}

/// One thing happens; what the caller is told, as text.
fn happen(store: &mut Both, now: i64, happening: &Happening) -> String {
    let now = day(100 + now);
    match happening {
        Happening::Delivery(source, entries, lines) => {
            let parcels = entries.chunks(3).map(|some| {
                let line = |(place, entry): &(RecordPlace, Entry)| {
                    format!("{} {:?}", place.record, entry).into_bytes()
                };
                let lines = if *lines { some.iter().map(line).collect() } else { Vec::new() };
                Parcel { entries: some.to_vec(), lines }
            });
            let parcels: Vec<_> = parcels.collect();
            let mut receipt = store.parcels(now, source, parcels);
            receipt.first_rejects.sort_by_key(|(place, item)| (*place, item.reason.clone()));
            format!("{receipt:?}")
        }
        Happening::Changes(changes) => format!("{:?}", store.writer.record(now, "Ines", changes)),
        Happening::Rejects(numbers) => {
            let there = store.reader.rejects(true).unwrap();
            let numbers: Vec<_> =
                numbers.iter().copied().filter(|&n| there.iter().any(|r| r.number == n)).collect();
            let settled = match numbers.is_empty() {
                true => Ok(()),
                false => store.writer.settle_rejects(&numbers, 1),
            };
            format!("{settled:?}")
        }
        Happening::Assess(which, episodes) => {
            let waiting = store.reader.pending().unwrap();
            let Some(pending) = waiting.get(*which % waiting.len().max(1)) else {
                return String::new();
            };
            let of = |f: &ohmward::model::Finding| ohmward::model::Finding {
                asset: pending.asset.clone(),
                ..f.clone()
            };
            let episodes: Vec<_> = episodes.iter().map(of).collect();
            let settled = store.writer.settle(now, &pending.asset, pending.mark, &episodes);
            format!("{settled:?}")
        }
    }
}

/// Everything a reader can be asked, as text. How marks are numbered is a store's own affair.
fn everything(reader: &dyn Reader, when: When) -> Vec<String> {
    let mut told = Vec::new();
    let mut all = Vec::new();
    reader
        .for_each_reading(when, &mut |stored: &Stored| {
            all.push(stored.clone());
            Ok(())
        })
        .unwrap();
    told.push(format!("all {all:?}"));
    for asset in ["YT-001", "YT-002", "YT-003"].map(id) {
        told.push(format!("readings {:?}", reader.readings(&asset, when).unwrap()));
        told.push(format!("asset {:?}", reader.asset(&asset, when).unwrap()));
        told.push(format!("corrections {:?}", reader.corrections(&asset, when).unwrap()));
        told.push(format!("events {:?}", reader.events(Some(&asset), when).unwrap()));
        told.push(format!("findings {:?}", reader.findings(Some(&asset), when).unwrap()));
        told.push(format!("acts {:?}", reader.acts(Some(&asset), when).unwrap()));
    }
    for tester in ["", "T-1", "T-2"] {
        told.push(format!("proofs {:?}", reader.proofs(Some(tester), when).unwrap()));
        told.push(format!("uses {:?}", reader.uses_of_tester(tester, day(0), day(1)).unwrap()));
    }
    told.push(format!("assets {:?}", reader.assets(when).unwrap()));
    told.push(format!("registered {:?}", reader.assets_as_registered(when).unwrap()));
    told.push(format!("classes {:?}", reader.classes(when).unwrap()));
    told.push(format!("newest {:?}", reader.last_taken(when).unwrap()));
    told.push(format!("corrections {:?}", reader.all_corrections(when).unwrap()));
    told.push(format!("events {:?}", reader.events(None, when).unwrap()));
    told.push(format!("gear {:?}", reader.gear(when).unwrap()));
    told.push(format!("gear versions {:?}", reader.gear_versions(when).unwrap()));
    told.push(format!("proofs {:?}", reader.proofs(None, when).unwrap()));
    told.push(format!("aliases {:?}", reader.aliases(when).unwrap()));
    told.push(format!("tray {:?}", reader.tray(when).unwrap()));
    let changes = reader.changes().unwrap();
    let mut changes: Vec<_> = changes.iter().map(|change| format!("change {change:?}")).collect();
    changes.sort();
    told.extend(changes);
    told.push(format!("by hand {:?}", reader.entered_by_hand().unwrap()));
    told.push(format!("rejects {:?}", reader.rejects(true).unwrap()));
    told.push(format!("open rejects {:?}", reader.rejects(false).unwrap()));
    told.push(format!("findings {:?}", reader.findings(None, when).unwrap()));
    told.push(format!("acts {:?}", reader.acts(None, when).unwrap()));
    for batch in 0..8 {
        told.push(format!("batch {:?}", reader.batch(batch).unwrap()));
        for record in 1..12 {
            told.push(format!("line {:?}", reader.line(batch, record).unwrap()));
            let id = ReadingId { batch, record, part: 0 };
            told.push(format!("find {:?}", reader.find(id).unwrap()));
        }
    }
    let pending = reader.pending().unwrap();
    let pending: Vec<_> = pending.into_iter().map(|p| (p.asset, p.from)).collect();
    told.push(format!("pending {pending:?}"));
    told
}

fn check(history: &[Happening], part_bytes: usize) -> Result<(), TestCaseError> {
    let memory = MemoryStore::default();
    let mut plain =
        Both { writer: Box::new(memory.clone()), reader: Box::new(memory), _folder: None };
    let folder = tempfile::tempdir().unwrap();
    let store = SqliteStore::open(folder.path()).unwrap();
    let writer: Box<dyn Writer> = Box::new(store.writer().unwrap().with_part_bytes(part_bytes));
    let reader = store.reader().unwrap();
    let mut real = Both { writer, reader: Box::new(reader), _folder: Some(folder) };
    for (now, happening) in history.iter().enumerate() {
        let told = [&mut plain, &mut real].map(|store| happen(store, now as i64, happening));
        prop_assert_eq!(&told[0], &told[1], "at step {}", now);
    }
    let middle = day(100 + history.len() as i64 / 2);
    for when in [ALWAYS, as_of(day(1)), known_at(middle), When { as_of: day(0), known_at: middle }]
    {
        let expected = everything(plain.reader.as_ref(), when);
        let found = everything(real.reader.as_ref(), when);
        for (expected, found) in expected.iter().zip(&found) {
            prop_assert_eq!(expected, found, "{:?}", when);
        }
    }
    let complaints = real.reader.check().unwrap();
    let complaints: Vec<_> = complaints.iter().filter(|c| !c.starts_with("kept file")).collect();
    prop_assert!(complaints.is_empty(), "{:?}", complaints);
    Ok(())
}

/// Each case makes a database on the disk, so few by default; `PROPTEST_CASES` asks for more.
fn cases() -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok().and_then(|n| n.parse().ok());
    ProptestConfig::with_cases(asked.unwrap_or(32))
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn any_history_gives_the_same_answers(history in vec(any_happening(), 1..12)) {
        check(&history, 1 << 20)?;
    }

    #[test]
    fn runs_make_no_difference(history in vec(any_happening(), 1..8)) {
        check(&history, 1)?;
    }
}
