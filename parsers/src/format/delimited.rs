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

mod columns;

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::cells::{Cells, Maker};
use crate::fault::{Fault, Wrong};
use crate::fields::Field;
use crate::format::{Decoder, Format, Record, put};
use crate::framing::Quoting;
use crate::header::same;
use crate::piece::time::Order;
use crate::profile::Profile;
use crate::raw::{Parsed, Place, RawReading, Text};
use crate::split::Splitter;
use columns::{Columns, Use};

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
        let columns = match &layout.columns[..] {
            [] => None,
            names => Some(Columns::listed(profile, names)?),
        };
        let splitter = Splitter::new(layout.separator(), layout.quote());
        let sheet = Sheet {
            profile: profile.clone(),
            columns,
            units_due: layout.units_row,
            ended: false,
            preamble: Vec::new(),
            order: Order::default(),
            records: 0,
            layout,
        };
        Ok(Box::new(Table { splitter, sheet }))
    }
}

struct Table {
    splitter: Splitter,
    sheet: Sheet,
}

/// What is known of a table so far.
struct Sheet {
    profile: Profile,
    layout: Layout,
    /// None until the header came.
    columns: Option<Columns>,
    units_due: bool,
    ended: bool,
    preamble: Vec<(Field, String)>,
    order: Order,
    records: u64,
}

impl Decoder for Table {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        if self.sheet.is_silent(record.text) {
            out.silent += 1;
            return Ok(());
        }
        let mut cells = Vec::new();
        self.splitter.split(record.text, |cell| cells.push(cell));
        self.sheet.take(&cells, record, out)
    }

    fn finish(&mut self) -> Result<(), Fault> {
        match self.sheet.columns {
            None if self.sheet.records > 0 => Err(self.sheet.no_header()),
            _ => Ok(()),
        }
    }

    fn warnings(&self) -> &[String] {
        self.sheet.columns.as_ref().map_or(&[], |columns| &columns.warnings)
    }
}

impl Sheet {
    /// Comments, blank records and everything behind the end of the table.
    fn is_silent(&mut self, text: &str) -> bool {
        self.records += 1;
        let begins = |list: &[String]| list.iter().any(|start| text.starts_with(start.as_str()));
        self.ended |= self.columns.is_some() && begins(&self.layout.ends);
        self.ended || text.trim().is_empty() || begins(&self.layout.skip)
    }

    fn take(&mut self, cells: &[&str], record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        let silent = match &mut self.columns {
            None => {
                let optional = &self.layout.optional;
                self.columns = Columns::read(&self.profile, optional, cells, record.text)?;
                if self.columns.is_none() {
                    self.read_preamble(cells);
                    if self.records >= HEADER_WITHIN {
                        return Err(self.no_header());
                    }
                }
                true
            }
            Some(columns) if self.units_due => {
                self.units_due = false;
                columns.read_units(cells)?;
                true
            }
            // Blank rows of a spreadsheet, and the header again where exports were put together.
            Some(columns) => {
                cells.iter().all(|cell| cell.is_empty()) || record.text == columns.text
            }
        };
        if silent {
            out.silent += 1;
        } else {
            self.row(cells, record, out);
        }
        Ok(())
    }

    fn row(&mut self, cells: &[&str], record: Record<'_>, out: &mut Parsed) {
        let Some(Columns { uses, header, .. }) = &self.columns else { return };
        let due = uses.len();
        let behind = cells.get(due..).unwrap_or(&[]);
        if (cells.len() < due && !self.layout.ragged) || behind.iter().any(|cell| !cell.is_empty())
        {
            let expected = format!("{due} columns as in the header");
            let found = format!("{}: {}", cells.len(), record.text);
            return put(record, Err(Fault::new("columns", "", expected, &found)), out);
        }
        let mut named = Cells::new();
        for (used, cell) in uses.iter().zip(cells) {
            if let Use::Field(field) = used {
                named.set(*field, cell);
            }
        }
        for (field, text) in &self.preamble {
            named.set_default(*field, text);
        }
        let maker = Maker { rules: self.profile.rules(), header };
        if self.profile.written().wide.is_empty() {
            let outcome = maker.reading(&named, record.place, &mut self.order);
            return put(record, outcome, out);
        }
        match maker.circumstances(&named, record.place, &mut self.order) {
            Ok(base) => self.wide(&maker, cells, &named, &base, record, out),
            Err(fault) => put(record, Err(fault), out),
        }
    }

    /// A reading for each filled column of a phase; what they have in common is in `base`.
    fn wide(
        &self,
        maker: &Maker<'_>,
        cells: &[&str],
        named: &Cells<'_>,
        base: &RawReading,
        record: Record<'_>,
        out: &mut Parsed,
    ) {
        let uses = self.columns.iter().flat_map(|columns| &columns.uses);
        let mut parts = 0;
        for (used, cell) in uses.zip(cells) {
            let Use::Wide(index, name, unit) = used else { continue };
            if maker.is_empty(cell) {
                continue;
            }
            let place = Place { part: parts, ..record.place };
            parts += 1;
            let made = maker.outside(named, Field::Resistance).and_then(|outside| {
                let unit = unit.or(outside);
                maker.resistance(cell, unit, named, base.test_voltage_v, name)
            });
            let wide = &self.profile.written().wide[*index];
            let reading = |resistance| RawReading {
                place,
                phase: wide.phase.as_str().into(),
                against: wide.against.as_deref().map_or(base.against.clone(), Text::from),
                resistance,
                ..base.clone()
            };
            put(Record { place, ..record }, made.map(reading), out);
        }
        if parts == 0 {
            let fault = Fault::new("empty", "", "a resistance in one of its columns", record.text);
            put(record, Err(fault), out);
        }
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
