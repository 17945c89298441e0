//! How a column writes its times: patterns that fit every cell, and the order of day and month
//! where more than one order does.

use std::collections::{BTreeMap, BTreeSet};

use jiff::fmt::strtime::BrokenDownTime;

use super::ask::{Asker, candidate};
use crate::piece::rfc3339;
use crate::piece::time::Pattern;

/// In which order the parts of a date stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Order {
    /// Written so that there is only one way to read it.
    Clear,
    DayFirst,
    MonthFirst,
    YearFirst,
}

impl Order {
    const ALL: [(Order, &'static str, &'static str); 3] = [
        (Order::DayFirst, "dmy", "day, month, year"),
        (Order::MonthFirst, "mdy", "month, day, year"),
        (Order::YearFirst, "ymd", "year, month, day"),
    ];
}

/// The years of a dated test, wide enough for any archive.
const YEARS: std::ops::RangeInclusive<i16> = 1970..=2099;

/// Every way to write a date; the order is clear where a letter or the year tells.
fn dates() -> &'static [(Order, &'static str)] {
    use Order::{Clear, DayFirst, MonthFirst, YearFirst};
    &[
        (Clear, "%Y-%m-%d"),
        (Clear, "%Y/%m/%d"),
        (Clear, "%Y.%m.%d"),
        (Clear, "%Y%m%d"),
        (Clear, "%d-%b-%Y"),
        (Clear, "%d %b %Y"),
        (Clear, "%d/%b/%Y"),
        (Clear, "%d. %b %Y"),
        (Clear, "%d %B %Y"),
        (Clear, "%d. %B %Y"),
        (Clear, "%d-%b-%y"),
        (Clear, "%d %b %y"),
        (Clear, "%b %d, %Y"),
        (Clear, "%b %d %Y"),
        (Clear, "%B %d, %Y"),
        (DayFirst, "%d.%m.%Y"),
        (MonthFirst, "%m.%d.%Y"),
        (DayFirst, "%d/%m/%Y"),
        (MonthFirst, "%m/%d/%Y"),
        (DayFirst, "%d-%m-%Y"),
        (MonthFirst, "%m-%d-%Y"),
        (DayFirst, "%d.%m.%y"),
        (MonthFirst, "%m.%d.%y"),
        (YearFirst, "%y.%m.%d"),
        (DayFirst, "%d/%m/%y"),
        (MonthFirst, "%m/%d/%y"),
        (YearFirst, "%y/%m/%d"),
        (DayFirst, "%d-%m-%y"),
        (MonthFirst, "%m-%d-%y"),
        (YearFirst, "%y-%m-%d"),
    ]
}

const CLOCKS: [&str; 10] = [
    "%H:%M:%S",
    "%H:%M",
    "%H:%M:%S%.f",
    "%I:%M:%S %p",
    "%I:%M %p",
    "%I:%M:%S%p",
    "%I:%M%p",
    "%Hh%M",
    "%H.%M.%S",
    "%H.%M",
];
const OFFSETS: [&str; 4] = ["%:z", " %:z", "%z", " %z"];

/// One way to read a cell.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Reading {
    order: Order,
    pattern: String,
    has_clock: bool,
    has_offset: bool,
}

/// The value as a date alone, or with a clock behind it, in every way there is.
fn readings(cell: &str) -> Vec<Reading> {
    let made = |order, pattern: &str, has_clock, has_offset| Reading {
        order,
        pattern: pattern.to_owned(),
        has_clock,
        has_offset,
    };
    if cell.len() > 10 && rfc3339::instant(cell).is_some() {
        return vec![made(Order::Clear, Pattern::RFC_3339, true, true)];
    }
    if !cell.starts_with(|c: char| c.is_ascii_alphanumeric()) || cell.len() < 6 {
        return Vec::new();
    }
    let mut found = Vec::new();
    for (order, date) in dates() {
        let Ok((parsed, len)) = BrokenDownTime::parse_prefix(date, cell) else { continue };
        let fits = parsed.to_date().is_ok_and(|date| YEARS.contains(&date.year()));
        let rest = &cell[len..];
        // `%y` must not take the first half of a year in four digits.
        if !fits || rest.starts_with(|c: char| c.is_ascii_digit()) {
            continue;
        }
        if rest.is_empty() {
            found.push(made(*order, date, false, false));
            continue;
        }
        let clock = rest.trim_start_matches(|c: char| !c.is_ascii_digit());
        let between = &rest[..rest.len() - clock.len()];
        if between.len() > 4 || between.contains('%') || clock.is_empty() {
            continue;
        }
        if let Some((pattern, has_offset)) = clock_of(clock) {
            found.push(made(*order, &format!("{date}{between}{pattern}"), true, has_offset));
        }
    }
    found
}

