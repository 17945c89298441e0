//! A printed resistance: measured, at least or at most; in every spelling, none of them a guess.
//!
//! ```text
//!  >=   550,0   MΩ          OL   MΩ          4M7
//!  |      |      |          |    |           |
//!  1      2      3          4    3           5
//! ```
//! 1 mark  2 number  3 unit  4 over-range word  5 letter as decimal point (IEC 60062)

use nom::branch::alt;
use nom::bytes::complete::tag;
use nom::character::complete::{digit1, one_of};
use nom::combinator::{all_consuming, opt, recognize, value};
use nom::{IResult, Parser};

use crate::fault::Fault;
use crate::piece::number::{Style, num};
use crate::piece::quantity::{check, unit_behind};
use crate::piece::unit::{Quantity, Unit, unit};
use crate::raw::{Bound, Resistance};

/// What a stream says about its resistances.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Rules {
    pub(crate) style: Style,
    /// More words for over-range, such as `---`.
    pub(crate) over: Vec<String>,
    /// More words for under-range.
    pub(crate) under: Vec<String>,
    /// The profile's range limit in ohms.
    pub(crate) full_scale: Option<f64>,
    /// The full scale printed without a mark is over-range.
    pub(crate) full_scale_is_over: bool,
    /// The lowest reading in ohms, which a printed zero is at most.
    pub(crate) lowest: Option<f64>,
}

impl Rules {
    /// Plain numbers, and nothing known of the tester.
    pub(crate) const PLAIN: Rules = Rules {
        style: Style::PLAIN,
        over: Vec::new(),
        under: Vec::new(),
        full_scale: None,
        full_scale_is_over: false,
        lowest: None,
    };
}

/// Words for over-range; compared without regard to case.
const OVER_WORDS: [&str; 7] = ["O.L.", "O.L", "OL", "INFINITY", "INF", "∞", "+∞"];

/// SCPI-99 volume 1, 7.2.1.4: infinity is 9.9E37, not-a-number 9.91E37 (figures as in public
/// manuals of the standard). A 32-bit float keeps seven digits, hence a tolerance.
const SCPI_INFINITY: f64 = 9.9e37;
const SCPI_NOT_A_NUMBER: f64 = 9.91e37;
const SCPI_TOLERANCE: f64 = 1e-5;

/// A mark before the number.
pub(crate) fn mark(text: &str) -> IResult<&str, Bound> {
    let over = alt((tag(">="), tag("≥"), tag(">")));
    let under = alt((tag("<="), tag("≤"), tag("<")));
    let measured = tag("=");
    alt((value(Bound::Over, over), value(Bound::Under, under), value(Bound::Measured, measured)))
        .parse(text)
}

