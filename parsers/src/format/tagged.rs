//! Tagged line: `key=value` pairs in any order, with an optional checksum.
//!
//! ```text
//!  $QT,pos=YT-014,ph=U,r=>550MΩ,u=512V,n=37*5C
//!  |      |                                 |
//!  1      2                                 3
//! ```
//! 1 start, where the profile names one  2 pairs; keys by the profile's `columns`  3 checksum in
//! two hexadecimal digits over the bytes before the mark, but for the first few that it skips

use serde::Deserialize;

use crate::cells::{Cells, Header, Maker};
use crate::fault::{Fault, Wrong};
use crate::fields::Field;
use crate::format::{Decoder, Format, Record, put};
use crate::header::same;
use crate::piece::time::Order;
use crate::profile::Profile;
use crate::raw::{Parsed, RawReading};

/// Names of unknown keys that are told.
const TOLD_KEYS: usize = 32;

/// The table `[tagged]` of a profile.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Layout {
    /// What every line begins with; none: nothing.
    #[serde(default)]
    start: String,
    /// Between pairs; none: `,`.
    separator: Option<char>,
    /// Between key and value; none: `=`.
    assign: Option<char>,
    /// Kind of checksum; none: there is none.
    checksum: Option<Checksum>,
    /// Bytes at the start of the line that the checksum leaves out.
    #[serde(default)]
    checksum_skips: usize,
    /// Before the checksum; none: `*`.
    checksum_mark: Option<char>,
    /// Lines that begin so carry no reading.
    #[serde(default)]
    skip: Vec<String>,
}

/// How bytes are summed up.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Checksum {
    /// Exclusive or of all bytes.
    Xor,
    /// Sum of all bytes modulo 256.
    Sum8,
}

impl Checksum {
    fn of(self, bytes: &[u8]) -> u8 {
        match self {
            Checksum::Xor => bytes.iter().fold(0, |sum, byte| sum ^ byte),
            Checksum::Sum8 => bytes.iter().fold(0, |sum, byte| sum.wrapping_add(*byte)),
        }
    }
}

/// The row of `FORMATS`.
pub(crate) struct TaggedLine;

impl Format for TaggedLine {
    fn name(&self) -> &'static str {
        "tagged"
    }

    fn about(&self) -> &'static str {
        "lines of `key=value` pairs with units, optionally with a checksum"
    }

    fn open(&self, profile: &Profile) -> Result<Box<dyn Decoder>, Wrong> {
        let layout = profile.written().tagged.clone().unwrap_or_default();
        if !profile.written().columns.contains_key(&Field::Resistance) {
            return Err(Wrong::new("a key for the resistance in `[columns]`", "none"));
        }
        if let Some(mark) = layout.checksum_mark.filter(|mark| !mark.is_ascii()) {
            return Err(Wrong::new("`tagged.checksum_mark` to be an ASCII mark", mark));
        }
        let header = Header::of(profile.rules());
        let (order, warnings) = Default::default();
        Ok(Box::new(Lines { profile: profile.clone(), layout, header, order, warnings }))
    }
}

struct Lines {
    profile: Profile,
    layout: Layout,
    header: Header,
    order: Order,
    warnings: Vec<String>,
}

impl Decoder for Lines {
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault> {
        let text = record.text.trim();
        if text.is_empty() || self.layout.skip.iter().any(|start| text.starts_with(start.as_str()))
        {
            out.silent += 1;
        } else {
            let outcome = self.line(record);
            put(record, outcome, out);
        }
        Ok(())
    }

    fn warnings(&self) -> &[String] {
        &self.warnings
    }
}

impl Lines {
    fn line(&mut self, record: Record<'_>) -> Result<RawReading, Fault> {
        let text = record.text.trim();
        let body = text.strip_prefix(self.layout.start.as_str()).ok_or_else(|| {
            Fault::new(
                "layout",
                "",
                format!("a line that begins with `{}`", self.layout.start),
                text,
            )
        })?;
        let body = match self.layout.checksum {
            None => body,
            Some(kind) => self.checked(kind, body, record.bytes)?,
        };
        let separator = self.layout.separator.unwrap_or(',');
        let assign = self.layout.assign.unwrap_or('=');
        let mut cells = Cells::new();
        let mut seen = Vec::new();
        for pair in body.split(separator).map(str::trim).filter(|pair| !pair.is_empty()) {
            let Some((key, value)) = pair.split_once(assign) else {
                return Err(Fault::new("layout", "", format!("pairs as `key{assign}value`"), pair));
            };
            let key = key.trim();
            let written = self.profile.written();
            let known =
                |(_, names): &(&Field, &Vec<String>)| names.iter().any(|name| same(name, key));
            let Some((field, _)) = written.columns.iter().find(known) else {
                let told = format!("key `{key}` is not known: kept in the raw record only");
                if !written.ignore.iter().any(|name| same(name, key))
                    && self.warnings.len() < TOLD_KEYS
                    && !self.warnings.contains(&told)
                {
                    self.warnings.push(told);
                }
                continue;
            };
            if seen.contains(field) && *field != Field::Remark {
                return Err(Fault::new("layout", key, "each key once", text));
            }
            seen.push(*field);
            cells.set(*field, value);
        }
        let maker = Maker { rules: self.profile.rules(), header: &self.header };
        maker.reading(&cells, record.place, &mut self.order)
    }

    /// The text before a checksum that is right. It is made over the original bytes.
    fn checked<'a>(&self, kind: Checksum, body: &'a str, bytes: &[u8]) -> Result<&'a str, Fault> {
        let mark = self.layout.checksum_mark.unwrap_or('*');
        let expected = format!("a checksum of two hexadecimal digits behind `{mark}`");
        let missing = || Fault::new("checksum", "", expected.clone(), body);
        let (before, digits) = body.rsplit_once(mark).ok_or_else(missing)?;
        if digits.len() != 2 {
            return Err(missing());
        }
        let said = u8::from_str_radix(digits, 16).map_err(|_| missing())?;
        let from = self.layout.checksum_skips + (bytes.len() - bytes.trim_ascii_start().len());
        let to = memchr::memrchr(mark as u8, bytes).unwrap_or(bytes.len());
        let made = kind.of(bytes.get(from..to).unwrap_or(&[]));
        if made == said {
            Ok(before)
        } else {
            let expected = format!("checksum {made:02X}, made over the line");
            Err(Fault::new("checksum", "", expected, &format!("{said:02X}")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums() {
        // XOR of bytes: the worked sentence of NMEA 0183 in wide circulation (from memory).
        let sentence = b"GPGLL,5300.97914,N,00259.98174,E,125926,A";
        assert_eq!(Checksum::Xor.of(sentence), 0x28);
        assert_eq!(Checksum::Sum8.of(&[0xff, 0x02, 0x10]), 0x11);
    }
}
