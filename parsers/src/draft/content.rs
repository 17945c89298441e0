//! What stands in a column, counted once, so that every question to it is cheap.

use std::collections::{BTreeMap, BTreeSet};

use super::numbers::number;
use super::several;
use super::times;
use super::words;
use crate::fields::Field;
use crate::piece::unit::{Quantity, unit};

/// What stands in a column.
#[derive(Clone, Debug, Default)]
pub(super) struct Content {
    pub(super) filled: usize,
    pub(super) distinct: BTreeSet<String>,
    /// How often each stands there.
    pub(super) counted: BTreeMap<String, usize>,
    dates: usize,
    clocks: usize,
    numbers: usize,
    pub(super) ohms: usize,
    pub(super) volts: usize,
    pub(super) units: usize,
    pub(super) phases: usize,
    pub(super) has_clock: bool,
}

/// Different values of a column that are looked at one by one.
const DISTINCT: usize = 5_000;

impl Content {
    pub(super) fn of<'a>(cells: impl Iterator<Item = &'a str>) -> Content {
        let mut content = Content::default();
        for cell in cells.filter(|cell| !cell.is_empty()) {
            content.filled += 1;
            if content.distinct.len() < DISTINCT || content.distinct.contains(cell) {
                content.distinct.insert(cell.to_owned());
                *content.counted.entry(cell.to_owned()).or_default() += 1;
            }
        }
        for cell in &content.distinct {
            content.dates += usize::from(times::is_date(cell));
            content.has_clock |= times::has_clock(cell);
            content.clocks += usize::from(times::is_clock(cell));
            let is = |kind, text: &str| !text.is_empty() && unit(kind, text).is_some();
            if let Some(number) = number(cell) {
                let ohms = is(Quantity::Resistance, number.rest);
                let volts = is(Quantity::TestVoltage, number.rest);
                let any = number.rest.is_empty() || super::sheet::is_any_unit(number.rest);
                content.numbers += usize::from(any);
                content.ohms += usize::from(ohms && !is(Quantity::Temperature, number.rest));
                content.volts += usize::from(volts);
            }
            content.units += usize::from(super::sheet::is_any_unit(cell));
            content.phases +=
                usize::from(several::is_phase(cell) || several::leads(cell).is_some());
        }
        content
    }

    pub(super) fn share(&self, count: usize) -> f64 {
        count as f64 / self.distinct.len().max(1) as f64
    }

    pub(super) fn is_date(&self) -> bool {
        self.share(self.dates) > 0.9
    }

    pub(super) fn is_clock(&self) -> bool {
        self.share(self.clocks) > 0.9 && !self.is_date()
    }

    /// Numbers, or marks of the range among them.
    pub(super) fn is_measured(&self) -> bool {
        let marks = self.distinct.iter().filter(|cell| words::mark(cell) == Some("over")).count();
        !self.is_date()
            && !self.is_clock()
            && (self.share(self.numbers + marks) > 0.5 || marks > 0 && self.numbers == 0)
    }

    /// Some numbers or over-range marks at least, for a column whose name says the rest.
    pub(super) fn can_be_measured(&self) -> bool {
        let over = self.distinct.iter().any(|cell| words::mark(cell) == Some("over"));
        !self.is_date() && !self.is_clock() && (over || self.share(self.numbers) > 0.2)
    }

    pub(super) fn is_numbers(&self) -> bool {
        !self.is_date() && self.share(self.numbers) > 0.8
    }

    /// Whether a field may stand in such a column.
    pub(super) fn fits(&self, field: Field, header_unit: Option<&str>) -> bool {
        let ohms = header_unit.is_some_and(|text| unit(Quantity::Resistance, text).is_some());
        match field {
            Field::TakenAt | Field::Date => self.is_date(),
            // `07.45` is a clock where the name says so.
            Field::Time => {
                let dotted = |cell: &String| times::is_dotted_clock(cell);
                self.is_clock() || self.is_date() || self.distinct.iter().all(dotted)
            }
            Field::Resistance => self.can_be_measured(),
            Field::ResistanceUnit => self.share(self.units) > 0.9,
            Field::Bound => {
                let mark = |cell: &String| {
                    matches!(cell.as_str(), ">" | "<" | "≥" | "≤" | ">=" | "<=")
                        || matches!(words::mark(cell), Some("over" | "under"))
                };
                self.distinct.len() <= 12 && self.distinct.iter().any(mark)
            }
            Field::FullScale => self.is_numbers() && (ohms || self.share(self.ohms) > 0.9),
            Field::TestVoltage | Field::DeliveredVoltage | Field::Temperature | Field::Humidity => {
                self.is_numbers() && !ohms
            }
            Field::Duration => (self.is_numbers() || self.is_clock()) && !ohms,
            _ => !self.is_date() && !self.is_clock(),
        }
    }
}
