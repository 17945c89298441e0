//! When two readings are one, in which order readings stand, and what a change touches: rules that
//! every store shares.

use std::cmp::Ordering;

use super::{RecordPlace, RejectItem, Result, Source};
use crate::model::{
    Alias, AssetId, Precision, Reading, ReadingId, Series, Stamp, TemperatureOf, Text,
};

/// Whether two deliveries are the same to the rule of duplicates: the same kept file, or the same
/// connection. Anything else is a delivery of its own.
pub(crate) fn same_delivery(a: &Source, b: &Source) -> bool {
    match (&a.file, &b.file) {
        (Some(a), Some(b)) => a.digest == b.digest,
        (None, None) => a.kind == "serial" && same_name(a, b),
        _ => false,
    }
}

/// Whether two sources are called the same.
pub(crate) fn same_name(a: &Source, b: &Source) -> bool {
    a.kind == b.kind && a.name == b.name && a.profile == b.profile
}

/// How a stored reading stands to an incoming one with the same natural key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Slot {
    /// It is that very record, or one that says the same.
    Duplicate {
        /// Whether it is that very record.
        same_record: bool,
    },
    /// It belongs to another record of the same delivery, and the times are too coarse to tell the
    /// two apart: both count.
    Apart,
    /// It says something else in these fields.
    Differs(Vec<&'static str>),
}

/// What is known of where two readings with the same natural key come from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Origins {
    /// They come from one delivery.
    pub(crate) same_delivery: bool,
    /// They come from sources called the same that aren't files.
    pub(crate) same_stream: bool,
    /// They have the same record and part.
    pub(crate) same_place: bool,
    /// The incoming one is from a kept file.
    pub(crate) from_file: bool,
}

impl Origins {
    /// Of an incoming record and a stored one; `one_call` when both came in one call.
    pub(crate) fn of(
        (incoming, place): (&Source, RecordPlace),
        (stored, stored_place): (&Source, RecordPlace),
        one_call: bool,
    ) -> Self {
        let files = incoming.file.is_some() || stored.file.is_some();
        Origins {
            same_delivery: one_call || same_delivery(incoming, stored),
            same_stream: !files && incoming.kind != "hand" && same_name(incoming, stored),
            same_place: place == stored_place,
            from_file: incoming.file.is_some(),
        }
    }

    /// The rule of duplicates for one stored reading; `differences` is asked only where it matters.
    pub(crate) fn judge(
        self,
        precision: Precision,
        differences: impl FnOnce() -> Result<Vec<&'static str>>,
    ) -> Result<Slot> {
        let same_record = self.same_place && (self.same_delivery || self.same_stream);
        if same_record && self.from_file {
            return Ok(Slot::Duplicate { same_record });
        }
        if self.same_delivery && !same_record && precision != Precision::Fine {
            return Ok(Slot::Apart);
        }
        let fields = differences()?;
        Ok(match fields.is_empty() {
            true => Slot::Duplicate { same_record },
            false => Slot::Differs(fields),
        })
    }
}

/// What a reading says beyond its natural key. How finely the time was written and what is
/// doubtful about it are not among it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rest<'a> {
    pub(crate) delivered_voltage_v: Option<f64>,
    pub(crate) temperature_c: Option<f64>,
    pub(crate) temperature_of: Option<TemperatureOf>,
    pub(crate) humidity_pct: Option<f64>,
    pub(crate) operator: &'a str,
    pub(crate) station: &'a str,
    pub(crate) remark: &'a str,
}

impl<'a> Rest<'a> {
    /// Of a reading.
    pub(crate) fn of(reading: &'a Reading) -> Self {
        Rest {
            delivered_voltage_v: reading.delivered_voltage_v,
            temperature_c: reading.temperature_c,
            temperature_of: reading.temperature_of,
            humidity_pct: reading.humidity_pct,
            operator: &reading.operator,
            station: &reading.station,
            remark: &reading.remark,
        }
    }

    /// The fields in which the two differ, as the canonical CSV spells them.
    pub(crate) fn differences(&self, other: &Rest<'_>) -> Vec<&'static str> {
        [
            ("delivered_voltage_v", self.delivered_voltage_v == other.delivered_voltage_v),
            ("temperature_c", self.temperature_c == other.temperature_c),
            ("temperature_of", self.temperature_of == other.temperature_of),
            ("humidity_pct", self.humidity_pct == other.humidity_pct),
            ("operator", self.operator == other.operator),
            ("station", self.station == other.station),
            ("remark", self.remark == other.remark),
        ]
        .into_iter()
        .filter_map(|(field, same)| (!same).then_some(field))
        .collect()
    }
}

/// The reject of a reading that says something else than a stored one under the same key.
pub(crate) fn conflict(bytes: Vec<u8>, stored: ReadingId, fields: &[&'static str]) -> RejectItem {
    let reason = format!(
        "expected a new reading, found one equal to reading `{stored}` in series, time, tester, \
         bound, ohms and duration but different in `{}` (the first stands)",
        fields.join("`, `")
    );
    let (len, kind) = (bytes.len() as u64, "conflict".into());
    RejectItem { offset: 0, len, bytes, kind, reason: reason.into() }
}

/// By time, then series, then the rest of the natural key. Equal readings of one delivery keep
/// their order when the sort is stable.
pub(crate) fn by_time(a: &Reading, b: &Reading) -> Ordering {
    (a.taken_at, &a.series, &a.tester, a.bound)
        .cmp(&(b.taken_at, &b.series, &b.tester, b.bound))
        .then(a.ohms.total_cmp(&b.ohms))
        .then(key_duration(a).total_cmp(&key_duration(b)))
}

/// The duration as part of a key when it was not stated: below every real one.
pub(crate) const NO_DURATION: f64 = -1.0;

/// The duration as part of a key.
pub(crate) fn key_duration(reading: &Reading) -> f64 {
    reading.duration_s.unwrap_or(NO_DURATION)
}

/// The instant up to which one use of a tester counts as a use when a proof asks which assets it
/// can touch: the end of a block of 32 days. Coarse, so that a bench working with one tester does
/// not write a row about it with every reading; too late is safe, an asset is only looked at again.
pub(crate) fn use_until(taken_at: Stamp) -> Stamp {
    const BLOCK: i64 = 32 * crate::model::DAY_MICROS;
    let start = taken_at.micros().div_euclid(BLOCK).saturating_mul(BLOCK);
    Stamp::from_micros(start.saturating_add(BLOCK - 1))
}

/// The series under which a tray reading is kept: asset and phase have no meaning there.
pub(crate) fn tray_series(series: &Series) -> Series {
    let (asset, phase) = super::unplaced();
    Series { asset, phase, ..series.clone() }
}

/// What makes two aliases one: the written texts, the first instant, and, with nothing written
/// for the asset, the asset.
pub(crate) fn alias_key(alias: &Alias) -> (Text, Option<AssetId>, Text, Option<Stamp>) {
    let own_id = alias.written.is_empty().then(|| alias.asset.clone());
    (alias.written.clone(), own_id, alias.phase_written.clone(), alias.from)
}
