//! A decimal number as instruments and spreadsheets write it.
//!
//! ```text
//!  -   1.234   ,  5     e+3
//!  |     |     |  |      |
//!  1     2     3  4      5     1 sign  2 digits, grouped only if a thousands mark is declared
//!                              3 decimal mark  4 digits  5 exponent
//! ```
//! Not nom's own `double`, which takes `inf`, `nan`, and reads `1,5` as 1.

use nom::branch::alt;
use nom::bytes::complete::take_while_m_n;
use nom::character::complete::{char, digit1, one_of};
use nom::combinator::{opt, recognize, verify};
use nom::multi::many1_count;
use nom::sequence::{pair, preceded};
use nom::{IResult, Parser};

/// How numbers are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Style {
    pub(crate) decimal: char,
    /// Between groups of three digits; none: not used, and then an ambiguity is refused.
    pub(crate) thousands: Option<char>,
}

impl Style {
    /// A decimal point and no grouping.
    pub(crate) const PLAIN: Style = Style { decimal: '.', thousands: None };

    /// How to say it to a person.
    pub(crate) fn expected(self) -> String {
        match self.thousands {
            None => format!("a number with decimal mark `{}` and no thousands mark", self.decimal),
            Some(mark) => {
                format!("a number with decimal mark `{}`, thousands mark `{mark}`", self.decimal)
            }
        }
    }
}

/// A number at the start of `text`, and what follows it.
pub(crate) fn num(text: &str, style: Style) -> IResult<&str, f64> {
    let (rest, written) = recognize((
        opt(one_of("+-")),
        alt((
            recognize((|t| whole(t, style), opt(pair(char(style.decimal), opt(digit1))))),
            recognize(preceded(char(style.decimal), digit1)),
        )),
        opt(exponent),
    ))
    .parse(text)?;
    let value = if style == Style::PLAIN || written.bytes().all(|b| b.is_ascii_digit()) {
        written.parse()
    } else {
        let keep = |c: &char| Some(*c) != style.thousands;
        let point = |c| if c == style.decimal { '.' } else { c };
        written.chars().filter(keep).map(point).collect::<String>().parse::<f64>()
    };
    match value {
        Ok(value) if f64::is_finite(value) => Ok((rest, value)),
        _ => Err(nom::Err::Error(nom::error::Error::new(text, nom::error::ErrorKind::Float))),
    }
}

/// Digits before the decimal mark, in groups of three where a thousands mark is declared.
fn whole(text: &str, style: Style) -> IResult<&str, &str> {
    let Some(mark) = style.thousands else { return digit1(text) };
    let digit = |c: char| c.is_ascii_digit();
    let group = preceded(char(mark), take_while_m_n(3, 3, digit));
    alt((recognize((take_while_m_n(1, 3, digit), many1_count(group))), digit1)).parse(text)
}

/// `e3`, `E+03`; with a space behind the `E` it would be a unit.
fn exponent(text: &str) -> IResult<&str, &str> {
    recognize((one_of("eE"), opt(one_of("+-")), verify(digit1, |d: &str| d.len() <= 3))).parse(text)
}

/// A whole cell that is a number with a decimal point. The quick way for long files: it looks at
/// each byte once and takes exactly what [`num`] takes.
pub(crate) fn plain(cell: &str) -> Option<f64> {
    let bytes = cell.as_bytes();
    let mut mantissa = 0_u64;
    let mut digits = |from: usize| {
        let run = bytes[from..].iter().take_while(|byte| byte.is_ascii_digit());
        run.fold(0, |count, byte| {
            mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
            count + 1
        })
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(sign);
    let mut at = sign + whole;
    let mut part = 0;
    if bytes.get(at) == Some(&b'.') {
        part = digits(at + 1);
        at += 1 + part;
    }
    if whole + part == 0 {
        return None;
    }
    // Fifteen digits and their power of ten are exact in a double, so one division rounds once
    // (W. D. Clinger, How to read floating point numbers accurately, 1990).
    if at == bytes.len() && sign == 0 && whole + part <= 15 {
        return Some(mantissa as f64 / POWERS_OF_TEN[part]);
    }
    if matches!(bytes.get(at), Some(b'e' | b'E')) {
        at += 1 + usize::from(matches!(bytes.get(at + 1), Some(b'+' | b'-')));
        let power = digits(at);
        if !(1..=3).contains(&power) {
            return None;
        }
        at += power;
    }
    if at != bytes.len() {
        return None;
    }
    cell.parse().ok().filter(|value: &f64| value.is_finite())
}

const POWERS_OF_TEN: [f64; 16] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// Whether what follows a number looks like more of it: a mark that was not declared.
pub(crate) fn goes_on(rest: &str) -> bool {
    let mut chars = rest.chars();
    chars.next().is_some_and(|c| matches!(c, '.' | ',' | '\'' | '’' | ' ' | '\u{a0}' | '\u{202f}'))
        && chars.next().is_some_and(|c| c.is_ascii_digit())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_declared_never_guessed() {
        let comma = Style { decimal: ',', thousands: None };
        let german = Style { decimal: ',', thousands: Some('.') };
        let whole = |text, style| num(text, style).ok().filter(|(rest, _)| rest.is_empty());
        assert_eq!(whole("1,5", comma), Some(("", 1.5)));
        assert_eq!(whole("1.234", comma), None);
        assert_eq!(whole("1,234", Style::PLAIN), None);
        assert_eq!(whole("1.234", Style::PLAIN), Some(("", 1.234)));
        assert_eq!(whole("1.234.567,5", german), Some(("", 1_234_567.5)));
        assert_eq!(whole("1.23", german), None);
        assert_eq!(whole("1234,5", german), Some(("", 1234.5)));
    }

    #[test]
    fn numeric_response_data_of_ieee_488_2() {
        // IEEE Std 488.2, NR1 integer, NR2 fixed point, NR3 with exponent (from memory).
        assert_eq!(plain("+550"), Some(550.0));
        assert_eq!(plain("-1.5"), Some(-1.5));
        assert_eq!(plain("+5.50E+08"), Some(5.5e8));
        assert_eq!(plain(".5"), Some(0.5));
        assert_eq!(plain("5."), Some(5.0));
    }

    #[test]
    fn what_is_no_number_never_becomes_one() {
        for text in
            ["inf", "nan", "infinity1", "", "-", ".", "e5", "1e", "1e999", "0x10", "1 2", "٣"]
        {
            assert_eq!(plain(text), None, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn the_quick_way_takes_the_same(cell in "[-+]?[0-9]{0,9}[.]?[0-9]{0,9}|[-+0-9.eE, a]{0,9}") {
            let slow = num(&cell, Style::PLAIN).ok().filter(|(rest, _)| rest.is_empty());
            proptest::prop_assert_eq!(plain(&cell), slow.map(|(_, value)| value));
        }
    }
}
