//! Line template: a pattern with typed placeholders, compiled as the profile is loaded.
//!
//! ```text
//!  {date:%d.%m.%Y} {time:%H:%M:%S} [{asset}] {phase}: {resistance} at {test_voltage:V}
//!         1       2                3    4                                  5
//! ```
//! 1 a time, with its pattern; without one those of `[time]` hold  2 a space: one or more blanks
//! 3 a literal, as it stands  4 a text: up to what follows it in the pattern  5 a quantity, with
//! the unit that is not printed; without one the printed unit or that of `[units]` holds.
//! `{_}` is any text. Two placeholders need something between them.

use nom::bytes::complete::{tag, take_until, take_while1};
use nom::character::complete::{digit1, space1};
use nom::combinator::{opt, recognize};
use nom::sequence::separated_pair;
use nom::{IResult, Parser};
use serde::Deserialize;

use crate::cells::{Cells, Header, Maker};
use crate::fault::{Fault, Wrong};
use crate::fields::Field;
use crate::format::{Decoder, Format, Record, put};
use crate::piece::number::{goes_on, num};
use crate::piece::resistance::{mark, over_word};
use crate::piece::time::{Order, Pattern};
use crate::piece::unit::{Quantity, unit};
use crate::profile::Profile;
use crate::profile::rules::Rules;
use crate::raw::Parsed;

/// Longest unit in characters, with its blanks inside (`M Ohm`).
const UNIT_CHARS: usize = 9;

/// The table `[template]` of a profile.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Layout {
    /// Patterns, tried in this order.
    lines: Vec<String>,
    /// Lines that begin so carry no reading.
    #[serde(default)]
    skip: Vec<String>,
}

/// The row of `FORMATS`.
pub(crate) struct LineTemplate;

impl Format for LineTemplate {
    fn name(&self) -> &'static str {
        "template"
    }

    fn about(&self) -> &'static str {
        "lines that a pattern with typed placeholders describes, such as a printed log"
    }

    fn is_local(&self, profile: &Profile) -> bool {
        compile(profile).is_ok_and(|(_, rules)| rules.has_local_times())
    }

    fn open(&self, profile: &Profile) -> Result<Box<dyn Decoder>, Wrong> {
        let (lines, rules) = compile(profile)?;
        let skip = profile.written().template.clone().unwrap_or_default().skip;
        Ok(Box::new(Lines { lines, rules, skip, order: Order::default() }))
    }
}

/// One piece of a pattern.
#[derive(Debug, PartialEq)]
enum Token {
    Blank,
    Literal(String),
    /// Its field (none: any text), and whether the pattern fixes its unit.
    Hole(Option<Field>, bool),
}

/// One pattern.
struct Line {
    tokens: Vec<Token>,
    header: Header,
}

/// The patterns of a profile, and its rules with the time patterns of the placeholders added.
fn compile(profile: &Profile) -> Result<(Vec<Line>, Rules), Wrong> {
    let layout = profile.written().template.clone().unwrap_or_default();
    if layout.lines.is_empty() {
        return Err(Wrong::new("a pattern in `template.lines`", "none"));
    }
    let mut rules = profile.rules().clone();
    let mut lines = Vec::new();
    for pattern in &layout.lines {
        let mut line = Line { tokens: Vec::new(), header: Header::of(profile.rules()) };
        let mut rest = pattern.as_str();
        while !rest.is_empty() {
            rest = line.token(rest, &mut rules)?;
        }
        let between = |pair: &[Token]| matches!(pair, [Token::Hole(..), Token::Hole(..)]);
        if line.tokens.windows(2).any(between) {
            let expected = "something between two placeholders in `template.lines`";
            return Err(Wrong::new(expected, pattern));
        }
        let has = |token: &Token| matches!(token, Token::Hole(Some(Field::Resistance), _));
        if !line.tokens.iter().any(has) {
            let expected = "a placeholder `{resistance}` in each of `template.lines`";
            return Err(Wrong::new(expected, pattern));
        }
        lines.push(line);
    }
    Ok((lines, rules))
}

