//! One resistance at one instant with its circumstances, and the series it belongs to.

use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::ops::Deref;
use std::sync::Arc;

use super::{AssetId, Invalid, Phase, Stamp, Text, words};
use crate::limits;

words!(
    /// What a resistance means: the number, at least the number, at most the number.
    Bound, "bound", {
    /// Measured on scale.
    Measured => "=",
    /// Over-range: the true value is at least the number.
    Over => ">",
    /// Under-range: the true value is at most the number.
    Under => "<",
});

words!(
    /// What the stated temperature was the temperature of.
    TemperatureOf, "temperature_of", {
    /// The winding itself.
    Winding => "winding",
    /// The air around; it may differ from the winding by tens of kelvin.
    Ambient => "ambient",
});

words!(
    /// How finely the time was written.
    Precision, "precision", {
    /// To the second or better.
    Fine => "second",
    /// To the minute.
    Minute => "minute",
    /// The day alone; the instant is the start of that day in the source's zone.
    Day => "day",
});

words!(
    /// What is uncertain about the time.
    TimeDoubt, "time_doubt", {
    /// Nothing.
    None => "none",
    /// An hour that exists twice, and file order could not tell which.
    RepeatedHour => "repeated hour",
    /// The source has no clock: the time is that of arrival.
    Arrival => "arrival",
    /// The source has no clock: the date was given at import.
    Given => "given",
});

/// A voltage in volts: finite and above zero, so that it can be part of a key.
#[derive(Clone, Copy, Debug)]
pub struct Volts(f64);

impl Volts {
    /// From volts; refuses what no tester puts on an insulation.
    pub fn new(field: &'static str, volts: f64) -> Result<Self, Invalid> {
        if volts.is_finite() && volts > 0.0 && volts <= 1e6 {
            Ok(Volts(volts))
        } else {
            Err(Invalid::new(field, "a voltage above 0 and up to 1000000 V", volts))
        }
    }

    /// The number of volts.
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl PartialEq for Volts {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}
impl Eq for Volts {}
impl PartialOrd for Volts {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Volts {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.total_cmp(&other.0)
    }
}
impl Hash for Volts {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.0.to_bits().hash(state);
    }
}

/// All comparable readings: what was tested, against what, in which setup, at which nominal voltage.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Series {
    /// The thing tested.
    pub asset: AssetId,
    /// What the live lead was on.
    pub phase: Phase,
    /// What the other lead was on: `case` or another phase.
    pub against: Text,
    /// What else defines comparability; empty by default.
    pub setup: Text,
    /// Nominal test voltage; a missing voltage is a value of its own.
    pub test_voltage: Option<Volts>,
}

/// What the other lead is on unless stated.
pub const CASE: &str = "case";

/// The facts of a reading before they are checked; see [`Reading::new`].
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// The series it belongs to, shared by all its readings.
    pub series: Arc<Series>,
    /// When it was measured.
    pub taken_at: Stamp,
    /// How finely that was written.
    pub precision: Precision,
    /// What is uncertain about it.
    pub time_doubt: TimeDoubt,
    /// Ohms, positive and finite; what they mean is `bound`.
    pub ohms: f64,
    /// Measured, at least or at most.
    pub bound: Bound,
    /// Volts that the tester delivered under load.
    pub delivered_voltage_v: Option<f64>,
    /// Seconds of applied voltage until the value was taken.
    pub duration_s: Option<f64>,
    /// Degrees Celsius.
    pub temperature_c: Option<f64>,
    /// What that temperature was of.
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

/// A reading whose facts were checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading(Facts);

impl Deref for Reading {
    type Target = Facts;
    fn deref(&self) -> &Facts {
        &self.0
    }
}

impl Reading {
    /// Checks the facts; the error names the field as the canonical CSV spells it.
    pub fn new(facts: Facts) -> Result<Self, Invalid> {
        if !(facts.ohms >= limits::OHMS_MIN && facts.ohms <= limits::OHMS_MAX) {
            return Err(Invalid::new("resistance_ohm", "ohms between 1e-3 and 1e18", facts.ohms));
        }
        let within = |field, value: Option<f64>, low: f64, high: f64| match value {
            Some(v) if !(v >= low && v <= high) => {
                Err(Invalid::new(field, format!("a number from {low} to {high}"), v))
            }
            _ => Ok(()),
        };
        within("delivered_voltage_v", facts.delivered_voltage_v, 0.0, 1e6)?;
        within("duration_s", facts.duration_s, 0.0, 1e6)?;
        within("temperature_c", facts.temperature_c, -90.0, 400.0)?;
        within("humidity_pct", facts.humidity_pct, 0.0, 100.0)?;
        Ok(Reading(facts))
    }

    /// log10 of the ohms: the scale of every fit.
    pub fn log_ohm(&self) -> f64 {
        self.ohms.log10()
    }

    /// The same measurement under another asset and phase: a correction's effect.
    pub fn moved(&self, series: Arc<Series>) -> Self {
        Reading(Facts { series, ..self.0.clone() })
    }

    /// The facts, to change and check again.
    pub fn into_facts(self) -> Facts {
        self.0
    }
}

/// Where a reading came from: batch, record in it, and part of a record that holds several.
/// Written `12.345` or `12.345.2`; the way to its raw record and the name a person uses for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ReadingId {
    /// The batch, gap-free in this installation.
    pub batch: u64,
    /// The record in the batch, counted from 1.
    pub record: u64,
    /// The part of the record, counted from 0 (one column per phase gives several).
    pub part: u16,
}

impl fmt::Display for ReadingId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.batch, self.record)?;
        if self.part > 0 {
            write!(f, ".{}", self.part)?;
        }
        Ok(())
    }
}

impl ReadingId {
    /// Reads `12.345` or `12.345.2`.
    pub fn parse(text: &str) -> Result<Self, Invalid> {
        let wrong = || Invalid::new("reading", "an id like `12.345` (see `history`)", text);
        let mut parts = text.trim().split('.');
        let mut next = || parts.next().and_then(|p| p.parse::<u64>().ok());
        let (Some(batch), Some(record)) = (next(), next()) else {
            return Err(wrong());
        };
        let part = match parts.next() {
            None => 0,
            Some(p) => p.parse().map_err(|_| wrong())?,
        };
        if parts.next().is_some() {
            return Err(wrong());
        }
        Ok(ReadingId { batch, record, part })
    }
}
