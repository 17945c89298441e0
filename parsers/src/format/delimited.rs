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
    /// Characters, counted from 1, at which the columns begin, in place of a separator: fixed
    /// width. The last column goes to the end of the line.
    #[serde(default)]
    starts: Vec<usize>,
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
    /// The same for blocks: such a record may come anywhere and holds for the records behind it.
    /// The first one behind a row begins a new block, and nothing is kept of the block before.
    #[serde(default)]
    blocks: BTreeMap<Field, Vec<String>>,
}

impl Layout {
    fn separator(&self) -> u8 {
        self.separator.and_then(|c| u8::try_from(c).ok()).unwrap_or(b',')
    }

    fn quote(&self) -> u8 {
        self.quote.and_then(|c| u8::try_from(c).ok()).unwrap_or(b'"')
    }

    fn splitter(&self) -> Splitter {
        match &self.starts[..] {
            [] => Splitter::new(self.separator(), self.quote()),
            starts => Splitter::fixed(starts),
        }
    }

    fn check(&self) -> Result<(), Wrong> {
        let rising = self.starts.is_sorted_by(|a, b| a < b);
        if !rising || self.starts.first().is_some_and(|first| *first != 1) {
            let expected = "`delimited.starts` to begin with 1 and to rise";
            return Err(Wrong::new(expected, format!("{:?}", self.starts)));
        }
        if !self.starts.is_empty() && (self.separator.is_some() || self.quote.is_some()) {
            let expected = "`delimited.starts` without a separator or quote";
            return Err(Wrong::new(expected, "both"));
        }
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
        let quoting = Quoting { quote: layout.quote(), separator: layout.separator() };
        layout.starts.is_empty().then_some(quoting)
    }

    fn splitter(&self, profile: &Profile) -> Splitter {
        Self::layout(profile).splitter()
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
        let splitter = layout.splitter();
        let sheet = Sheet {
            profile: profile.clone(),
            columns,
            units_due: layout.units_row,
            ended: false,
            preamble: Vec::new(),
            block: Vec::new(),
            row_seen: false,
            order: Order::default(),
            records: 0,
            layout,
        };
        Ok(Box::new(Table { splitter, sheet }))
    }
}

/// Key and value of a record that holds nothing else: `Asset;YT-014`, `Asset: YT-014`. Of a record
/// that was cut by position the line counts.
pub(crate) fn pair<'a>(
    cells: &[&'a str],
    text: &'a str,
    whole: bool,
) -> Option<(&'a str, &'a str)> {
    let within = |text: &'a str| {
        let (key, value) = text.split_once([':', '='])?;
        Some((key.trim(), value.trim()))
    };
    if whole {
        return within(text.trim());
    }
    let (first, rest) = cells.split_first()?;
    let mut filled = rest.iter().filter(|cell| !cell.is_empty());
    match (filled.next(), filled.next()) {
        (None, _) => within(first),
        (Some(value), None) => Some((first.trim_end_matches(':').trim_end(), *value)),
        _ => None,
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
    block: Vec<(Field, String)>,
    /// Whether a row came since the block's last own record.
    row_seen: bool,
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
        if self.begins_block(cells, record.text) {
            out.silent += 1;
            return Ok(());
        }
        let silent = match &mut self.columns {
            None => {
                let optional = &self.layout.optional;
                self.columns = Columns::read(&self.profile, optional, cells, record.text)?;
                if self.columns.is_none() {
                    self.read_preamble(cells, record.text);
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
            self.row_seen = true;
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
        for (field, text) in self.block.iter().chain(&self.preamble) {
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
            let wide = &self.profile.written().wide[*index];
            let volts = wide.test_voltage_v.or(base.test_voltage_v);
            let made = maker.outside(named, Field::Resistance).and_then(|outside| {
                let unit = unit.or(outside);
                maker.resistance(cell, unit, named, volts, name)
            });
            let reading = |resistance| RawReading {
                place,
                phase: wide.phase.as_deref().map_or(base.phase.clone(), Text::from),
                against: wide.against.as_deref().map_or(base.against.clone(), Text::from),
                resistance,
                duration_s: wide.duration_s.or(base.duration_s),
                test_voltage_v: volts,
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
    fn read_preamble(&mut self, cells: &[&str], text: &str) {
        // A printed pair knows nothing of columns; elsewhere the second cell holds the value.
        let pair = match cells {
            [key, value, ..] if self.layout.starts.is_empty() && !value.is_empty() => {
                Some((key.trim_end_matches(':'), *value))
            }
            _ => pair(cells, text, !self.layout.starts.is_empty()),
        };
        let Some((key, value)) = pair else { return };
        for (field, names) in &self.layout.preamble {
            if names.iter().any(|name| same(name, key)) {
                self.preamble.push((*field, value.to_owned()));
            }
        }
    }

    /// Takes a record that says something of all that follow, if it is one.
    fn begins_block(&mut self, cells: &[&str], text: &str) -> bool {
        if self.layout.blocks.is_empty() {
            return false;
        }
        let Some((key, value)) = pair(cells, text, !self.layout.starts.is_empty()) else {
            return false;
        };
        let names = |(_, names): &(&Field, &Vec<String>)| names.iter().any(|name| same(name, key));
        let Some((field, _)) = self.layout.blocks.iter().find(names) else { return false };
        if std::mem::take(&mut self.row_seen) {
            self.block.clear();
        }
        self.block.retain(|(known, _)| known != field);
        self.block.push((*field, value.to_owned()));
        true
    }

    fn no_header(&self) -> Fault {
        let written = self.profile.written();
        let mut names: Vec<&str> = Vec::new();
        for list in written.columns.values().chain(written.wide.iter().map(|wide| &wide.columns)) {
            names.extend(list.first().map(String::as_str));
        }
        let apart = match &self.layout.starts[..] {
            [] => {
                format!("separated by `{}`", char::from(self.layout.separator()).escape_default())
            }
            starts => format!("beginning at the characters {starts:?}"),
        };
        let expected = format!("a header with columns such as `{}`, {apart}", names.join("`, `"));
        Fault::new("header", "", expected, &format!("{} records without one", self.records))
    }
}