/// The pattern of a clock, with an offset or without.
fn clock_of(text: &str) -> Option<(String, bool)> {
    if !text.contains([':', 'h', '.']) {
        return None;
    }
    for clock in CLOCKS {
        let Ok((_, len)) = BrokenDownTime::parse_prefix(clock, text) else { continue };
        if len == text.len() {
            return Some((clock.to_owned(), false));
        }
        for offset in OFFSETS {
            if BrokenDownTime::parse(format!("{clock}{offset}"), text).is_ok() {
                return Some((format!("{clock}{offset}"), true));
            }
        }
    }
    None
}

/// Whether a cell can be a date, with or without a clock.
pub(super) fn is_date(cell: &str) -> bool {
    !readings(cell).is_empty()
}

/// Whether a cell can be a date with a clock behind it.
pub(super) fn has_clock(cell: &str) -> bool {
    readings(cell).iter().any(|reading| reading.has_clock)
}

/// Whether a cell is a time of day.
pub(super) fn is_clock(cell: &str) -> bool {
    cell.contains([':', 'h']) && clock_of(cell).is_some_and(|(_, offset)| !offset)
}

/// Whether a cell is `07.45`, two digits on either side.
pub(super) fn is_dotted_clock(cell: &str) -> bool {
    cell.len() == 5 && cell.as_bytes()[2] == b'.' && clock_of(cell).is_some()
}

/// Whether a cell is a time of day with `AM` or `PM`: no duration is written so.
pub(super) fn is_half_day(cell: &str) -> bool {
    is_clock(cell) && cell.to_uppercase().ends_with('M')
}

/// The patterns of a column with dates, as far as they are known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Patterns {
    /// Empty: the order is open, or nothing fits.
    pub(super) patterns: Vec<String>,
    /// Each order that is open, with its patterns.
    pub(super) open: Vec<(&'static str, Vec<String>)>,
    pub(super) is_local: bool,
    /// Why this order, for the comment.
    pub(super) because: String,
}