/// The resistance of a cell. `outside` is the unit stated elsewhere, `bound` what a column of its
/// own says, `full_scale` the range limit in ohms that this record states.
pub(crate) fn resistance(
    cell: &str,
    rules: &Rules,
    outside: Option<Unit>,
    bound: Option<Bound>,
    full_scale: Option<f64>,
    field: &str,
) -> Result<Resistance, Fault> {
    let full_scale = full_scale.or(rules.full_scale);
    let (rest, marked) = opt(mark).parse(cell).unwrap_or((cell, None));
    let rest = rest.trim_start();
    let bound = agree(marked, bound, field, cell)?;
    if is_over(rest, rules) {
        return match bound {
            None | Some(Bound::Over) => Ok(Resistance::Over(full_scale)),
            Some(_) => Err(Fault::new("bound", field, "`>` beside an over-range mark", cell)),
        };
    }
    if rules.under.iter().any(|word| word.eq_ignore_ascii_case(rest)) {
        return match bound {
            None | Some(Bound::Under) => Ok(Resistance::Under(rules.lowest)),
            Some(_) => Err(Fault::new("bound", field, "`<` beside an under-range mark", cell)),
        };
    }
    let (ohms, code) = match letter_point(rest) {
        Some(ohms) => (ohms, false),
        None => {
            let number = || Fault::new("number", field, rules.style.expected(), cell);
            let (behind, value) = num(rest, rules.style).map_err(|_| number())?;
            if is_not_a_number(value) {
                return Err(Fault::new(
                    "number",
                    field,
                    "a number, not the not-a-number code",
                    cell,
                ));
            }
            if near(value, SCPI_INFINITY) {
                (value, true)
            } else {
                let style = rules.style;
                let unit = unit_behind(behind, Quantity::Resistance, outside, style, field, cell)?;
                (unit.apply(value), false)
            }
        }
    };
    let ohms = check(ohms, Quantity::Resistance, field, cell)?;
    let at_full_scale =
        rules.full_scale_is_over && full_scale.is_some_and(|top| (ohms - top).abs() <= top * 1e-9);
    match bound {
        None | Some(Bound::Over) if code => Ok(Resistance::Over(full_scale)),
        Some(_) if code => Err(Fault::new("bound", field, "`>` beside the infinity code", cell)),
        Some(Bound::Over) if ohms > 0.0 => Ok(Resistance::Over(Some(ohms))),
        Some(Bound::Over) => Err(Fault::new("value", field, "a number above zero after `>`", cell)),
        Some(Bound::Under) if ohms > 0.0 => Ok(Resistance::Under(Some(ohms))),
        _ if ohms == 0.0 => Ok(Resistance::Under(rules.lowest)),
        None if at_full_scale => Ok(Resistance::Over(full_scale)),
        _ => Ok(Resistance::Measured(ohms)),
    }
}

/// One bound out of the mark in the cell and the column beside it.
fn agree(
    marked: Option<Bound>,
    column: Option<Bound>,
    field: &str,
    cell: &str,
) -> Result<Option<Bound>, Fault> {
    match (marked, column) {
        (Some(marked), Some(column)) if marked != column => {
            Err(Fault::new("bound", field, "the same mark as in the column of the bound", cell))
        }
        _ => Ok(marked.or(column)),
    }
}

/// Length of the over-range word at the start of a text.
pub(crate) fn over_word(text: &str, rules: &Rules) -> Option<usize> {
    let own = rules.over.iter().map(String::as_str);
    own.chain(OVER_WORDS).filter(|word| !word.is_empty()).find_map(|word| {
        let (begin, behind) = text.split_at_checked(word.len())?;
        let ends = !behind.starts_with(|c: char| c.is_alphanumeric());
        (begin.eq_ignore_ascii_case(word) && ends).then_some(word.len())
    })
}

/// Whether a text, apart from a unit behind it, says over-range.
fn is_over(text: &str, rules: &Rules) -> bool {
    over_word(text, rules).is_some_and(|len| {
        let behind = text[len..].trim();
        behind.is_empty() || unit(Quantity::Resistance, behind).is_some()
    })
}

/// `4M7`, `4k7Ω`, `470R`, `2G2`: the prefix stands where the decimal mark would.
/// IEC 60062, clause on marking codes for resistance (from memory).
fn letter_point(text: &str) -> Option<f64> {
    fn code(text: &str) -> IResult<&str, (&str, char, &str)> {
        (digit1, one_of("RKkMGT"), digit1).parse(text)
    }
    fn ohms(text: &str) -> IResult<&str, (&str, char, &str)> {
        (digit1, one_of("R"), recognize(nom::combinator::success(""))).parse(text)
    }
    let bare = ["\u{3a9}", "\u{2126}"].iter().find_map(|sign| text.strip_suffix(sign));
    let (_, (whole, letter, part)) =
        all_consuming(alt((code, ohms))).parse(bare.unwrap_or(text)).ok()?;
    let factor = match letter {
        'R' => 1.0,
        'K' | 'k' => 1e3,
        'M' => 1e6,
        'G' => 1e9,
        _ => 1e12,
    };
    Some(format!("{whole}.{part}").parse::<f64>().ok()? * factor)
}