impl Line {
    /// Compiles one token at the start of a pattern; answers what follows it.
    fn token<'a>(&mut self, text: &'a str, rules: &mut Rules) -> Result<&'a str, Wrong> {
        if text.starts_with([' ', '\t']) {
            self.tokens.push(Token::Blank);
            return Ok(text.trim_start_matches([' ', '\t']));
        }
        let Some(inside) = text.strip_prefix('{') else {
            let end = text.find(['{', ' ', '\t']).unwrap_or(text.len());
            self.tokens.push(Token::Literal(text[..end].to_owned()));
            return Ok(&text[end..]);
        };
        let (inside, rest) =
            inside.split_once('}').ok_or_else(|| Wrong::new("`}` behind a placeholder", text))?;
        let (name, argument) = match inside.split_once(':') {
            Some((name, argument)) => (name.trim(), Some(argument)),
            None => (inside.trim(), None),
        };
        if name == "_" {
            self.tokens.push(Token::Hole(None, false));
            return Ok(rest);
        }
        let field = Field::named(name)
            .ok_or_else(|| Wrong::new("a placeholder of a field or `{_}`", name))?;
        if let Some(argument) = argument {
            self.argument(field, argument, rules)?;
        }
        self.tokens.push(Token::Hole(Some(field), argument.is_some()));
        Ok(rest)
    }

    fn argument(&mut self, field: Field, text: &str, rules: &mut Rules) -> Result<(), Wrong> {
        if let Some(patterns) = match field {
            Field::TakenAt => Some(&mut rules.time.whole),
            Field::Date => Some(&mut rules.time.date),
            Field::Time => Some(&mut rules.time.clock),
            _ => None,
        } {
            let pattern = Pattern::new(text)?;
            if !patterns.contains(&pattern) {
                patterns.push(pattern);
            }
            return Ok(());
        }
        let known = field.quantity().and_then(|kind| unit(kind, text));
        let name = field.name();
        self.header.units[field.index()] =
            Some(known.ok_or_else(|| {
                Wrong::new(format!("a unit of `{name}` in its placeholder"), text)
            })?);
        Ok(())
    }

    /// The cells of a text; else how far it fitted and why no further.
    fn read<'a>(&self, text: &'a str, rules: &Rules) -> Result<Cells<'a>, (usize, Fault)> {
        let mut cells = Cells::new();
        let mut rest = text;
        for (at, token) in self.tokens.iter().enumerate() {
            let (field, expected, found) = match token {
                Token::Blank => ("", "a blank".to_owned(), space1.parse(rest)),
                Token::Literal(literal) => {
                    ("", format!("`{literal}`"), tag(literal.as_str()).parse(rest))
                }
                Token::Hole(field, fixed) => {
                    let name = field.map_or("_", Field::name);
                    let found = extent(rest, *field, *fixed, &self.tokens[at + 1..], rules);
                    (name, format!("`{{{name}}}`"), found)
                }
            };
            let Ok((behind, taken)) = found else {
                let fitted = text.len() - rest.len();
                return Err((fitted, Fault::new("layout", field, expected, rest)));
            };
            if let Token::Hole(Some(field), _) = token {
                cells.set(*field, taken);
            }
            rest = behind;
        }
        if rest.trim().is_empty() {
            Ok(cells)
        } else {
            let fitted = text.len() - rest.len();
            Err((fitted, Fault::new("layout", "", "the end of the line", rest)))
        }
    }
}

/// How much of the text belongs to a placeholder.
fn extent<'a>(
    text: &'a str,
    field: Option<Field>,
    fixed: bool,
    next: &[Token],
    rules: &Rules,
) -> IResult<&'a str, &'a str> {
    let patterns = match field {
        Some(Field::TakenAt) => &rules.time.whole[..],
        Some(Field::Date) => &rules.time.date[..],
        Some(Field::Time) => &rules.time.clock[..],
        _ => &[],
    };
    if let Some(len) = patterns.iter().filter_map(|pattern| pattern.prefix(text)).max() {
        return Ok((&text[len..], &text[..len]));
    }
    if let Some(kind) = field.and_then(Field::quantity)
        && let Ok(found) = quantity(text, kind, fixed, next, rules)
    {
        return Ok(found);
    }
    text_up_to(text, next)
}

