//! A profile as written: TOML tables, every key by name, an unknown one refused at its line.
//!
//! The commented example is `profiles/quay-handheld.toml`; the keys are explained here.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::fields::Field;
use crate::format::{Delimited, Instrument, Tagged, Template};
use crate::piece::unit::Quantity;

/// The whole file.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Written {
    /// What it is the profile of, in one line.
    pub(crate) title: String,
    /// Caveats, written for a person: what the export leaves out, which setting it needs.
    #[serde(default)]
    pub(crate) about: String,
    /// One of the formats: `canonical`, `delimited`, `template`, `tagged`, `instrument`, `jsonl`.
    pub(crate) format: String,
    /// Encoding label (WHATWG) of streams that are not Unicode; none: it is guessed.
    pub(crate) encoding: Option<String>,
    /// Questions that a draft left open, by key: while one stands here the profile is refused, so
    /// that nothing is read by an assumption. Whoever answers one takes it out of the list.
    #[serde(default)]
    pub(crate) unanswered: Vec<String>,
    /// How a stream is told from others.
    #[serde(default)]
    pub(crate) recognise: Recognise,
    /// Layout of `delimited`.
    pub(crate) delimited: Option<Delimited>,
    /// Layout of `template`.
    pub(crate) template: Option<Template>,
    /// Layout of `tagged`.
    pub(crate) tagged: Option<Tagged>,
    /// Layout of `instrument`.
    pub(crate) instrument: Option<Instrument>,
    /// How numbers are written.
    #[serde(default)]
    pub(crate) numbers: Numbers,
    /// How times are written.
    #[serde(default)]
    pub(crate) time: Times,
    /// Field → its names as column or key, several spellings; compared without regard to case.
    /// Several `remark` columns are joined by `; `.
    #[serde(default)]
    pub(crate) columns: BTreeMap<Field, Vec<String>>,
    /// Columns or keys that are known and not needed: no warning is given of them.
    #[serde(default)]
    pub(crate) ignore: Vec<String>,
    /// Quantity → unit where neither cell nor header nor a unit column states one.
    #[serde(default)]
    pub(crate) units: BTreeMap<Quantity, String>,
    /// What holds for every record, where the record itself says nothing.
    #[serde(default)]
    pub(crate) constants: Constants,
    /// Label as written → phase. A label that is not here stays as written.
    #[serde(default)]
    pub(crate) phases: BTreeMap<String, String>,
    /// Label as written → what the other lead was on.
    #[serde(default)]
    pub(crate) against: BTreeMap<String, String>,
    /// Label that names both leads, such as `U-V` → phase and what the other lead was on.
    #[serde(default)]
    pub(crate) pairs: BTreeMap<String, (String, String)>,
    /// Word in the column `bound` → `=`, `>`, `<`, or empty: it says nothing of the bound.
    #[serde(default)]
    pub(crate) bounds: BTreeMap<String, String>,
    /// Marks and limits of the resistance.
    #[serde(default)]
    pub(crate) resistance: Resistances,
    /// Range limits that go with a test voltage: before `resistance.full_scale`.
    #[serde(default)]
    pub(crate) range: Vec<Range>,
    /// Several resistances in a record, one column each, in place of a column `resistance`.
    #[serde(default)]
    pub(crate) wide: Vec<Wide>,
}

impl Written {
    /// The layout tables that are there, by the names of their formats.
    pub(crate) fn tables(&self) -> impl Iterator<Item = &'static str> {
        let tables = [
            ("delimited", self.delimited.is_some()),
            ("template", self.template.is_some()),
            ("tagged", self.tagged.is_some()),
            ("instrument", self.instrument.is_some()),
        ];
        tables.into_iter().filter(|(_, there)| *there).map(|(name, _)| name)
    }
}

/// All rules that are given must hold for the first 64 KiB of a stream.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Recognise {
    /// The text begins so.
    pub(crate) starts_with: Option<String>,
    /// Each of these texts occurs.
    #[serde(default)]
    pub(crate) contains: Vec<String>,
    /// One of the first lines, split by the separator, has all of these cells (a unit behind a
    /// name does not matter).
    #[serde(default)]
    pub(crate) header: Vec<String>,
    /// The profile itself makes readings of it: of the first records that are not silent at least
    /// half.
    #[serde(default)]
    pub(crate) reads: bool,
}

/// How numbers are written.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Numbers {
    /// Decimal mark, `.` or `,`; none: `.`.
    pub(crate) decimal: Option<char>,
    /// Thousands mark; none: not used, and a number that seems to have one is a reject.
    pub(crate) thousands: Option<char>,
}

/// How times are written.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Times {
    /// IANA zone of times without an offset.
    pub(crate) zone: Option<String>,
    /// Patterns of the field `taken_at`: `strftime` letters, or `rfc3339`.
    #[serde(default)]
    pub(crate) taken_at: Vec<String>,
    /// Patterns of the field `date`.
    #[serde(default)]
    pub(crate) date: Vec<String>,
    /// Patterns of the field `time`.
    #[serde(default)]
    pub(crate) time: Vec<String>,
    /// An empty time is a tester without a clock, not a fault.
    #[serde(default)]
    pub(crate) optional: bool,
}

/// What holds for every record; the names are those of the fields of a reading.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Constants {
    pub(crate) asset: Option<String>,
    pub(crate) phase: Option<String>,
    pub(crate) against: Option<String>,
    pub(crate) setup: Option<String>,
    pub(crate) test_voltage_v: Option<f64>,
    pub(crate) duration_s: Option<f64>,
    pub(crate) temperature_of: Option<TemperatureOf>,
    pub(crate) tester: Option<String>,
    pub(crate) operator: Option<String>,
    pub(crate) station: Option<String>,
}

/// What a temperature is of.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum TemperatureOf {
    Winding,
    Ambient,
}

/// Marks and limits of the resistance.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Resistances {
    /// More texts that mean over-range, such as `---`.
    #[serde(default)]
    pub(crate) over: Vec<String>,
    /// Texts that mean under-range.
    #[serde(default)]
    pub(crate) under: Vec<String>,
    /// Texts that mean "no reading here": like an empty cell.
    #[serde(default)]
    pub(crate) empty: Vec<String>,
    /// Range limit with its unit, such as `550 MΩ`: what `OL` is at least.
    pub(crate) full_scale: Option<String>,
    /// The full scale printed without a mark is over-range.
    #[serde(default)]
    pub(crate) full_scale_is_over: bool,
    /// Lowest reading with its unit: what a printed zero is at most.
    pub(crate) lowest: Option<String>,
}

/// The range limit at one test voltage.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Range {
    /// In volts.
    pub(crate) test_voltage_v: f64,
    /// With its unit.
    pub(crate) full_scale: String,
}

/// One column of a table that has a column per phase, duration or test voltage. What it does not
/// say is as the record or the constants say.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wide {
    /// Its names, several spellings.
    pub(crate) columns: Vec<String>,
    /// The phase it is of.
    pub(crate) phase: Option<String>,
    /// What the other lead was on.
    pub(crate) against: Option<String>,
    /// After how many seconds it was read.
    pub(crate) duration_s: Option<f64>,
    /// Nominal test voltage in volts.
    pub(crate) test_voltage_v: Option<f64>,
}