/// The SCPI code that says "this is no number".
pub(crate) fn is_not_a_number(value: f64) -> bool {
    near(value, SCPI_NOT_A_NUMBER)
}

fn near(value: f64, code: f64) -> bool {
    (value / code - 1.0).abs() < SCPI_TOLERANCE
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A tester whose range ends at 550 MΩ and begins at 10 kΩ; numbers without unit are MΩ.
    fn read(cell: &str) -> Result<Resistance, &'static str> {
        let rules = Rules {
            full_scale: Some(550e6),
            full_scale_is_over: true,
            lowest: Some(1e4),
            over: vec!["---".to_owned()],
            ..Rules::PLAIN
        };
        let megohms = unit(Quantity::Resistance, "MΩ");
        resistance(cell, &rules, megohms, None, None, "r").map_err(|fault| fault.kind)
    }

    #[test]
    fn over_range_in_every_spelling() {
        // Common practice of testers and multimeters, no published source.
        for cell in
            ["OL", "ol", "O.L", "O.L.", "∞", "INF", "---", "OL MΩ", ">OL", "550", "550.0 MΩ"]
        {
            assert_eq!(read(cell), Ok(Resistance::Over(Some(550e6))), "{cell}");
        }
        for (cell, ohms) in [(">550", 550e6), ("> 550 MΩ", 550e6), ("≥2 G", 2e9), (">= 2GΩ", 2e9)]
        {
            assert_eq!(read(cell), Ok(Resistance::Over(Some(ohms))), "{cell}");
        }
        assert_eq!(read("<10 kΩ"), Ok(Resistance::Under(Some(1e4))));
        assert_eq!(read("0"), Ok(Resistance::Under(Some(1e4))));
        assert_eq!(read("0.00 MΩ"), Ok(Resistance::Under(Some(1e4))));
        assert_eq!(read("549.9"), Ok(Resistance::Measured(549.9e6)));
    }

    #[test]
    fn scpi_codes() {
        // SCPI-99, volume 1, 7.2.1.4 and 7.2.1.5 (figures from memory): infinity 9.9E37,
        // negative infinity -9.9E37, not a number 9.91E37; and what a 32-bit float makes of them.
        assert_eq!(read("9.9E37"), Ok(Resistance::Over(Some(550e6))));
        assert_eq!(read(&f64::from(9.9e37_f32).to_string()), Ok(Resistance::Over(Some(550e6))));
        assert_eq!(read("9.91E+37"), Err("number"));
        assert_eq!(read(&f64::from(9.91e37_f32).to_string()), Err("number"));
        assert_eq!(read("-9.9E37"), Err("value"));
    }

    #[test]
    fn letters_as_decimal_points() {
        // IEC 60062 (from memory): 4k7 is 4.7 kΩ, 4M7 4.7 MΩ, 4R7 4.7 Ω.
        for (cell, ohms) in
            [("4k7", 4.7e3), ("4M7", 4.7e6), ("4R7", 4.7), ("470R", 470.0), ("2G2Ω", 2.2e9)]
        {
            assert_eq!(read(cell), Ok(Resistance::Measured(ohms)), "{cell}");
        }
    }

    #[test]
    fn what_is_no_resistance() {
        let cases = [
            ("", "number"),
            ("NaN", "number"),
            ("-5", "value"),
            ("1,5", "number"),
            ("1'000", "number"),
            ("5 V", "unit"),
            ("5 MV", "unit"),
            (">0", "value"),
            ("<OL", "bound"),
            ("OLD", "number"),
            ("INFO", "number"),
            ("5 6", "number"),
            (">>5", "number"),
        ];
        for (cell, kind) in cases {
            assert_eq!(read(cell), Err(kind), "{cell}");
        }
    }
}
