//! Delimited text by profile: whatever separator, header, units and number style an export has.
//!
//! ```text
//!  Report;YT-014                                  1
//!  Date;Time;Point;Riso;Unit;Note                 2
//!  ;;;;[MΩ];                                      3
//!  02.03.2026;08:15;L1;> 550,0;MΩ;after rain      4
//!  End of table                                   5
//! ```
//! 1 preamble: silent, unless the profile takes a value from it  2 header: names by the profile,
//! a unit may stand behind a name  3 units row, where the profile says there is one  4 a record;
//! with `[[wide]]` columns one reading per such column that is filled, `part` counting them
//! 5 footer: it and all behind it is silent

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::cells::{Cells, Header, Maker};
use crate::fault::{Fault, Wrong};
use crate::fields::Field;
use crate::format::{Decoder, Format, Record, put};
use crate::framing::Quoting;
use crate::header::{same, split_unit};
use crate::piece::time::Order;
use crate::piece::unit::{self, Unit, unit};
use crate::profile::Profile;
use crate::raw::{Parsed, Place, Text};
use crate::split::Splitter;

/// Records in which a header must turn up: a preamble is a page, not a book.
const HEADER_WITHIN: u64 = 200;

/// The table `[delimited]` of a profile.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Layout {
    /// Between cells; none: `,`.
    separator: Option<char>,
    /// Around cells that hold a separator or line end; none: `"`.
    quote: Option<char>,
    /// Fields by position, for exports without a header; `_` for one that is not needed.
    #[serde(default)]
    columns: Vec<String>,
    /// The record behind the header has the units.
    #[serde(default)]
    units_row: bool,
    /// Records that begin so are comments.
    #[serde(default)]
    skip: Vec<String>,
    /// A record that begins so ends the table.
    #[serde(default)]
    ends: Vec<String>,
    /// Mapped fields whose column may be missing from the header.
    #[serde(default)]
    optional: Vec<Field>,
    /// Records may have fewer cells than the header: trailing empty ones are left out.
    #[serde(default)]
    ragged: bool,
    /// Field → the first cell of a preamble record whose second cell holds for all records.
    #[serde(default)]
    preamble: BTreeMap<Field, Vec<String>>,
}

impl Layout {
    fn separator(&self) -> u8 {
        self.separator.and_then(|c| u8::try_from(c).ok()).unwrap_or(b',')
    }

    fn quote(&self) -> u8 {
        self.quote.and_then(|c| u8::try_from(c).ok()).unwrap_or(b'"')
    }

    fn check(&self) -> Result<(), Wrong> {
        for (key, mark) in [("separator", self.separator), ("quote", self.quote)] {
            if mark
                .is_some_and(|c| !c.is_ascii() || c.is_ascii_alphanumeric() || "\r\n".contains(c))
            {
                let expected = format!("`delimited.{key}` to be an ASCII mark such as `;`");
                return Err(Wrong::new(expected, mark.unwrap_or_default()));
            }
        }
        if self.separator() == self.quote() {
            let expected = "`delimited.separator` and `delimited.quote` to differ";
            return Err(Wrong::new(expected, char::from(self.quote())));
        }
        Ok(())
    }
}

/// The row of `FORMATS`.
pub(crate) struct DelimitedText;

impl DelimitedText {
    fn layout(profile: &Profile) -> Layout {
        profile.written().delimited.clone().unwrap_or_default()
    }
}

impl Format for DelimitedText {
    fn name(&self) -> &'static str {
        "delimited"
    }

    fn about(&self) -> &'static str {
        "text in columns with any separator: header by names, preamble, units row, one column per phase"
    }

    fn quoting(&self, profile: &Profile) -> Option<Quoting> {
        let layout = Self::layout(profile);
        Some(Quoting { quote: layout.quote(), separator: layout.separator() })
    }

    fn separator(&self, profile: &Profile) -> u8 {
        Self::layout(profile).separator()
    }

    fn open(&self, profile: &Profile) -> Result<Box<dyn Decoder>, Wrong> {
        let layout = Self::layout(profile);
        layout.check()?;
        let written = profile.written();
        if written.wide.is_empty()
            && !written.columns.contains_key(&Field::Resistance)
            && !layout.columns.iter().any(|name| name == Field::Resistance.name())
        {
            let expected =
                "a column for the resistance in `[columns]`, `delimited.columns` or `[[wide]]`";
            return Err(Wrong::new(expected, "none"));
        }
        let mut table = Table {
            splitter: Splitter::new(layout.separator(), layout.quote()),
            header: Header::of(profile.rules()),
            profile: profile.clone(),
            columns: Vec::new(),
            header_text: String::new(),
            units_due: layout.units_row,
            ended: false,
            preamble: Vec::new(),
            order: Order::default(),
            warnings: Vec::new(),
            records: 0,
            layout,
        };
        for name in &table.layout.columns {
            let used = match Field::named(name) {
                Some(field) => Use::Field(field),
                None if name == "_" => Use::Nothing,
                None => return Err(Wrong::new("a field or `_` in `delimited.columns`", name)),
            };
            table.columns.push(used);
        }
        Ok(Box::new(table))
    }
}