/// A marked number with the unit behind it, or an over-range word.
fn quantity<'a>(
    text: &'a str,
    kind: Quantity,
    fixed: bool,
    next: &[Token],
    rules: &Rules,
) -> IResult<&'a str, &'a str> {
    let mut rest = text;
    if kind == Quantity::Resistance {
        (rest, _) = (opt(mark), opt(space1)).parse(rest)?;
    }
    let word = over_word(rest, &rules.resistance).filter(|_| kind == Quantity::Resistance);
    rest = match word {
        Some(len) => &rest[len..],
        None if kind == Quantity::Duration => match minutes_seconds(rest) {
            Ok((behind, _)) => behind,
            Err(_) => num(rest, rules.resistance.style)?.0,
        },
        None => num(rest, rules.resistance.style)?.0,
    };
    // A mark that is not declared makes the number wrong, not the line: let the cell say so.
    if goes_on(rest) {
        rest = rest.trim_start_matches(|c: char| c.is_ascii_digit() || ".,'".contains(c));
    }
    let blank = rest.len() - rest.trim_start_matches([' ', '\t']).len();
    // Where the pattern fixes the unit, a letter behind a blank is the next thing on the line.
    if !(fixed && blank > 0)
        && let Some(len) = unit_at(&rest[blank..], kind, next)
    {
        rest = &rest[blank + len..];
    }
    let len = text.len() - rest.len();
    // `4M7` is a number, a unit and then more of it: leave that to the rule for texts.
    if rest.starts_with(|c: char| c.is_alphanumeric()) {
        return Err(nom::Err::Error(nom::error::Error::new(text, nom::error::ErrorKind::Verify)));
    }
    Ok((rest, &text[..len]))
}

/// `1:30`, as a display shows a running test.
fn minutes_seconds(text: &str) -> IResult<&str, &str> {
    recognize(separated_pair(digit1, tag(":"), digit1)).parse(text)
}

/// Length of the longest unit at the start of a text, if something that ends it follows.
fn unit_at(text: &str, kind: Quantity, next: &[Token]) -> Option<usize> {
    let ends = |rest: &str| match next.first() {
        _ if rest.is_empty() || rest.starts_with([' ', '\t']) => true,
        Some(Token::Literal(literal)) => rest.starts_with(literal.as_str()),
        _ => false,
    };
    let ends_of = text.char_indices().map(|(at, c)| at + c.len_utf8()).take(UNIT_CHARS);
    ends_of.filter(|&len| ends(&text[len..]) && unit(kind, &text[..len]).is_some()).last()
}

/// A text up to what follows it in the pattern; the last takes the rest.
fn text_up_to<'a>(text: &'a str, next: &[Token]) -> IResult<&'a str, &'a str> {
    match next {
        [] => Ok(("", text)),
        [Token::Literal(literal), ..] => take_until(literal.as_str()).parse(text),
        [Token::Blank, Token::Literal(literal), ..] => {
            let fits = |at: &usize| {
                text[*at..].trim_start_matches([' ', '\t']).starts_with(literal.as_str())
            };
            let blanks = text.char_indices().filter(|(_, c)| matches!(c, ' ' | '\t'));
            match blanks.map(|(at, _)| at).find(fits) {
                Some(at) if at > 0 => Ok((&text[at..], &text[..at])),
                _ => take_while1(|c| !matches!(c, ' ' | '\t')).parse(text),
            }
        }
        _ => take_while1(|c| !matches!(c, ' ' | '\t')).parse(text),
    }
}

struct Lines {
    lines: Vec<Line>,
    rules: Rules,
    skip: Vec<String>,
    order: Order,
}

impl Decoder for Lines {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        let text = record.text.trim();
        if text.is_empty() || self.skip.iter().any(|start| text.starts_with(start.as_str())) {
            out.silent += 1;
            return Ok(());
        }
        // The reject tells of the pattern that fitted furthest.
        let mut nearest: Option<(usize, Fault)> = None;
        for line in &self.lines {
            match line.read(text, &self.rules) {
                Ok(cells) => {
                    let maker = Maker { rules: &self.rules, header: &line.header };
                    put(record, maker.reading(&cells, record.place, &mut self.order), out);
                    return Ok(());
                }
                Err(miss) => {
                    if nearest.as_ref().is_none_or(|(fitted, _)| miss.0 > *fitted) {
                        nearest = Some(miss);
                    }
                }
            }
        }
        if let Some((_, fault)) = nearest {
            put(record, Err(fault), out);
        }
        Ok(())
    }
}
