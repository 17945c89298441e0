//! What the numbers of a file say of their decimal and thousands marks, and what they leave open.

use std::collections::BTreeSet;

use super::ask::{Asker, candidate};

/// Marks that can stand between digits.
const MARKS: [char; 7] = ['.', ',', '\'', '’', ' ', '\u{a0}', '\u{202f}'];

/// A cell that begins with a number: the mark before it, its digits as written, what follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Number<'a> {
    pub(super) mark: &'a str,
    pub(super) digits: &'a str,
    pub(super) rest: &'a str,
}

/// Takes a cell apart, if it is a number with at most a unit behind it.
pub(super) fn number(cell: &str) -> Option<Number<'_>> {
    let cell = cell.trim();
    let body = cell.trim_start_matches(['<', '>', '=', '≥', '≤']);
    let mark = &cell[..cell.len() - body.len()];
    let body = body.trim_start();
    let unsigned = body.trim_start_matches(['+', '-', '−']);
    let sign = body.len() - unsigned.len();
    let mut end = 0;
    let mut chars = unsigned.char_indices().peekable();
    while let Some((at, c)) = chars.next() {
        let digit_next = chars.peek().is_some_and(|(_, c)| c.is_ascii_digit());
        let is_part =
            c.is_ascii_digit() || (MARKS.contains(&c) && digit_next && (end > 0 || at == 0));
        // A blank parts groups of three digits only.
        let blank = matches!(c, ' ' | '\u{a0}' | '\u{202f}');
        if !is_part || (blank && !is_group(&unsigned[at + c.len_utf8()..])) {
            break;
        }
        end = at + c.len_utf8();
    }
    let digits = &unsigned[..end];
    if !digits.contains(|c: char| c.is_ascii_digit()) || sign > 1 {
        return None;
    }
    let mut rest = unsigned[end..].trim_start_matches(['.', ',']);
    // `5.5E+08`
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let power = power.trim_start_matches(['+', '-']);
        let behind = power.trim_start_matches(|c: char| c.is_ascii_digit());
        if behind.len() < power.len() {
            rest = behind;
        }
    }
    Some(Number { mark, digits, rest: rest.trim() })
}

fn is_group(text: &str) -> bool {
    let digits = text.chars().take_while(char::is_ascii_digit).count();
    digits == 3
}

/// How a file writes its numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Style {
    /// None: open.
    pub(super) decimal: Option<char>,
    pub(super) thousands: Option<char>,
    /// Why, for the comment.
    pub(super) because: String,
}

impl Style {
    /// The value of a number's digits; none where they don't fit the style.
    pub(super) fn value(&self, digits: &str) -> Option<f64> {
        let decimal = self.decimal.unwrap_or('.');
        let plain: String = digits
            .chars()
            .filter(|c| Some(*c) != self.thousands)
            .map(|c| if c == decimal { '.' } else { c })
            .collect();
        plain.parse().ok()
    }
}

