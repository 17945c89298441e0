//! The table in a text: what parts its cells, where its header is, which records are no rows.

use super::numbers::number;
use super::times;
use super::words;
use crate::fields::Field;
use crate::format::pair;
use crate::framing::{Framer, Quoting, Width};
use crate::header::split_unit;
use crate::piece::unit::{Quantity, unit};
use crate::split::Splitter;

/// Records in which the header is looked for, as long as a profile would look.
const HEADER_WITHIN: usize = 200;

/// Rows that are looked at: enough for every habit, little enough for any file.
const ROWS: usize = 20_000;

/// What stands between cells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Parting {
    Separator(char),
    /// Characters, counted from 1, at which columns begin.
    Starts(Vec<usize>),
}

impl Parting {
    fn splitter(&self) -> Splitter {
        match self {
            Parting::Separator(mark) => Splitter::new(u8::try_from(*mark).unwrap_or(b','), b'"'),
            Parting::Starts(starts) => Splitter::fixed(starts),
        }
    }

    fn quoting(&self) -> Option<Quoting> {
        match self {
            Parting::Separator(mark) => {
                Some(Quoting { quote: b'"', separator: u8::try_from(*mark).unwrap_or(b',') })
            }
            Parting::Starts(_) => None,
        }
    }
}

/// A record that says one thing of all rows, or of those behind it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Pair {
    pub(super) field: Field,
    pub(super) key: String,
    pub(super) value: String,
    /// It stands among the rows.
    pub(super) within: bool,
}

/// The table as far as its layout goes.
#[derive(Clone, Debug)]
pub(super) struct Sheet {
    pub(super) parting: Parting,
    /// Empty: there is none.
    pub(super) header: Vec<String>,
    pub(super) header_line: String,
    pub(super) units: Option<Vec<String>>,
    pub(super) units_line: String,
    pub(super) rows: Vec<Vec<String>>,
    pub(super) pairs: Vec<Pair>,
    pub(super) skip: Vec<String>,
    pub(super) ends: Vec<String>,
    pub(super) ragged: bool,
    /// Records before the header that nobody reads.
    pub(super) preamble: Vec<String>,
    /// Records among the rows that look like none.
    pub(super) odd: Vec<String>,
}

/// One record cut into cells.
struct Line {
    text: String,
    cells: Vec<String>,
}

impl Line {
    fn filled(&self) -> usize {
        self.cells.iter().filter(|cell| !cell.is_empty()).count()
    }

    fn pair(&self, parting: &Parting) -> Option<(String, String)> {
        let cells: Vec<&str> = self.cells.iter().map(String::as_str).collect();
        let (key, value) = pair(&cells, &self.text, matches!(parting, Parting::Starts(_)))?;
        (!key.is_empty() && !value.is_empty()).then(|| (key.to_owned(), value.to_owned()))
    }
}

/// The table of a text, by the way of parting that shows most of it; none: there is no table.
pub(super) fn sheet(text: &str) -> Option<Sheet> {
    let first = text.lines().next().unwrap_or_default().trim();
    let told = first.strip_prefix("sep=").and_then(|mark| mark.chars().next());
    let mut partings: Vec<Parting> = told
        .map_or_else(|| vec![';', '\t', ',', '|'], |mark| vec![mark])
        .into_iter()
        .map(Parting::Separator)
        .collect();
    if told.is_none() {
        partings.extend(starts(text).map(Parting::Starts));
    }
    let mut best: Option<(f64, Sheet)> = None;
    for parting in partings {
        let lines = lines(text, &parting);
        let Some(sheet) = laid_out(lines, parting) else { continue };
        let score = score(&sheet);
        if best.as_ref().is_none_or(|(most, _)| score > *most) {
            best = Some((score, sheet));
        }
    }
    best.map(|(_, sheet)| sheet)
}

fn lines(text: &str, parting: &Parting) -> Vec<Line> {
    let mut splitter = parting.splitter();
    let mut out = Vec::new();
    let mut framer = Framer::new(Width::Byte, parting.quoting());
    let mut sink = |frame: crate::framing::Frame<'_>| {
        let text = String::from_utf8_lossy(frame.bytes).into_owned();
        let mut cells = Vec::new();
        splitter.split(&text, |cell| cells.push(cell.to_owned()));
        out.push(Line { cells, text });
    };
    framer.push(text.as_bytes(), &mut sink);
    framer.finish(&mut sink);
    out
}

/// How sure a way of parting is: names that are known, and rows that agree.
fn score(sheet: &Sheet) -> f64 {
    let known = sheet.header.iter().filter(|cell| is_known(cell)).count() as f64;
    let width = sheet.rows.iter().map(Vec::len).max().unwrap_or(0);
    let agree = sheet.rows.iter().filter(|row| row.len() == width).count() as f64;
    let rows = sheet.rows.len().max(1) as f64;
    let typed =
        sheet.rows.first().map_or(0, |row| row.iter().filter(|cell| is_value(cell)).count());
    10.0 * known + 5.0 * agree / rows + typed as f64 + 0.1 * width.min(20) as f64
}

