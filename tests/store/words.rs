//! Short words for what the tests put in. Names are of the invented harbour Kestrel Quay.

use std::sync::Arc;

use ohmward::model::{
    Asset, AssetId, Bound, Correction, CorrectionKind, Event, EventKind, Facts, Finding,
    FindingKind, FindingState, Phase, Precision, Proof, ProofKind, ProofMoment, Reading, ReadingId,
    Series, Stamp, Text, TimeDoubt, Volts,
};
use ohmward::store::{
    Entry, KeptFile, Parcel, Reader, Receipt, RecordPlace, RejectItem, Source, Stored, TrayItem,
    When, Writer,
};

/// A store's two sides.
pub(crate) struct Both {
    pub(crate) writer: Box<dyn Writer>,
    pub(crate) reader: Box<dyn Reader>,
    /// Lives as long as the store in it.
    pub(crate) _folder: Option<tempfile::TempDir>,
}

pub(crate) const ALWAYS: When = When::ALWAYS;

/// The start of a day, counted from 2026-01-01 in UTC.
pub(crate) fn day(n: i64) -> Stamp {
    Stamp::parse("2026-01-01").unwrap().plus_days(n as f64)
}

pub(crate) fn as_of(at: Stamp) -> When {
    When { as_of: at, ..ALWAYS }
}

pub(crate) fn known_at(at: Stamp) -> When {
    When { known_at: at, ..ALWAYS }
}

pub(crate) fn id(asset: &str) -> AssetId {
    AssetId::new(asset).unwrap()
}

pub(crate) fn phase(label: &str) -> Phase {
    Phase::new(label).unwrap()
}

/// A plain reading, to the second, on tester T-1 at 500 V for 60 s; `change` makes it less plain.
pub(crate) fn reading(
    asset: &str,
    label: &str,
    at: Stamp,
    ohms: f64,
    change: impl FnOnce(&mut Facts),
) -> Reading {
    let series = Arc::new(Series {
        asset: id(asset),
        phase: phase(label),
        against: "case".into(),
        setup: Text::default(),
        test_voltage: Some(Volts::new("test_voltage_v", 500.0).unwrap()),
    });
    let mut facts = Facts {
        series,
        taken_at: at,
        precision: Precision::Fine,
        time_doubt: TimeDoubt::None,
        ohms,
        bound: Bound::Measured,
        delivered_voltage_v: None,
        duration_s: Some(60.0),
        temperature_c: None,
        temperature_of: None,
        humidity_pct: None,
        tester: "T-1".into(),
        operator: Text::default(),
        station: Text::default(),
        remark: Text::default(),
    };
    change(&mut facts);
    Reading::new(facts).unwrap()
}

pub(crate) fn plain(asset: &str, label: &str, at: Stamp, ohms: f64) -> Reading {
    reading(asset, label, at, ohms, |_| {})
}

/// A plain reading of which only the day is known.
pub(crate) fn on_day(asset: &str, at: Stamp, ohms: f64) -> Reading {
    reading(asset, "U", at, ohms, |f| f.precision = Precision::Day)
}

pub(crate) fn tray(reading: Reading, asset: &str, label: &str) -> Entry {
    Entry::Tray(TrayItem {
        reading,
        written_asset: asset.into(),
        written_phase: label.into(),
        reason: "no such asset".into(),
    })
}

pub(crate) fn reject(bytes: &str) -> Entry {
    Entry::Reject(RejectItem {
        offset: 7,
        len: bytes.len() as u64,
        bytes: bytes.as_bytes().to_vec(),
        kind: "number".into(),
        reason: "expected ohms".into(),
    })
}

pub(crate) fn file(name: &str) -> Source {
    let digest = blake3::hash(name.as_bytes()).to_hex().as_str().into();
    Source {
        kind: "file".into(),
        name: name.into(),
        profile: "canonical".into(),
        file: Some(KeptFile { digest, bytes: 99 }),
    }
}

