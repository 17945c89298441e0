//! Bytes of a record to text: which encoding, decided by what stands in the stream.
//!
//! In this order: a byte order mark; UTF-16 by its pattern of NULs; strict UTF-8; the encoding the
//! profile names; UTF-8 where a line with more than ASCII in it fits (then the lines that do not
//! are rejects); a guess. Framing works on the undecoded bytes, so offsets stay those of the
//! original. While only ASCII was seen the question stays open, and the first record with more
//! decides it for the rest.

use std::borrow::Cow;

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};

use crate::framing::Width;

/// Bytes at the start of a stream that tell text from binary: a binary format shows itself there.
const SHOWS_BYTES: usize = 1024;

/// What the first bytes of a stream look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Binary,
    Text(Width),
}

/// Tells text from binary. Text may hold a stray NUL (a serial line coming up); four control
/// characters and more than one in fifty are no text.
pub(crate) fn kind(head: &[u8]) -> Kind {
    match Encoding::for_bom(head) {
        Some((encoding, _)) if encoding == UTF_16LE => return Kind::Text(Width::Little),
        Some((encoding, _)) if encoding == UTF_16BE => return Kind::Text(Width::Big),
        _ => {}
    }
    let head = &head[..head.len().min(SHOWS_BYTES)];
    if head.len() >= 4 {
        let nuls = |from: usize| head.iter().skip(from).step_by(2).filter(|&&b| b == 0).count();
        let (even, odd, units) = (nuls(0), nuls(1), head.len() / 2);
        // Western text in UTF-16 has a NUL in nearly every unit, always on the same side.
        if odd * 10 >= units * 7 && even * 50 <= units {
            return Kind::Text(Width::Little);
        }
        if even * 10 >= units * 7 && odd * 50 <= units {
            return Kind::Text(Width::Big);
        }
    }
    // A file that lost its end when the power went has zeros there; what is before them counts.
    let zeros = head.iter().rev().take_while(|&&byte| byte == 0).count();
    let head = &head[..head.len() - zeros];
    // STX, ETX, ACK, XON, XOFF and ESC are said on serial lines around text.
    let control = |&&byte: &&u8| {
        byte < 0x20 && !matches!(byte, 2 | 3 | 6 | 9..=13 | 0x11 | 0x13 | 0x1b) || byte == 0x7f
    };
    let controls = head.iter().filter(control).count();
    if controls >= 4 && controls * 50 > head.len() {
        return Kind::Binary;
    }
    Kind::Text(Width::Byte)
}

/// Turns the bytes of records into text.
#[derive(Clone, Debug)]
pub(crate) struct Decoding {
    /// None: only ASCII so far.
    settled: Option<&'static Encoding>,
    /// What the profile says of a stream that is not Unicode.
    declared: Option<&'static Encoding>,
}

impl Decoding {
    /// Decides from the first bytes of the stream.
    pub(crate) fn of(head: &[u8], width: Width, declared: Option<&'static Encoding>) -> Decoding {
        let settled = match width {
            Width::Little => Some(UTF_16LE),
            Width::Big => Some(UTF_16BE),
            Width::Byte => settle(head, true, declared),
        };
        Decoding { settled, declared }
    }

    /// The text of some bytes; else the name of the encoding that they do not fit.
    pub(crate) fn text<'a>(&mut self, bytes: &'a [u8]) -> Result<Cow<'a, str>, &'static str> {
        if self.settled.is_none_or(|encoding| encoding == UTF_8) {
            match std::str::from_utf8(bytes) {
                Ok(text) => {
                    if self.settled.is_none() && !text.is_ascii() {
                        self.settled = Some(UTF_8);
                    }
                    return Ok(Cow::Borrowed(text));
                }
                Err(_) if self.settled.is_some() => return Err(UTF_8.name()),
                Err(_) => self.settled = settle(bytes, false, self.declared),
            }
        }
        let encoding = self.settled.unwrap_or(UTF_8);
        encoding.decode_without_bom_handling_and_without_replacement(bytes).ok_or(encoding.name())
    }

    /// The text of some bytes, with a replacement for what does not fit: to look at, not to keep.
    pub(crate) fn lossy<'a>(&self, bytes: &'a [u8]) -> Cow<'a, str> {
        self.settled.unwrap_or(UTF_8).decode_without_bom_handling(bytes).0
    }
}

/// The encoding of a byte-wide text; none: all of it is ASCII.
fn settle(
    bytes: &[u8],
    cut: bool,
    declared: Option<&'static Encoding>,
) -> Option<&'static Encoding> {
    if bytes.is_ascii() {
        return None;
    }
    match std::str::from_utf8(bytes) {
        Ok(_) => Some(UTF_8),
        // The head may end inside a character.
        Err(error) if cut && error.error_len().is_none() => {
            if bytes[..error.valid_up_to()].is_ascii() { None } else { Some(UTF_8) }
        }
        Err(_) => Some(declared.unwrap_or_else(|| {
            // Legacy text that happens to be UTF-8 beyond ASCII for a whole line is very rare.
            let utf_8 = |line: &[u8]| !line.is_ascii() && std::str::from_utf8(line).is_ok();
            if bytes.split(|byte| matches!(byte, b'\r' | b'\n')).any(utf_8) {
                return UTF_8;
            }
            let mut guess = chardetng::EncodingDetector::new(chardetng::Iso2022JpDetection::Deny);
            guess.feed(bytes, true);
            guess.guess(None, chardetng::Utf8Detection::Deny)
        })),
    }
}
