//! Marks in place of a resistance, words in the column of the bound, and the end of the range.

use std::collections::BTreeMap;

use super::ask::{Asker, candidate};
use super::columns::{Col, Role};
use super::content::Content;
use super::numbers::{Style, number};
use super::words;
use crate::fields::Field;
use crate::piece::resistance::{Rules, mark, over_word, resistance};
use crate::piece::unit::{Quantity, Unit, unit};

/// More marks than this are no marks but text: then they are rejects, and a note says so.
const MARKS: usize = 8;

/// What the marks of a file mean.
#[derive(Clone, Debug, Default)]
pub(super) struct Marks {
    pub(super) over: Vec<String>,
    pub(super) under: Vec<String>,
    pub(super) empty: Vec<String>,
    /// Word of the bound's column → mark, or nothing.
    pub(super) bounds: Vec<(String, String)>,
    /// With its unit, as the profile writes it.
    pub(super) full_scale: Option<String>,
    pub(super) full_scale_is_over: bool,
    /// Ends of the range that the file shows, where nobody said which holds for a bare mark.
    pub(super) ends_seen: Vec<String>,
}

/// Reads the marks in the columns of resistances.
pub(super) fn marks(
    cols: &[Col],
    contents: &[Content],
    style: &Style,
    asker: &mut Asker<'_>,
    notes: &mut Vec<String>,
) -> Marks {
    let mut marks = Marks::default();
    let mut has_bare = false;
    let mut ends: BTreeMap<u64, String> = BTreeMap::new();
    let mut unknown = Vec::new();
    for (col, content) in cols.iter().zip(contents).filter(|(col, _)| is_resistance(col)) {
        for cell in &content.distinct {
            if let Some(number) = number(cell) {
                if number.mark.starts_with(['>', '≥'])
                    && let Some((ohms, written)) = end(number.digits, number.rest, col, style)
                {
                    ends.insert(ohms.to_bits(), written);
                }
                continue;
            }
            let ohms = Some(Unit::Scale(1.0));
            if resistance(cell, &Rules::PLAIN, ohms, None, None, "").is_ok() {
                let rest = mark(cell).map_or(cell.as_str(), |(rest, _)| rest).trim();
                has_bare |= over_word(rest, &Rules::PLAIN).is_some();
                continue;
            }
            match words::mark(cell) {
                Some("over") => {
                    has_bare = true;
                    marks.over.push(cell.clone());
                }
                Some("under") => marks.under.push(cell.clone()),
                Some("empty") => marks.empty.push(cell.clone()),
                _ if !unknown.contains(cell) => unknown.push(cell.clone()),
                _ => {}
            }
        }
    }
    if unknown.len() > MARKS {
        notes.push(format!(
            "{} texts such as `{}` stand where resistances are due: they will be rejects",
            unknown.len(),
            unknown[0]
        ));
        unknown.clear();
    }
    for text in unknown {
        let unsure = format!("`{text}` stands in place of a resistance");
        let candidates = vec![
            candidate("over", "above the range: at least the full scale"),
            candidate("under", "below the range: at most the lowest reading"),
            candidate("empty", "not measured: no reading"),
            candidate("reject", "keep it as a reject"),
        ];
        match asker.ask(&format!("marks.{text}"), &unsure, candidates).as_deref() {
            Some("over") => {
                has_bare = true;
                marks.over.push(text);
            }
            Some("under") => marks.under.push(text),
            Some("empty") => marks.empty.push(text),
            _ => {}
        }
    }
    bound_words(cols, contents, &mut marks, asker);
    let by_column = cols.iter().any(|col| col.role == Role::Field(Field::FullScale));
    marks.ends_seen = ends.into_values().collect();
    if has_bare && !by_column {
        let unsure = "a mark such as `OL` says no number: at which full scale (with its unit)";
        let hints =
            marks.ends_seen.iter().map(|end| candidate(end, "printed behind `>`")).collect();
        let fits =
            |text: &str| number(text).is_some_and(|n| unit(Quantity::Resistance, n.rest).is_some());
        marks.full_scale = asker.may_say(
            "resistance.full_scale",
            unsure,
            hints,
            "a resistance such as `550 MΩ`",
            fits,
        );
    }
    if !has_bare && marks.ends_seen.is_empty() {
        plateau(cols, contents, style, &mut marks, asker);
    }
    marks
}

pub(super) fn is_resistance(col: &Col) -> bool {
    matches!(col.role, Role::Field(Field::Resistance) | Role::Several(_))
}

/// The end of a range in ohms and as a profile writes it.
fn end(digits: &str, rest: &str, col: &Col, style: &Style) -> Option<(f64, String)> {
    style.decimal?;
    let written = if rest.is_empty() { col.unit.as_deref()? } else { rest };
    let ohms = unit(Quantity::Resistance, written)?.apply(style.value(digits)?);
    Some((ohms, format!("{digits} {written}")))
}

/// Words in a column of its own that say whether the number beside it is the end of the range.
fn bound_words(cols: &[Col], contents: &[Content], marks: &mut Marks, asker: &mut Asker<'_>) {
    let bounds = cols.iter().zip(contents).filter(|(col, _)| col.role == Role::Field(Field::Bound));
    for (_, content) in bounds {
        for word in &content.distinct {
            if matches!(mark(word), Ok(("", _))) {
                continue;
            }
            let meaning = match words::mark(word) {
                Some("over") => Some(">".to_owned()),
                Some("under") => Some("<".to_owned()),
                Some("fine") => Some(String::new()),
                _ => {
                    let unsure = format!("`{word}` stands in the column of the bound");
                    let candidates = vec![
                        candidate(">", "the number is the end of the range: at least"),
                        candidate("<", "at most"),
                        candidate("none", "it says nothing of the range"),
                    ];
                    let answer = asker.ask(&format!("bounds.{word}"), &unsure, candidates);
                    answer.map(|answer| answer.replace("none", ""))
                }
            };
            marks.bounds.extend(meaning.map(|meaning| (word.clone(), meaning)));
        }
    }
}

/// The same largest number again and again, and no mark in the file: it may be the end of the range.
fn plateau(
    cols: &[Col],
    contents: &[Content],
    style: &Style,
    marks: &mut Marks,
    asker: &mut Asker<'_>,
) {
    if style.decimal.is_none() || !marks.bounds.is_empty() {
        return;
    }
    let mut top: Option<(f64, String, usize)> = None;
    let mut all = 0;
    for (col, content) in cols.iter().zip(contents).filter(|(col, _)| is_resistance(col)) {
        for (cell, count) in &content.counted {
            let Some(number) = number(cell) else { continue };
            let Some((ohms, written)) = end(number.digits, number.rest, col, style) else {
                continue;
            };
            all += count;
            match &mut top {
                Some((most, _, times)) if (*most - ohms).abs() <= ohms * 1e-9 => *times += count,
                Some((most, ..)) if *most > ohms => {}
                _ => top = Some((ohms, written, *count)),
            }
        }
    }
    let Some((_, written, times)) = top.filter(|(_, _, times)| *times >= 3 && times * 5 >= all)
    else {
        return;
    };
    let unsure = format!(
        "the largest resistance, {written}, stands there {times} times in {all}, and nothing is \
         marked as over-range: is it the end of the tester's range"
    );
    let candidates = vec![
        candidate(&written, "the end of the range: such a reading is over-range"),
        candidate("none", "it was measured"),
    ];
    if let Some(answer) = asker.ask("resistance.top", &unsure, candidates)
        && answer != "none"
    {
        marks.full_scale = Some(answer);
        marks.full_scale_is_over = true;
    }
}