/// What all numbers together show.
#[derive(Default)]
struct Evidence<'a> {
    /// Marks that can only be decimal, each with the first number that shows it.
    decimal: Vec<(char, &'a str)>,
    /// Marks that can only part thousands.
    thousands: Vec<(char, &'a str)>,
    /// One mark with three digits behind it: either.
    either: Vec<(char, &'a str)>,
}

impl<'a> Evidence<'a> {
    fn note(&mut self, digits: &'a str) {
        let put = |list: &mut Vec<(char, &'a str)>, mark: char| {
            if !list.iter().any(|(known, text)| *known == mark && *text == digits) {
                list.push((mark, digits));
            }
        };
        let marks: Vec<(usize, char)> =
            digits.char_indices().filter(|(_, c)| !c.is_ascii_digit()).collect();
        let Some(&(at, last)) = marks.last() else { return };
        let kinds: BTreeSet<char> = marks.iter().map(|(_, c)| *c).collect();
        let count = marks.iter().filter(|(_, c)| *c == last).count();
        if !matches!(last, '.' | ',') {
            return put(&mut self.thousands, last);
        }
        let behind = digits.len() - at - last.len_utf8();
        let before = &digits[..at];
        if kinds.len() > 1 {
            if count == 1 {
                put(&mut self.decimal, last);
                kinds.iter().filter(|c| **c != last).for_each(|c| put(&mut self.thousands, *c));
            }
        } else if count > 1 {
            put(&mut self.thousands, last);
        } else if behind == 3 && (1..=3).contains(&before.len()) && !before.starts_with('0') {
            put(&mut self.either, last);
        } else {
            put(&mut self.decimal, last);
        }
    }
}

/// Decides the marks or asks for them. `plain`: the numbers are known to have a decimal point, as
/// those of a spreadsheet's cells.
pub(super) fn style<'a>(
    numbers: impl Iterator<Item = &'a str>,
    plain: bool,
    asker: &mut Asker<'_>,
) -> Style {
    let mut evidence = Evidence::default();
    let distinct: BTreeSet<&str> = numbers.collect();
    distinct.iter().for_each(|digits| evidence.note(digits));
    let Evidence { decimal, thousands, either } = evidence;
    let marks = |list: &[(char, &str)]| list.iter().map(|(c, _)| *c).collect::<BTreeSet<char>>();
    let (mut sure, grouping) = (marks(&decimal), marks(&thousands));
    // What parts thousands is not the decimal mark: the other one is.
    let mut because = decimal.first().map(|(_, text)| format!("`{text}` leaves no doubt"));
    if sure.is_empty() && plain {
        sure.insert('.');
        because = Some("numbers of a sheet's cells".to_owned());
    }
    if sure.is_empty() {
        for (mark, other) in [('.', ','), (',', '.')] {
            if grouping.contains(&mark) {
                sure.insert(other);
                because =
                    thousands.first().map(|(_, text)| format!("`{text}` has a thousands mark"));
            }
        }
    }
    let conflict = sure.len() > 1 || sure.iter().any(|mark| grouping.contains(mark));
    let samples = |list: &[(char, &str)]| -> Vec<String> {
        list.iter().take(3).map(|(_, text)| (*text).to_owned()).collect()
    };
    let decided = if conflict {
        let mut rows = samples(&decimal);
        rows.extend(samples(&thousands));
        let unsure = format!("numbers are written in two ways: {}", told(&rows));
        asker.ask(
            "numbers.decimal",
            &unsure,
            vec![candidate(".", "what does not fit is rejected"), candidate(",", "likewise")],
        )
    } else if let Some(mark) = sure.first() {
        Some(mark.to_string())
    } else {
        let rows = samples(&either);
        let unsure = if rows.is_empty() {
            "no number here has a decimal mark, so the file does not say which it is".to_owned()
        } else {
            format!("{} can be read in two ways", told(&rows))
        };
        let as_read = |mark: char| match rows.is_empty() {
            true => format!("`1{mark}5` is one and a half"),
            false => either
                .iter()
                .take(3)
                .map(|(written, text)| {
                    let style = Style {
                        decimal: Some(mark),
                        thousands: (*written != mark).then_some(*written),
                        because: String::new(),
                    };
                    format!("`{text}` is {}", style.value(text).unwrap_or(f64::NAN))
                })
                .collect::<Vec<_>>()
                .join(", "),
        };
        let candidates = vec![candidate(".", &as_read('.')), candidate(",", &as_read(','))];
        because = Some("answered".to_owned());
        asker.ask("numbers.decimal", &unsure, candidates)
    };
    let decimal = decided.and_then(|text| text.chars().next());
    let thousands = decimal.and_then(|mark| {
        let seen: Vec<char> = grouping.iter().copied().filter(|c| *c != mark).collect();
        if let Some(first) = seen.first() {
            return Some(*first);
        }
        let other: Vec<(char, &str)> = either.iter().copied().filter(|(c, _)| *c != mark).collect();
        let (parted, _) = other.first()?;
        if sure.is_empty() {
            // The answer to the decimal mark has said it already.
            return Some(*parted);
        }
        let unsure = format!("{} beside the decimal mark `{mark}`", told(&samples(&other)));
        let candidates = vec![
            candidate(&parted.to_string(), &format!("it parts thousands: `1{parted}234` is 1234")),
            candidate("none", "such a number is rejected"),
        ];
        let answer = asker.ask("numbers.thousands", &unsure, candidates)?;
        answer.chars().next().filter(|_| answer != "none")
    });
    Style { decimal, thousands, because: because.unwrap_or_default() }
}

fn told(rows: &[String]) -> String {
    rows.iter().map(|row| format!("`{row}`")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_cells() {
        let parts = |cell| number(cell).map(|n| (n.mark, n.digits, n.rest));
        assert_eq!(parts(">550 MΩ"), Some((">", "550", "MΩ")));
        assert_eq!(parts("> 1.234,5"), Some((">", "1.234,5", "")));
        assert_eq!(parts("1 234,5 MOhm"), Some(("", "1 234,5", "MOhm")));
        assert_eq!(parts("5.5E+08"), Some(("", "5.5", "")));
        assert_eq!(parts("500 60"), Some(("", "500", "60")));
        assert_eq!(parts("OL"), None);
    }

    #[test]
    fn marks_are_shown_or_asked_for() {
        let of = |numbers: &[&str]| {
            let answers = std::collections::BTreeMap::new();
            let mut asker = Asker::new(&answers);
            let style = style(numbers.iter().copied(), false, &mut asker);
            (style.decimal, style.thousands, asker.questions.len())
        };
        assert_eq!(of(&["1.234", "0.5"]), (Some('.'), None, 0));
        assert_eq!(of(&["1.234,5"]), (Some(','), Some('.'), 0));
        assert_eq!(of(&["1.234"]), (None, None, 1));
        assert_eq!(of(&["550"]), (None, None, 1));
        assert_eq!(of(&["1,5", "1.234"]), (Some(','), None, 1));
        assert_eq!(of(&["1'234.5"]), (Some('.'), Some('\''), 0));
        assert_eq!(of(&["1.234.567"]), (Some(','), Some('.'), 0));
        assert_eq!(of(&["1.5", "1,5"]), (None, None, 1));
    }
}
