//! One reading, packed narrow, and the names that many share.

use std::sync::Arc;

use crate::model::{Bound, Precision, Reading, Series, TemperatureOf, Text, TimeDoubt};
use crate::store::RecordPlace;

/// Where a reading is kept: in a series, or in the tray as written.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) struct Home {
    pub(super) series: Arc<Series>,
    /// In the tray: what was written for asset and phase.
    pub(super) written: Option<(Text, Text)>,
}

/// What readings seldom say one by one.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Note {
    pub(super) operator: Text,
    pub(super) station: Text,
    pub(super) remark: Text,
    pub(super) reason: Text,
}

/// Who measured with what: tester and note of a reading.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(super) struct Context {
    pub(super) tester: Text,
    pub(super) note: Note,
}

/// A number that is most often short: in thousandths, or by its place in a list of exact ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Short(i32);

impl Short {
    const NONE: Short = Short(i32::MIN);
    const MOST: i32 = 1_000_000_000;

    /// The value, kept in `exact` when thousandths would not be it.
    pub(super) fn new(value: Option<f64>, exact: &mut Vec<f64>) -> Self {
        let Some(value) = value else {
            return Short::NONE;
        };
        let whole = (value * 1000.0).round();
        if whole.abs() <= f64::from(Short::MOST) && whole / 1000.0 == value {
            return Short(whole as i32);
        }
        exact.push(value);
        Short(Short::MOST + exact.len() as i32)
    }

    /// The number for its column.
    pub(super) fn column(self, exact: &[f64]) -> Column {
        match self {
            Short::NONE => Column::None,
            Short(whole) if whole <= Short::MOST => Column::Thousandths(i64::from(whole)),
            Short(place) => Column::Exact(exact[(place - Short::MOST - 1) as usize]),
        }
    }
}

/// A number as the columns hold it: whole thousandths where that is exact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Column {
    None,
    Thousandths(i64),
    Exact(f64),
}

impl Column {
    /// The number itself, where there is one.
    pub(super) fn get(self) -> Option<f64> {
        match self {
            Column::None => None,
            Column::Thousandths(whole) => Some(whole as f64 / 1000.0),
            Column::Exact(value) => Some(value),
        }
    }
}

/// One reading, packed: some 700,000 of these are in memory twice.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    /// Record and part in one.
    place: u64,
    pub(super) taken_at: i64,
    pub(super) ohms: f64,
    pub(super) duration: Short,
    pub(super) temperature: Short,
    pub(super) delivered: Short,
    pub(super) humidity: Short,
    pub(super) home: u32,
    /// Context in the upper bits, then two each for bound, what the temperature was of, doubt about
    /// the time, precision.
    context_and_words: u32,
}

/// Where the part of a record begins in the column `flags`.
const PART_SHIFT: u32 = 6;

impl Row {
    pub(super) fn new(
        place: RecordPlace,
        reading: &Reading,
        (home, context): (u32, u32),
        exact: &mut Vec<f64>,
    ) -> Self {
        Row {
            place: place.record << 16 | u64::from(place.part),
            taken_at: reading.taken_at.micros(),
            ohms: reading.ohms,
            duration: Short::new(reading.duration_s, exact),
            temperature: Short::new(reading.temperature_c, exact),
            delivered: Short::new(reading.delivered_voltage_v, exact),
            humidity: Short::new(reading.humidity_pct, exact),
            home,
            context_and_words: context << 8 | words(reading),
        }
    }
    pub(super) fn place(&self) -> RecordPlace {
        RecordPlace { record: self.place >> 16, part: self.place as u16 }
    }
    pub(super) fn context(&self) -> usize {
        (self.context_and_words >> 8) as usize
    }
    pub(super) fn bound(&self) -> i64 {
        i64::from(self.context_and_words >> 6 & 3)
    }
    /// The column `flags`.
    pub(super) fn flags(&self) -> i64 {
        i64::from(self.context_and_words & 0x3F) | ((self.place & 0xFFFF) << PART_SHIFT) as i64
    }
    pub(super) fn precision(&self) -> Precision {
        match self.context_and_words & 3 {
            0 => Precision::Fine,
            1 => Precision::Minute,
            _ => Precision::Day,
        }
    }
}

/// The part of a record out of the column `flags`.
pub(super) fn part_of(flags: i64) -> u16 {
    (flags >> PART_SHIFT) as u16
}

fn words(reading: &Reading) -> u32 {
    let precision = match reading.precision {
        Precision::Fine => 0,
        Precision::Minute => 1,
        Precision::Day => 2,
    };
    let doubt = match reading.time_doubt {
        TimeDoubt::None => 0,
        TimeDoubt::RepeatedHour => 1,
        TimeDoubt::Arrival => 2,
        TimeDoubt::Given => 3,
    };
    let of = match reading.temperature_of {
        None => 0,
        Some(TemperatureOf::Winding) => 1,
        Some(TemperatureOf::Ambient) => 2,
    };
    let bound = match reading.bound {
        Bound::Measured => 0,
        Bound::Over => 1,
        Bound::Under => 2,
    };
    precision | doubt << 2 | of << 4 | bound << 6
}