/// Decides the patterns of dates or asks for the order.
pub(super) fn patterns<'a>(
    cells: impl Iterator<Item = &'a str>,
    asker: &mut Asker<'_>,
) -> Patterns {
    let distinct: BTreeSet<&str> = cells.collect();
    let mut by_order: BTreeMap<Order, (BTreeSet<String>, usize)> = BTreeMap::new();
    let mut deciding: BTreeMap<Order, &str> = BTreeMap::new();
    let (mut clear, mut clear_count, mut is_local, mut unclear) = (BTreeSet::new(), 0, false, 0);
    for cell in &distinct {
        let found = readings(cell);
        is_local |= found.iter().any(|reading| !reading.has_offset);
        if let Some(first) = found.iter().find(|reading| reading.order == Order::Clear) {
            clear.insert(first.pattern.clone());
            clear_count += 1;
            continue;
        }
        unclear += usize::from(!found.is_empty());
        let orders: BTreeSet<Order> = found.iter().map(|reading| reading.order).collect();
        if let (1, Some(only)) = (orders.len(), orders.first()) {
            deciding.entry(*only).or_insert(cell);
        }
        for order in orders {
            let entry = by_order.entry(order).or_default();
            entry.1 += 1;
            let pattern = found.iter().find(|reading| reading.order == order);
            entry.0.extend(pattern.map(|reading| reading.pattern.clone()));
        }
    }
    let with_clear = |patterns: &BTreeSet<String>| -> Vec<String> {
        clear.iter().chain(patterns).cloned().collect()
    };
    if unclear == 0 {
        let patterns = with_clear(&BTreeSet::new());
        let because = if clear_count > 0 { "written so that it is clear" } else { "" };
        return Patterns { patterns, is_local, because: because.to_owned(), open: Vec::new() };
    }
    let fitting: Vec<Order> = by_order
        .iter()
        .filter(|(_, (_, count))| *count == unclear)
        .map(|(order, _)| *order)
        .collect();
    if let [only] = fitting[..] {
        let because = deciding.get(&only).map_or_else(String::new, |cell| {
            let (_, _, words) =
                Order::ALL.iter().find(|(o, ..)| *o == only).unwrap_or(&Order::ALL[0]);
            format!("`{cell}` can only be {words}")
        });
        return Patterns {
            patterns: with_clear(&by_order[&only].0),
            is_local,
            because,
            open: Vec::new(),
        };
    }
    let conflict = fitting.is_empty();
    let eligible: Vec<_> = Order::ALL
        .iter()
        .filter(
            |(order, ..)| {
                if conflict { by_order.contains_key(order) } else { fitting.contains(order) }
            },
        )
        .collect();
    let samples: Vec<&str> = distinct
        .iter()
        .filter(|cell| readings(cell).iter().all(|reading| reading.order != Order::Clear))
        .take(3)
        .copied()
        .collect();
    let told = samples.iter().map(|cell| format!("`{cell}`")).collect::<Vec<_>>().join(", ");
    let unsure = if conflict {
        format!("no one order of day and month fits all dates ({told})")
    } else {
        format!("the dates ({told}) can be read in more than one order")
    };
    let candidates = eligible
        .iter()
        .map(|(order, key, words)| {
            let means = samples.iter().filter_map(|cell| meant(cell, *order)).collect::<Vec<_>>();
            candidate(key, &format!("{words}: {}", means.join(", ")))
        })
        .collect();
    let open: Vec<_> =
        eligible.iter().map(|(order, key, _)| (*key, with_clear(&by_order[order].0))).collect();
    match asker.ask("time.order", &unsure, candidates) {
        Some(answer) => {
            let chosen = open.iter().find(|(key, _)| *key == answer);
            let patterns = chosen.map(|(_, patterns)| patterns.clone()).unwrap_or_default();
            Patterns { patterns, is_local, because: "answered".to_owned(), open: Vec::new() }
        }
        None => Patterns { patterns: Vec::new(), is_local, because: String::new(), open },
    }
}

/// A cell's date as an order has it.
fn meant(cell: &str, order: Order) -> Option<String> {
    let reading = readings(cell).into_iter().find(|reading| reading.order == order)?;
    let date = BrokenDownTime::parse_prefix(&reading.pattern, cell).ok()?.0.to_date().ok()?;
    Some(format!("`{cell}` is {}", date.strftime("%-d %b %Y")))
}

/// The patterns of a column with times of day.
pub(super) fn clocks<'a>(cells: impl Iterator<Item = &'a str>) -> Vec<String> {
    let found: BTreeSet<String> =
        cells.filter_map(|cell| clock_of(cell).map(|(pattern, _)| pattern)).collect();
    found.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(cells: &[&str]) -> (Vec<String>, usize) {
        let answers = BTreeMap::new();
        let mut asker = Asker::new(&answers);
        let found = patterns(cells.iter().copied(), &mut asker);
        (found.patterns, asker.questions.len())
    }

    #[test]
    fn orders_are_shown_or_asked_for() {
        let one = |pattern: &str| (vec![pattern.to_owned()], 0);
        assert_eq!(of(&["2026-03-02", "2026-03-04"]), one("%Y-%m-%d"));
        assert_eq!(of(&["13/02/2026", "01/02/2026"]), one("%d/%m/%Y"));
        assert_eq!(of(&["02/13/2026 08:15"]), one("%m/%d/%Y %H:%M"));
        assert_eq!(of(&["2026-03-02T08:15:00Z"]), one("rfc3339"));
        assert_eq!(of(&["2-Mar-2026"]), one("%d-%b-%Y"));
        // 31 December 2026, or 26 December 2031.
        assert_eq!(of(&["31.12.26"]), (Vec::new(), 1));
        assert_eq!(of(&["01/02/2026"]), (Vec::new(), 1));
        assert_eq!(of(&["01.02.03"]), (Vec::new(), 1));
        assert_eq!(of(&["13/02/2026", "02/13/2026"]), (Vec::new(), 1));
        assert_eq!(of(&["02.28.2026 8:05 AM"]), one("%m.%d.%Y %I:%M %p"));
    }
}