/// What a column is for.
#[derive(Clone, Debug, PartialEq)]
enum Use {
    Nothing,
    Field(Field),
    /// An entry of the profile's `[[wide]]`, its name in this stream and the unit behind that.
    Wide(usize, Text, Option<Unit>),
}

struct Table {
    profile: Profile,
    layout: Layout,
    splitter: Splitter,
    /// Empty until the header came.
    columns: Vec<Use>,
    header: Header,
    header_text: String,
    units_due: bool,
    ended: bool,
    preamble: Vec<(Field, String)>,
    order: Order,
    warnings: Vec<String>,
    records: u64,
}

impl Decoder for Table {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        self.records += 1;
        let begins =
            |list: &[String]| list.iter().any(|start| record.text.starts_with(start.as_str()));
        self.ended |= !self.columns.is_empty() && begins(&self.layout.ends);
        if self.ended || record.text.trim().is_empty() || begins(&self.layout.skip) {
            out.silent += 1;
            return Ok(());
        }
        let mut splitter = std::mem::replace(&mut self.splitter, Splitter::new(b',', b'"'));
        let (text, ranges) = splitter.split(record.text);
        let cells: Vec<&str> = ranges.iter().map(|range| text[range.clone()].trim()).collect();
        let done = self.cells(&cells, record, out);
        self.splitter = splitter;
        done
    }

    fn finish(&mut self) -> Result<(), Fault> {
        if self.columns.is_empty() && self.records > 0 { Err(self.no_header()) } else { Ok(()) }
    }

    fn warnings(&self) -> &[String] {
        &self.warnings
    }
}

impl Table {
    fn cells(&mut self, cells: &[&str], record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        let silent = if self.columns.is_empty() {
            if !self.read_header(cells, record.text)? {
                self.read_preamble(cells);
                if self.records >= HEADER_WITHIN {
                    return Err(self.no_header());
                }
            }
            true
        } else if self.units_due {
            self.units_due = false;
            self.read_units(cells)?;
            true
        } else {
            // Blank rows of a spreadsheet, and the header again where exports were put together.
            cells.iter().all(|cell| cell.is_empty()) || record.text == self.header_text
        };
        if silent {
            out.silent += 1;
        } else {
            self.row(cells, record, out);
        }
        Ok(())
    }

    fn row(&mut self, cells: &[&str], record: Record<'_>, out: &mut Parsed) {
        let due = self.columns.len();
        let behind = cells.get(due..).unwrap_or(&[]);
        if (cells.len() < due && !self.layout.ragged) || behind.iter().any(|cell| !cell.is_empty())
        {
            let expected = format!("{due} columns as in the header");
            let fault =
                Fault::new("columns", "", expected, &format!("{}: {}", cells.len(), record.text));
            out.rejects.push(fault.reject(record.place, record.bytes));
            return;
        }
        let mut named = Cells::new();
        for (used, cell) in self.columns.iter().zip(cells) {
            if let Use::Field(field) = used {
                named.set(*field, cell);
            }
        }
        for (field, text) in &self.preamble {
            named.set_default(*field, text);
        }
        let maker = Maker { rules: self.profile.rules(), header: &self.header };
        if self.profile.written().wide.is_empty() {
            put(record, maker.reading(&named, record.place, &mut self.order), out);
            return;
        }
        let base = match maker.circumstances(&named, record.place, &mut self.order) {
            Ok(base) => base,
            Err(fault) => return out.rejects.push(fault.reject(record.place, record.bytes)),
        };
        let mut parts = 0;
        for (used, cell) in self.columns.iter().zip(cells) {
            let Use::Wide(index, name, unit) = used else { continue };
            if maker.is_empty(cell) {
                continue;
            }
            let place = Place { part: parts, ..record.place };
            parts += 1;
            let wide = &self.profile.written().wide[*index];
            let made = maker
                .outside(&named, Field::Resistance)
                .and_then(|outside| {
                    let unit = unit.or(outside);
                    maker.resistance(cell, unit, &named, base.test_voltage_v, name)
                })
                .map(|resistance| {
                    let mut reading = base.clone();
                    reading.place = place;
                    reading.phase = wide.phase.as_str().into();
                    if let Some(against) = &wide.against {
                        reading.against = against.as_str().into();
                    }
                    reading.resistance = resistance;
                    reading
                });
            put(Record { place, ..record }, made, out);
        }
        if parts == 0 {
            let fault = Fault::new("empty", "", "a resistance in one of its columns", record.text);
            out.rejects.push(fault.reject(record.place, record.bytes));
        }
    }