fn laid_out(lines: Vec<Line>, parting: Parting) -> Option<Sheet> {
    let at = header_at(&lines);
    let first_row = at.map_or_else(|| lines.iter().position(is_row), |at| Some(at + 1))?;
    let width = at.map_or_else(|| lines[first_row].cells.len(), |at| lines[at].cells.len());
    if width < 2 {
        return None;
    }
    let mut sheet = Sheet {
        header: at.map(|at| lines[at].cells.clone()).unwrap_or_default(),
        header_line: at.map(|at| lines[at].text.clone()).unwrap_or_default(),
        parting,
        units: None,
        units_line: String::new(),
        rows: Vec::new(),
        pairs: Vec::new(),
        skip: Vec::new(),
        ends: Vec::new(),
        ragged: false,
        preamble: Vec::new(),
        odd: Vec::new(),
    };
    for line in &lines[..at.unwrap_or(first_row)] {
        if !sheet.take_pair(line, false) && !line.text.trim().is_empty() {
            sheet.preamble.push(line.text.clone());
        }
    }
    let mut from = first_row;
    if at.is_some() && lines.get(from).is_some_and(is_units) {
        sheet.units = Some(lines[from].cells.clone());
        sheet.units_line = lines[from].text.clone();
        from += 1;
    }
    for line in lines[from..].iter().take(ROWS) {
        sheet.take(line, width);
    }
    sheet.close();
    (!sheet.rows.is_empty()).then_some(sheet)
}

impl Sheet {
    /// Takes a record behind the header.
    fn take(&mut self, line: &Line, width: usize) {
        let text = line.text.trim();
        if text.is_empty() || line.filled() == 0 || line.text == self.header_line {
            return;
        }
        if text.chars().all(|c| matches!(c, '-' | '=' | '_' | '+' | '|' | ' ' | '\t')) {
            return put(&mut self.skip, text.chars().next());
        }
        if text.starts_with("//") || text.starts_with(['#', '!', '*']) {
            return put(&mut self.skip, text.chars().next());
        }
        if self.take_pair(line, true) {
            return;
        }
        let filled = line.filled();
        if filled < 2 || filled * 3 < width {
            return self.odd.push(line.text.clone());
        }
        // What stands between rows is odd, what stands behind the last one ends the table.
        self.ragged |= line.cells.len() < width;
        self.ends.clear();
        self.rows.push(line.cells.clone());
    }

    fn take_pair(&mut self, line: &Line, within: bool) -> bool {
        let Some((key, value)) = line.pair(&self.parting) else { return false };
        let allowed =
            |field: &Field| !matches!(field, Field::Resistance | Field::Bound | Field::Time);
        // `[sheet]` is how a spreadsheet's conversion names each of its sheets.
        let field = match key.as_str() {
            "[sheet]" => None,
            _ => words::fields(&key).into_iter().map(|(field, _)| field).find(allowed),
        };
        if key == "[sheet]" {
            self.pairs.push(Pair { field: Field::Asset, key, value, within });
            return true;
        }
        let Some(field) = field else { return false };
        self.pairs.push(Pair { field, key, value, within });
        true
    }

    /// Records behind the last row end the table.
    fn close(&mut self) {
        let beginning = |text: &String| {
            let word = text.trim().split([';', ',', '\t', ':', ' ']).next().unwrap_or_default();
            word.trim_matches('"').to_owned()
        };
        let last = self.odd.split_off(self.odd.len().saturating_sub(5));
        let first_cells: Vec<&String> = self.rows.iter().filter_map(|row| row.first()).collect();
        let ends = last.iter().map(beginning).filter(|word| {
            word.chars().count() > 1
                && !first_cells.iter().any(|cell| cell.starts_with(word.as_str()))
        });
        self.ends = ends.take(1).collect();
        if self.ends.is_empty() {
            self.odd.extend(last);
        }
    }

    /// The cells of a column.
    pub(super) fn column(&self, at: usize) -> impl Iterator<Item = &str> {
        self.rows.iter().filter_map(move |row| row.get(at)).map(String::as_str)
    }

    pub(super) fn width(&self) -> usize {
        let rows = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        if self.header.is_empty() { rows } else { self.header.len() }
    }
}

fn put(list: &mut Vec<String>, first: Option<char>) {
    if let Some(first) = first.map(String::from)
        && !list.contains(&first)
    {
        list.push(first);
    }
}

