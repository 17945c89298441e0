//! Cuts a stream of bytes into records, whatever stands inside them.
//!
//! A record ends at CR, LF or CRLF, also mixed within one stream; CR ends it at once, so a serial
//! line needs no second byte. The last record may lack its end. Offsets and lengths are those of
//! the original bytes, also in UTF-16, where code units are two bytes wide.
//!
//! With [`Quoting`] a line end inside a quoted field belongs to the field. A quote that is never
//! closed must not eat the rest of the stream. It counts as unclosed when the stream ends, when
//! [`RECORD_BYTES`] are passed inside the record, or when on a later line a closing quote is
//! followed by something other than a separator, a quote or a line end (which is what the opening
//! quote of another field looks like from inside). Then the first *line* alone is the faulty
//! record, and framing starts afresh after it: nothing else is lost.

use memchr::{memchr, memchr2};

use crate::{RECORD_BYTES, REJECT_BYTES};

const CR: u16 = b'\r' as u16;
const LF: u16 = b'\n' as u16;

/// How wide one code unit is, and in which order its bytes come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Width {
    /// One byte: ASCII and everything that extends it.
    Byte,
    /// UTF-16, low byte first.
    Little,
    /// UTF-16, high byte first.
    Big,
}

impl Width {
    fn bytes(self) -> usize {
        match self {
            Width::Byte => 1,
            Width::Little | Width::Big => 2,
        }
    }

    /// The code unit that starts at byte `at`, if it is whole.
    fn unit(self, data: &[u8], at: usize) -> Option<u16> {
        match self {
            Width::Byte => data.get(at).map(|&byte| u16::from(byte)),
            Width::Little => Some(u16::from_le_bytes(data.get(at..at + 2)?.try_into().ok()?)),
            Width::Big => Some(u16::from_be_bytes(data.get(at..at + 2)?.try_into().ok()?)),
        }
    }

    /// Where the first line end begins.
    fn line_end(self, data: &[u8]) -> Option<usize> {
        match self {
            Width::Byte => memchr2(b'\r', b'\n', data),
            Width::Little | Width::Big => {
                (0..data.len()).step_by(2).find(|&at| matches!(self.unit(data, at), Some(CR | LF)))
            }
        }
    }
}

/// How fields are quoted, where line ends may stand inside them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Quoting {
    /// Opens a field at its first character; doubled inside.
    pub(crate) quote: u8,
    /// What separates fields.
    pub(crate) separator: u8,
}

/// One record of the stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Frame<'a> {
    /// Its original bytes without the line end; of one too long only the first.
    pub(crate) bytes: &'a [u8],
    /// Counted from 1.
    pub(crate) record: u64,
    /// Where it starts in the stream.
    pub(crate) offset: u64,
    /// Its true length in bytes.
    pub(crate) len: u64,
    /// What makes it unreadable whatever the format.
    pub(crate) fault: Option<FrameFault>,
}

/// Why a record is unreadable as such.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FrameFault {
    /// Longer than [`RECORD_BYTES`].
    TooLong,
    /// A quoted field that does not end.
    OpenQuote,
}

/// The state between two chunks.
#[derive(Debug)]
pub(crate) struct Framer {
    width: Width,
    quoting: Option<Quoting>,
    /// Bytes of the record begun, at most the cap and one chunk.
    rest: Vec<u8>,
    /// Where `rest` starts in the stream.
    offset: u64,
    record: u64,
    after_cr: bool,
    skip: Option<Skip>,
}

/// A record too long, being passed over.
#[derive(Debug)]
struct Skip {
    head: Vec<u8>,
    offset: u64,
    len: u64,
}

/// What a look for the end of a record found.
enum End {
    At(usize),
    OpenQuote(usize),
    TooLong,
    NotYet,
}

impl Framer {
    pub(crate) fn new(width: Width, quoting: Option<Quoting>) -> Framer {
        let rest = Vec::new();
        Framer { width, quoting, rest, offset: 0, record: 0, after_cr: false, skip: None }
    }

    /// Records cut so far.
    pub(crate) fn records(&self) -> u64 {
        self.record
    }

