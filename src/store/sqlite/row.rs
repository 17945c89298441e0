//! One reading, packed narrow, and the names that many share.

use std::sync::Arc;

use crate::model::{Bound, Precision, Reading, Series, TemperatureOf, Text, TimeDoubt};
use crate::store::RecordPlace;
use crate::store::same::NO_DURATION;

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

/// A number as the columns hold it: whole thousandths where that is exact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Column {
    None,
    Thousandths(i32),
    Exact(f64),
}

impl Column {
    /// The most thousandths, either way.
    const MOST: i32 = 1_000_000_000;

    fn new(value: Option<f64>) -> Self {
        let Some(value) = value else {
            return Column::None;
        };
        let whole = (value * 1000.0).round();
        match whole.abs() <= f64::from(Column::MOST) && whole / 1000.0 == value {
            true => Column::Thousandths(whole as i32),
            false => Column::Exact(value),
        }
    }

    /// The number itself, where there is one.
    pub(super) fn get(self) -> Option<f64> {
        match self {
            Column::None => None,
            Column::Thousandths(whole) => Some(f64::from(whole) / 1000.0),
            Column::Exact(value) => Some(value),
        }
    }
}

/// A [`Column`] in four bytes: an exact number by its place in a list.
#[derive(Clone, Copy, Debug)]
struct Short(i32);

impl Short {
    const NONE: i32 = i32::MIN;

    fn new(value: Option<f64>, exact: &mut Vec<f64>) -> Self {
        match Column::new(value) {
            Column::None => Short(Short::NONE),
            Column::Thousandths(whole) => Short(whole),
            Column::Exact(value) => {
                exact.push(value);
                Short(Column::MOST + exact.len() as i32)
            }
        }
    }

    fn column(self, exact: &[f64]) -> Column {
        match self.0 {
            Short::NONE => Column::None,
            whole if whole <= Column::MOST => Column::Thousandths(whole),
            place => Column::Exact(exact[(place - Column::MOST - 1) as usize]),
        }
    }
}

/// One reading, packed: some 500,000 of these are in memory twice.
#[derive(Clone, Copy, Debug)]
pub(super) struct Packed {
    place: u64,
    pub(super) taken_at: i64,
    ohms: f64,
    duration: Short,
    temperature: Short,
    delivered: Short,
    humidity: Short,
    pub(super) home: u32,
    pub(super) words: Words,
}

impl Packed {
    pub(super) fn new(
        place: RecordPlace,
        reading: &Reading,
        (home, context): (u32, u32),
        exact: &mut Vec<f64>,
    ) -> Self {
        Packed {
            place: place.record << 16 | u64::from(place.part),
            taken_at: reading.taken_at.micros(),
            ohms: reading.ohms,
            duration: Short::new(reading.duration_s, exact),
            temperature: Short::new(reading.temperature_c, exact),
            delivered: Short::new(reading.delivered_voltage_v, exact),
            humidity: Short::new(reading.humidity_pct, exact),
            home,
            words: Words::new(reading, context),
        }
    }

    /// The row, given the list that its exact numbers are in.
    pub(super) fn row(&self, exact: &[f64]) -> Row {
        Row {
            place: self.place,
            taken_at: self.taken_at,
            ohms: self.ohms,
            duration: self.duration.column(exact),
            temperature: self.temperature.column(exact),
            delivered: self.delivered.column(exact),
            humidity: self.humidity.column(exact),
            home: self.home,
            words: self.words,
        }
    }
}

/// One reading on its way into the table. Record and part are in one number.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    place: u64,
    pub(super) taken_at: i64,
    pub(super) ohms: f64,
    duration: Column,
    pub(super) temperature: Column,
    pub(super) delivered: Column,
    pub(super) humidity: Column,
    pub(super) home: u32,
    pub(super) words: Words,
}

/// Where the part of a record begins in the column `flags`.
const PART_SHIFT: u32 = 6;

impl Row {
    pub(super) fn place(&self) -> RecordPlace {
        RecordPlace { record: self.place >> 16, part: self.place as u16 }
    }

    /// The duration as part of the key.
    pub(super) fn duration(&self) -> f64 {
        self.duration.get().unwrap_or(NO_DURATION)
    }

    /// The column `flags`.
    pub(super) fn flags(&self) -> i64 {
        i64::from(self.words.0 & 0x3F) | ((self.place & 0xFFFF) << PART_SHIFT) as i64
    }

    /// Bytes of a row in the spool.
    pub(super) const BYTES: usize = 64;

    /// The row as bytes; NaN stands for "not stated".
    pub(super) fn to_bytes(self) -> [u8; Row::BYTES] {
        let mut bytes = [0; Row::BYTES];
        let number = |column: Column| column.get().unwrap_or(f64::NAN).to_bits();
        let words = u64::from(self.home) << 32 | u64::from(self.words.0);
        let all = [
            self.place,
            self.taken_at as u64,
            self.ohms.to_bits(),
            number(self.duration),
            number(self.temperature),
            number(self.delivered),
            number(self.humidity),
            words,
        ];
        for (to, value) in bytes.chunks_exact_mut(8).zip(all) {
            to.copy_from_slice(&value.to_le_bytes());
        }
        bytes
    }

    /// Back from [`Row::to_bytes`].
    pub(super) fn from_bytes(bytes: &[u8; Row::BYTES]) -> Row {
        let (values, _) = bytes.as_chunks::<8>();
        let value = |i: usize| u64::from_le_bytes(values[i]);
        let number = |i| Column::new(Some(f64::from_bits(value(i))).filter(|v| !v.is_nan()));
        Row {
            place: value(0),
            taken_at: value(1) as i64,
            ohms: f64::from_bits(value(2)),
            duration: number(3),
            temperature: number(4),
            delivered: number(5),
            humidity: number(6),
            home: (value(7) >> 32) as u32,
            words: Words(value(7) as u32),
        }
    }
}

/// The part of a record out of the column `flags`.
pub(super) fn part_of(flags: i64) -> u16 {
    (flags >> PART_SHIFT) as u16
}

/// Context in the upper bits, then two each for bound, what the temperature was of, doubt about the
/// time, precision.
#[derive(Clone, Copy, Debug)]
pub(super) struct Words(u32);

impl Words {
    fn new(reading: &Reading, context: u32) -> Self {
        Words(context << 8 | words(reading))
    }

    pub(super) fn context(self) -> usize {
        (self.0 >> 8) as usize
    }

    pub(super) fn bound(self) -> i64 {
        i64::from(self.0 >> 6 & 3)
    }

    pub(super) fn precision(self) -> Precision {
        match self.0 & 3 {
            0 => Precision::Fine,
            1 => Precision::Minute,
            _ => Precision::Day,
        }
    }
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