/// The record with most known names, the first of them; else one of words above typed cells.
fn header_at(lines: &[Line]) -> Option<usize> {
    let known = |line: &Line| line.cells.iter().filter(|cell| is_known(cell)).count();
    let look = &lines[..lines.len().min(HEADER_WITHIN)];
    let mut best: Option<(usize, usize)> = None;
    for (at, line) in look.iter().enumerate() {
        let count = known(line);
        let better = best.is_none_or(|(_, most)| count > most);
        let is_text = !line.cells.iter().any(|cell| is_value(cell) && !is_known(cell));
        if count >= 2 && line.filled() >= 3 && is_text && better {
            best = Some((at, count));
        }
    }
    if let Some((at, _)) = best {
        return Some(at);
    }
    // Names in a language that is not known here.
    let is_words = |line: &Line| {
        line.filled() >= 3
            && line.filled() * 4 >= line.cells.len() * 3
            && !line.cells.iter().any(|cell| is_value(cell))
    };
    look.windows(2).position(|pair| {
        is_words(&pair[0]) && pair[1].cells.len() == pair[0].cells.len() && is_row(&pair[1])
    })
}

/// Whether a cell of a header is a name that is known.
pub(super) fn is_known(cell: &str) -> bool {
    let name = bare(cell);
    !words::fields(&name).is_empty()
        || words::is_unwanted(&name)
        || super::several::parts(cell).is_some()
        || unit(Quantity::Resistance, cell).is_some_and(|_| cell.chars().count() > 1)
}

/// A header's cell without the unit behind its name.
pub(super) fn bare(cell: &str) -> String {
    let (name, behind) = split_unit(cell);
    match behind {
        Some(behind) if !name.is_empty() && is_any_unit(behind) => name.to_owned(),
        _ => cell.trim().to_owned(),
    }
}

/// Whether a text is a unit of anything that a reading holds.
pub(super) fn is_any_unit(text: &str) -> bool {
    QUANTITIES.iter().any(|kind| unit(*kind, text).is_some())
}

const QUANTITIES: [Quantity; 5] = [
    Quantity::Resistance,
    Quantity::TestVoltage,
    Quantity::Duration,
    Quantity::Temperature,
    Quantity::Humidity,
];

/// Whether a cell is a number or a time: what no header has.
fn is_value(cell: &str) -> bool {
    let is_number = number(cell).is_some_and(|n| n.rest.is_empty() || is_any_unit(n.rest));
    is_number || times::is_date(cell) || times::is_clock(cell)
}

fn is_row(line: &Line) -> bool {
    line.filled() >= 3 && line.cells.iter().filter(|cell| is_value(cell)).count() >= 2
}

/// The record under a header that holds units and nothing else.
fn is_units(line: &Line) -> bool {
    let inner = |cell: &String| cell.trim_matches(['[', ']', '(', ')']).trim().to_owned();
    let cells: Vec<String> = line.cells.iter().map(inner).filter(|cell| !cell.is_empty()).collect();
    let is_format = |cell: &str| {
        let cell = cell.to_lowercase();
        !cell.is_empty() && cell.chars().all(|c| "dmyhstja.:/- ".contains(c))
    };
    cells.iter().any(|cell| unit(Quantity::Resistance, cell).is_some())
        && cells.iter().all(|cell| is_any_unit(cell) || is_format(cell))
}

/// Where the columns of a printed table begin: at the characters behind which all of its records
/// have a blank.
fn starts(text: &str) -> Option<Vec<usize>> {
    let parted = |line: &str| line.split("  ").filter(|part| !part.trim().is_empty()).count();
    let all: Vec<&str> = text.lines().map(str::trim_end).take(2_000).collect();
    let header = all.iter().take(HEADER_WITHIN).position(|line| {
        let names = line.split("  ").map(str::trim).filter(|part| !part.is_empty());
        let names: Vec<&str> = names.collect();
        names.len() >= 3 && names.iter().filter(|name| is_known(name)).count() >= 2
    });
    let usual = all[header.unwrap_or(0)..].iter().map(|line| parted(line)).max()?;
    if usual < 3 || header.is_none() {
        return None;
    }
    let is_rule = |line: &str| line.chars().all(|c| matches!(c, '-' | '=' | '_' | ' '));
    let lines: Vec<Vec<char>> = all[header.unwrap_or(0)..]
        .iter()
        .filter(|line| parted(line) * 2 >= usual && !is_rule(line))
        .map(|line| line.chars().collect())
        .collect();
    let width = lines.iter().map(Vec::len).max()?;
    let blank = |at: usize| lines.iter().all(|line| line.get(at).is_none_or(|c| *c == ' '));
    let mut found = Vec::new();
    for at in 0..width {
        if !blank(at) && (at == 0 || blank(at - 1)) {
            found.push(at);
        }
    }
    // A part without a name of its own belongs to the column before.
    let names = &lines[0];
    let named = |(n, from): (usize, &usize)| {
        let to = found.get(n + 1).copied().unwrap_or(width);
        (*from..to).any(|at| names.get(at).is_some_and(|c| *c != ' '))
    };
    let mut starts: Vec<usize> =
        found.iter().enumerate().filter(|pair| named(*pair)).map(|(_, from)| from + 1).collect();
    *starts.first_mut()? = 1;
    (starts.len() >= 3).then_some(starts)
}