    /// Takes the next bytes, of any number, and gives each record that ends in them to `sink`.
    pub(crate) fn push(&mut self, chunk: &[u8], sink: &mut impl FnMut(Frame<'_>)) {
        if self.rest.is_empty() {
            let used = self.cut(chunk, false, sink);
            self.rest.extend_from_slice(&chunk[used..]);
        } else {
            let mut data = std::mem::take(&mut self.rest);
            data.extend_from_slice(chunk);
            let used = self.cut(&data, false, sink);
            data.drain(..used);
            self.rest = data;
        }
    }

    /// Ends the stream: what is left is a record without a line end.
    pub(crate) fn finish(&mut self, sink: &mut impl FnMut(Frame<'_>)) {
        let data = std::mem::take(&mut self.rest);
        let used = self.cut(&data, true, sink);
        debug_assert_eq!(used, data.len(), "the end of the stream leaves nothing over");
        if let Some(skip) = self.skip.take() {
            self.emit(&skip.head, skip.offset, skip.len, Some(FrameFault::TooLong), sink);
        }
    }

    /// Gives the records of `data` to `sink`; answers how many bytes are done with.
    fn cut(&mut self, data: &[u8], last: bool, sink: &mut impl FnMut(Frame<'_>)) -> usize {
        let base = self.offset;
        let mut at = 0;
        loop {
            if self.after_cr {
                let Some(unit) = self.width.unit(data, at) else { break };
                self.after_cr = false;
                if unit == LF {
                    at += self.width.bytes();
                }
            }
            let rest = &data[at..];
            if let Some(mut skip) = self.skip.take() {
                let Some(end) = self.width.line_end(rest) else {
                    let whole =
                        if last { rest.len() } else { rest.len() & !(self.width.bytes() - 1) };
                    skip.len += whole as u64;
                    at += whole;
                    self.skip = Some(skip);
                    break;
                };
                skip.len += end as u64;
                self.emit(&skip.head, skip.offset, skip.len, Some(FrameFault::TooLong), sink);
                at += self.step_over(rest, end);
                continue;
            }
            if rest.is_empty() {
                break;
            }
            let offset = base + at as u64;
            let (end, fault) = match self.end(rest, last) {
                End::At(end) => (end, None),
                End::OpenQuote(end) => (end, Some(FrameFault::OpenQuote)),
                End::TooLong => {
                    let head = rest[..REJECT_BYTES.min(rest.len())].to_vec();
                    self.skip = Some(Skip { head, offset, len: 0 });
                    continue;
                }
                End::NotYet => break,
            };
            self.emit(&rest[..end], offset, end as u64, fault, sink);
            at += self.step_over(rest, end);
        }
        if last {
            // A lone byte after CR in UTF-16 is the only thing that can be left.
            if at < data.len() && self.skip.is_none() {
                let rest = &data[at..];
                self.emit(rest, base + at as u64, rest.len() as u64, None, sink);
            }
            at = data.len();
        }
        self.offset = base + at as u64;
        at
    }

    /// Bytes from the start of a record to behind its line end.
    fn step_over(&mut self, rest: &[u8], end: usize) -> usize {
        let Some(unit) = self.width.unit(rest, end) else { return rest.len().max(end) };
        self.after_cr = unit == CR;
        end + self.width.bytes()
    }

    fn emit(
        &mut self,
        bytes: &[u8],
        offset: u64,
        len: u64,
        fault: Option<FrameFault>,
        sink: &mut impl FnMut(Frame<'_>),
    ) {
        self.record += 1;
        sink(Frame { bytes, record: self.record, offset, len, fault });
    }

    /// Where the record at the start of `rest` ends. Only its first `RECORD_BYTES` and one more
    /// unit are looked at, so that the answer does not depend on how the stream was chopped.
    fn end(&self, rest: &[u8], last: bool) -> End {
        let most = RECORD_BYTES + self.width.bytes();
        let full = rest.len() >= most;
        let window = &rest[..rest.len().min(most)];
        let line = self.width.line_end(window);
        if let Some(quoting) = self.quoting {
            let first = &window[..line.unwrap_or(window.len())];
            if memchr(quoting.quote, first).is_some() {
                return self.quoted_end(window, quoting, full, last);
            }
        }
        match line {
            Some(end) => End::At(end),
            None if full => End::TooLong,
            None if last => End::At(rest.len()),
            None => End::NotYet,
        }
    }

    fn quoted_end(&self, window: &[u8], quoting: Quoting, full: bool, last: bool) -> End {
        #[derive(PartialEq)]
        enum At {
            FieldStart,
            Plain,
            Quoted,
            Closed,
        }
        let (quote, separator) = (u16::from(quoting.quote), u16::from(quoting.separator));
        let mut first_line = None;
        let mut state = At::FieldStart;
        let mut at = 0;
        while let Some(unit) = self.width.unit(window, at) {
            state = match state {
                At::Quoted if unit == quote => At::Closed,
                At::Quoted => {
                    if matches!(unit, CR | LF) {
                        first_line.get_or_insert(at);
                    }
                    At::Quoted
                }
                _ if matches!(unit, CR | LF) => return End::At(at),
                _ if unit == separator => At::FieldStart,
                At::FieldStart | At::Closed if unit == quote => At::Quoted,
                At::Closed => match first_line {
                    Some(end) => return End::OpenQuote(end),
                    None => At::Plain,
                },
                _ => At::Plain,
            };
            at += self.width.bytes();
        }
        match first_line {
            Some(end) if full || (last && state == At::Quoted) => End::OpenQuote(end),
            None if full => End::TooLong,
            _ if last && state == At::Quoted => End::OpenQuote(window.len()),
            _ if last => End::At(window.len()),
            _ => End::NotYet,
        }
    }
}