pub(crate) fn serial(name: &str) -> Source {
    Source { kind: "serial".into(), name: name.into(), profile: "tagged".into(), file: None }
}

pub(crate) fn place(record: u64) -> RecordPlace {
    RecordPlace { record, part: 0 }
}

/// Entries under records 1, 2, 3 …, each in a parcel of its own.
pub(crate) fn numbered(entries: Vec<Entry>) -> Vec<Parcel> {
    let parcel =
        |(i, entry)| Parcel { entries: vec![(place(i as u64 + 1), entry)], lines: Vec::new() };
    entries.into_iter().enumerate().map(parcel).collect()
}

pub(crate) fn first_met(id: AssetId) -> Asset {
    Asset { site: "Kestrel Quay".into(), ..Asset::first_met(id) }
}

impl Both {
    /// Takes entries in under records 1, 2, 3 ….
    pub(crate) fn receive(&mut self, now: Stamp, source: &Source, entries: Vec<Entry>) -> Receipt {
        self.parcels(now, source, numbered(entries))
    }

    pub(crate) fn parcels(&mut self, now: Stamp, source: &Source, parcels: Vec<Parcel>) -> Receipt {
        self.writer.receive(now, source, &first_met, &mut parcels.into_iter()).unwrap()
    }

    pub(crate) fn readings(
        &mut self,
        now: Stamp,
        source: &Source,
        readings: &[Reading],
    ) -> Receipt {
        let entries = readings.iter().cloned().map(Entry::Reading).collect();
        self.receive(now, source, entries)
    }

    pub(crate) fn stored(&self, asset: &str) -> Vec<Stored> {
        self.reader.readings(&id(asset), ALWAYS).unwrap()
    }

    pub(crate) fn ohms(&self, asset: &str) -> Vec<f64> {
        self.stored(asset).iter().map(|s| s.reading.ohms).collect()
    }

    pub(crate) fn waiting(&self) -> Vec<(String, Stamp)> {
        let all = self.reader.pending().unwrap();
        all.into_iter().map(|p| (p.asset.to_string(), p.from)).collect()
    }

    /// Settles everything that waits, without findings.
    pub(crate) fn settle_all(&mut self, now: Stamp) {
        for pending in self.reader.pending().unwrap() {
            self.writer.settle(now, &pending.asset, pending.mark, &[]).unwrap();
        }
    }
}

pub(crate) fn counts(receipt: &Receipt) -> (u64, u64, u64, u64) {
    (receipt.accepted, receipt.duplicate, receipt.tray, receipt.rejected)
}

pub(crate) fn event(asset: &str, at: Stamp, kind: &str, remark: &str) -> Event {
    Event { at, asset: id(asset), kind: EventKind::parse(kind).unwrap(), remark: remark.into() }
}

pub(crate) fn proof(tester: &str, at: Stamp, passed: bool) -> Proof {
    Proof {
        at,
        tester: tester.into(),
        kind: ProofKind::Open,
        value: None,
        unit: Text::default(),
        passed,
        moment: ProofMoment::Before,
        remark: Text::default(),
    }
}

pub(crate) fn correction(reading: ReadingId, kind: CorrectionKind) -> Correction {
    Correction { reading, kind, reason: "seen on the bench".into() }
}

pub(crate) fn moved(reading: ReadingId, asset: &str, label: &str) -> Correction {
    correction(reading, CorrectionKind::Move { asset: id(asset), phase: phase(label) })
}

pub(crate) fn episode(
    asset: &str,
    kind: FindingKind,
    since: Stamp,
    until: Option<Stamp>,
) -> Finding {
    Finding {
        asset: id(asset),
        kind,
        phase: Some(phase("U")),
        since,
        until,
        state: FindingState::Open,
        reason: "it falls".into(),
        evidence: "{}".to_owned(),
    }
}