    /// Takes a record for the header when it names a resistance and one thing more.
    fn read_header(&mut self, cells: &[&str], text: &str) -> Result<bool, Fault> {
        let written = self.profile.written();
        let columns: Vec<Use> = cells.iter().map(|cell| self.used(cell)).collect();
        let is_resistance =
            |used: &Use| matches!(used, Use::Field(Field::Resistance) | Use::Wide(..));
        let known = columns.iter().filter(|used| **used != Use::Nothing).count();
        if known < 2 || !columns.iter().any(is_resistance) {
            return Ok(false);
        }
        for (at, cell) in cells.iter().enumerate() {
            let twice = match &columns[at] {
                Use::Nothing => !cell.is_empty() && cells[..at].contains(cell),
                Use::Field(Field::Remark) => cells[..at].contains(cell),
                Use::Field(field) => columns[..at].contains(&Use::Field(*field)),
                Use::Wide(entry, ..) => columns[..at]
                    .iter()
                    .any(|other| matches!(other, Use::Wide(index, ..) if index == entry)),
            };
            if twice {
                return Err(Fault::new("header", cell, "each column once", text));
            }
        }
        for (field, names) in &written.columns {
            let must = matches!(
                field,
                Field::TakenAt | Field::Date | Field::Time | Field::Asset | Field::Phase
            ) || (*field == Field::Resistance && written.wide.is_empty());
            if must
                && !columns.contains(&Use::Field(*field))
                && !self.layout.optional.contains(field)
            {
                let expected = format!("a header with a column `{}`", names.join("` or `"));
                return Err(Fault::new("header", field.name(), expected, text));
            }
        }
        for (used, cell) in columns.iter().zip(cells) {
            match used {
                Use::Field(field) => {
                    self.header.names[field.index()] = (*cell).into();
                    if let Some(kind) = field.quantity()
                        && let Some(unit) = split_unit(cell).1.and_then(|text| unit(kind, text))
                    {
                        self.header.units[field.index()] = Some(unit);
                    }
                }
                Use::Nothing
                    if !cell.is_empty() && !written.ignore.iter().any(|name| same(name, cell)) =>
                {
                    let told = format!("column `{cell}` is not known: kept in the raw record only");
                    self.warnings.push(told);
                }
                _ => {}
            }
        }
        self.columns = columns;
        text.clone_into(&mut self.header_text);
        Ok(true)
    }

    /// What a header's cell names; a unit behind the name must be a unit of that quantity.
    fn used(&self, cell: &str) -> Use {
        let written = self.profile.written();
        let (name, behind) = split_unit(cell);
        let ohms = behind.and_then(|text| unit(unit::Quantity::Resistance, text));
        for (index, wide) in written.wide.iter().enumerate() {
            if wide.columns.iter().any(|known| same(known, cell)) {
                return Use::Wide(index, cell.into(), None);
            }
            if ohms.is_some() && wide.columns.iter().any(|known| same(known, name)) {
                return Use::Wide(index, cell.into(), ohms);
            }
        }
        let fits = |field: &Field, names: &Vec<String>| {
            let of_quantity = field
                .quantity()
                .is_some_and(|kind| behind.is_some_and(|text| unit(kind, text).is_some()));
            names.iter().any(|known| same(known, cell) || (of_quantity && same(known, name)))
        };
        let found = written.columns.iter().find(|(field, names)| fits(field, names));
        found.map_or(Use::Nothing, |(field, _)| Use::Field(*field))
    }

    /// Remembers a preamble record's value where the profile asks for it.
    fn read_preamble(&mut self, cells: &[&str]) {
        let (Some(key), Some(value)) = (cells.first(), cells.get(1)) else { return };
        let key = key.trim_end_matches(':');
        for (field, names) in &self.layout.preamble {
            if names.iter().any(|name| same(name, key)) {
                self.preamble.push((*field, (*value).to_owned()));
            }
        }
    }

    /// The units under a header.
    fn read_units(&mut self, cells: &[&str]) -> Result<(), Fault> {
        for (used, cell) in self.columns.iter_mut().zip(cells) {
            let text = cell.trim_matches(['[', ']', '(', ')']);
            if text.is_empty() {
                continue;
            }
            let wrong = |kind, name: &str| Fault::new("unit", name, unit::expected(kind), cell);
            match used {
                Use::Wide(_, name, known) => {
                    let kind = unit::Quantity::Resistance;
                    *known = Some(unit(kind, text).ok_or_else(|| wrong(kind, name))?);
                }
                Use::Field(field) => {
                    let Some(kind) = field.quantity() else { continue };
                    let found = unit(kind, text).ok_or_else(|| wrong(kind, field.name()))?;
                    self.header.units[field.index()] = Some(found);
                }
                Use::Nothing => {}
            }
        }
        Ok(())
    }

    fn no_header(&self) -> Fault {
        let written = self.profile.written();
        let mut names: Vec<&str> = Vec::new();
        for list in written.columns.values().chain(written.wide.iter().map(|wide| &wide.columns)) {
            names.extend(list.first().map(String::as_str));
        }
        let separator = char::from(self.layout.separator()).escape_default();
        let expected = format!(
            "a header with columns such as `{}`, separated by `{separator}`",
            names.join("`, `")
        );
        Fault::new("header", "", expected, &format!("{} records without one", self.records))
    }
}
