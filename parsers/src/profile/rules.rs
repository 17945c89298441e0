//! What a profile says of cells, checked and made ready: numbers, units, times, names, marks.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;

use crate::fault::Wrong;
use crate::fields::Field;
use crate::piece::number::{Style, num};
use crate::piece::resistance;
use crate::piece::time::{self, Pattern};
use crate::piece::unit::{self, Quantity, Unit, unit};
use crate::profile::wire::{Constants, TemperatureOf, Written};
use crate::raw;

/// The rules of one profile.
#[derive(Clone, Debug)]
pub(crate) struct Rules {
    pub(crate) resistance: resistance::Rules,
    pub(crate) time: time::Rules,
    pub(crate) time_optional: bool,
    /// Texts that are like an empty cell where a resistance is due.
    pub(crate) empty: Vec<String>,
    /// Units where nothing nearer states one, by [`Field::index`].
    pub(crate) units: [Option<Unit>; Field::COUNT],
    /// Range limit in ohms by test voltage in volts.
    pub(crate) ranges: Vec<(f64, f64)>,
    pub(crate) phases: BTreeMap<String, String>,
    pub(crate) against: BTreeMap<String, String>,
    pub(crate) pairs: BTreeMap<String, (String, String)>,
    /// What a word in the column of the bound says; none: nothing.
    pub(crate) bounds: BTreeMap<String, Option<raw::Bound>>,
    pub(crate) constants: Constants,
}

impl Rules {
    pub(crate) fn new(written: &Written) -> Result<Rules, Wrong> {
        let style = style(written)?;
        let limit = |key: &str, text: &Option<String>| {
            text.as_deref().map(|text| ohms(key, text, style)).transpose()
        };
        let marks = &written.resistance;
        let resistance = resistance::Rules {
            style,
            over: marks.over.clone(),
            under: marks.under.clone(),
            full_scale: limit("resistance.full_scale", &marks.full_scale)?,
            full_scale_is_over: marks.full_scale_is_over,
            lowest: limit("resistance.lowest", &marks.lowest)?,
        };
        let mut ranges = Vec::new();
        for range in &written.range {
            let top = ohms("range.full_scale", &range.full_scale, style)?;
            ranges.push((range.test_voltage_v, top));
        }
        if marks.full_scale_is_over && resistance.full_scale.is_none() && ranges.is_empty() {
            let expected = "`resistance.full_scale` beside `full_scale_is_over`";
            return Err(Wrong::new(expected, "none"));
        }
        let mut units = [None; Field::COUNT];
        for (&quantity, text) in &written.units {
            let found = unit(quantity, text).ok_or_else(|| {
                Wrong::new(format!("in `[units]` {}", unit::expected(quantity)), text)
            })?;
            for field in fields_of(quantity) {
                units[field.index()] = Some(found);
            }
        }
        Ok(Rules {
            resistance,
            time: times(written)?,
            time_optional: written.time.optional,
            empty: marks.empty.clone(),
            units,
            ranges,
            phases: written.phases.clone(),
            against: written.against.clone(),
            pairs: written.pairs.clone(),
            bounds: bounds(written)?,
            constants: written.constants.clone(),
        })
    }

    /// Whether some pattern needs the zone.
    pub(crate) fn has_local_times(&self) -> bool {
        self.time.whole.iter().any(Pattern::is_local) || !self.time.date.is_empty()
    }

    /// The range limit at a test voltage in volts, as far as the profile lists it.
    pub(crate) fn range_at(&self, test_voltage_v: Option<f64>) -> Option<f64> {
        let volts = test_voltage_v?;
        self.ranges.iter().find(|(at, _)| (at - volts).abs() < 0.5).map(|&(_, top)| top)
    }

    pub(crate) fn temperature_of(&self) -> Option<raw::TemperatureOf> {
        self.constants.temperature_of.map(|of| match of {
            TemperatureOf::Winding => raw::TemperatureOf::Winding,
            TemperatureOf::Ambient => raw::TemperatureOf::Ambient,
        })
    }
}

fn fields_of(quantity: Quantity) -> &'static [Field] {
    match quantity {
        Quantity::Resistance => &[Field::Resistance, Field::FullScale],
        Quantity::TestVoltage => &[Field::TestVoltage],
        Quantity::DeliveredVoltage => &[Field::DeliveredVoltage],
        Quantity::Duration => &[Field::Duration],
        Quantity::Temperature => &[Field::Temperature],
        Quantity::Humidity => &[Field::Humidity],
    }
}

fn bounds(written: &Written) -> Result<BTreeMap<String, Option<raw::Bound>>, Wrong> {
    let bound = |mark: &str| match (mark, resistance::mark(mark)) {
        ("", _) => Ok(None),
        (_, Ok(("", bound))) => Ok(Some(bound)),
        _ => Err(Wrong::new("in `[bounds]` one of `=`, `>`, `<` or nothing", mark)),
    };
    written.bounds.iter().map(|(word, mark)| Ok((word.clone(), bound(mark)?))).collect()
}

fn style(written: &Written) -> Result<Style, Wrong> {
    let decimal = written.numbers.decimal.unwrap_or('.');
    let thousands = written.numbers.thousands;
    if !matches!(decimal, '.' | ',') {
        return Err(Wrong::new("`numbers.decimal` to be `.` or `,`", decimal));
    }
    if let Some(mark) = thousands.filter(|mark| *mark == decimal || mark.is_alphanumeric()) {
        let expected = "`numbers.thousands` to be a mark other than `numbers.decimal`";
        return Err(Wrong::new(expected, mark));
    }
    Ok(Style { decimal, thousands })
}

/// A resistance with its unit, as profiles state limits.
fn ohms(key: &str, text: &str, style: Style) -> Result<f64, Wrong> {
    let wrong =
        || Wrong::new(format!("`{key}` to be a resistance with unit such as `550 MΩ`"), text);
    let (rest, value) = num(text.trim(), style).map_err(|_| wrong())?;
    let unit = unit(Quantity::Resistance, rest).ok_or_else(wrong)?;
    let ohms = unit.apply(value);
    if ohms > 0.0 { Ok(ohms) } else { Err(wrong()) }
}

/// The zone of a name, from the table that is compiled in.
pub(crate) fn zone(name: &str) -> Option<TimeZone> {
    TimeZone::get(name).ok()
}

fn times(written: &Written) -> Result<time::Rules, Wrong> {
    let times = &written.time;
    let patterns = |key: &str, list: &[String], fits: fn(&Pattern) -> bool, must: &str| {
        let mut patterns = Vec::new();
        for text in list {
            let pattern = Pattern::new(text)
                .map_err(|wrong| Wrong::new(format!("in `time.{key}` {}", wrong.expected), text))?;
            if !fits(&pattern) {
                return Err(Wrong::new(format!("a pattern with {must} in `time.{key}`"), text));
            }
            patterns.push(pattern);
        }
        Ok(patterns)
    };
    let zone =
        match &times.zone {
            None => None,
            Some(name) => Some(zone(name).ok_or_else(|| {
                Wrong::new("`time.zone` to be a zone such as `Europe/Berlin`", name)
            })?),
        };
    Ok(time::Rules {
        whole: patterns("taken_at", &times.taken_at, Pattern::has_date, "a date")?,
        date: patterns("date", &times.date, |p| p.has_date() && !p.has_clock(), "a date alone")?,
        clock: patterns("time", &times.time, |p| p.has_clock() && !p.has_date(), "a clock alone")?,
        zone,
    })
}
