//! What a format makes of a record: raw readings and rejects, each with its place.

use std::borrow::Cow;
use std::fmt;

/// A short text as it was written; empty means "not stated".
pub type Text = compact_str::CompactString;

/// Where in its stream something stood.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The record, counted from 1 (a header or preamble line counts too).
    pub record: u64,
    /// The part of the record, counted from 0: one column per phase gives several readings.
    pub part: u16,
    /// Byte offset of the record in the original stream.
    pub offset: u64,
    /// Its length in the original bytes, without the line end.
    pub len: u64,
}

/// What a printed resistance means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Resistance {
    /// Ohms, measured on scale; above zero.
    Measured(f64),
    /// At least this many ohms; none: the text gave no number and the profile no range,
    /// so that the tester's full scale has to say it.
    Over(Option<f64>),
    /// At most this many ohms; none: a printed zero, so that the tester's lowest reading has to say it.
    Under(Option<f64>),
}

/// Measured, at least or at most, where a format writes it in a column of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// `=`
    Measured,
    /// `>`
    Over,
    /// `<`
    Under,
}

/// What a stated temperature was the temperature of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TemperatureOf {
    /// The winding.
    Winding,
    /// The air around.
    Ambient,
}

/// How finely a time was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Precision {
    /// To the second or better.
    Fine,
    /// To the minute.
    Minute,
    /// The day alone.
    Day,
}

/// What is uncertain about a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Nothing.
    None,
    /// An hour that exists twice, and file order could not tell which; the earlier was taken.
    RepeatedHour,
}

/// When a reading was taken, as far as the record says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// Microseconds since 1970-01-01T00:00:00Z.
    pub micros: i64,
    /// How finely it was written.
    pub precision: Precision,
    /// What is uncertain about it.
    pub doubt: Doubt,
}

/// One reading as its record gives it: numbers in SI units, texts as written and trimmed.
#[derive(Clone, Debug, PartialEq)]
pub struct RawReading {
    /// Where it stood.
    pub place: Place,
    /// When; none where the source has no clock.
    pub taken: Option<Taken>,
    /// The asset's id, slot number or other name as written; empty: not stated.
    pub asset: Text,
    /// The phase label after the profile's own mapping; empty: not stated.
    pub phase: Text,
    /// What the other lead was on; empty: not stated.
    pub against: Text,
    /// What else defines comparability.
    pub setup: Text,
    /// The resistance.
    pub resistance: Resistance,
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// Delivered voltage in volts.
    pub delivered_voltage_v: Option<f64>,
    /// Duration of the applied voltage in seconds.
    pub duration_s: Option<f64>,
    /// Temperature in degrees Celsius.
    pub temperature_c: Option<f64>,
    /// What it was of.
    pub temperature_of: Option<TemperatureOf>,
    /// Relative humidity in per cent.
    pub humidity_pct: Option<f64>,
    /// The tester's id.
    pub tester: Text,
    /// Who measured.
    pub operator: Text,
    /// Where.
    pub station: Text,
    /// Free text.
    pub remark: Text,
}

/// A record that could not become a reading: kept, with its place and the reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reject {
    /// Where it stood.
    pub place: Place,
    /// The original bytes, at most [`crate::REJECT_BYTES`] of them.
    pub bytes: Vec<u8>,
    /// A short kind for counting, such as `time`, `unit`, `number`, `too long`, `columns`.
    pub kind: &'static str,
    /// The column or placeholder at fault; empty where it is the whole record.
    pub field: Text,
    /// What was expected.
    pub expected: Cow<'static, str>,
    /// What was found, cut to a readable length.
    pub found: Text,
}

impl fmt::Display for Reject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Reject { place, kind, field, expected, found, .. } = self;
        write!(f, "record {} at byte {}: {kind}", place.record, place.offset)?;
        if !field.is_empty() {
            write!(f, " in `{field}`")?;
        }
        write!(f, ": expected {expected}, found `{found}`")
    }
}

/// What came out of some records: nothing is lost between the two.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parsed {
    /// Readings in file order.
    pub readings: Vec<RawReading>,
    /// Rejects in file order.
    pub rejects: Vec<Reject>,
    /// Records that carry no reading by their nature: headers, units rows, preambles, footers,
    /// blank lines, comments; and, in a run of records that are no text at all, those behind the
    /// first two, whose places cover them.
    pub silent: u64,
}
