//! Chunks of a connection to whole lines. A line whose beginning or end is missing is never handed
//! on: the rest of `15.3` reads as `5.3`.

use std::time::Duration;

use crate::limits;
use crate::sources::{Chunk, Tally};

/// Bytes that come sooner than this after the opening may be the rest of a line that had begun
/// before: even at 300 baud the characters of a line follow each other within 34 ms.
const QUIET: Duration = Duration::from_millis(100);

/// A whole line, without its end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line<'a> {
    pub(super) bytes: &'a [u8],
    /// Counted from 1 within the connection.
    pub(super) record: u64,
    /// Place of its first byte in the connection.
    pub(super) offset: u64,
}

/// The lines of one connection. They end at CR, LF or CRLF.
#[derive(Debug, Default)]
pub(super) struct Lines {
    /// The bytes of the line begun.
    begun: Vec<u8>,
    /// Place of the byte that comes next.
    next: u64,
    started: bool,
    /// What comes up to the next line end is the rest of a line.
    torn: bool,
    /// Whether anything of such a rest has come.
    skipped: bool,
    after_cr: bool,
    record: u64,
}

impl Lines {
    /// Takes a chunk and gives each whole line to `sink`.
    pub(super) fn push(&mut self, chunk: &Chunk, tally: &Tally, sink: &mut dyn FnMut(Line<'_>)) {
        if !self.started {
            self.started = true;
            self.next = chunk.offset;
            self.torn = chunk.after() < QUIET;
        }
        if chunk.offset != self.next {
            tally.gaps.add(1);
            self.tear(tally);
            self.next = chunk.offset;
            self.torn = true;
        }
        for &byte in &chunk.bytes {
            let offset = self.next;
            self.next += 1;
            let after_cr = std::mem::replace(&mut self.after_cr, byte == b'\r');
            match byte {
                b'\n' if after_cr => {}
                b'\r' | b'\n' if self.torn => {
                    self.torn = false;
                    if std::mem::take(&mut self.skipped) {
                        tally.torn_lines.add(1);
                    }
                }
                b'\r' | b'\n' => self.end(offset, tally, sink),
                _ if self.torn => self.skipped = true,
                _ => {
                    self.begun.push(byte);
                    if self.begun.len() > limits::STREAM_LINE_BYTES {
                        // What has no end is no line; its beginning is shown, the rest is skipped.
                        self.end(offset + 1, tally, sink);
                        self.torn = true;
                    }
                }
            }
        }
    }

    /// The connection ended: what was begun will never be whole.
    pub(super) fn tear(&mut self, tally: &Tally) {
        if !self.begun.is_empty() {
            self.begun.clear();
            tally.torn_lines.add(1);
        }
    }

    fn end(&mut self, end: u64, tally: &Tally, sink: &mut dyn FnMut(Line<'_>)) {
        if self.begun.is_empty() {
            return;
        }
        self.record += 1;
        tally.records.add(1);
        let bytes = &self.begun;
        sink(Line { bytes, record: self.record, offset: end - bytes.len() as u64 });
        self.begun.clear();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;
    use std::time::Instant;

    use super::*;
    use crate::model::Stamp;
    use crate::sources::Connection;

    fn chunk(offset: u64, text: &str, millis: u64) -> Chunk {
        let (opened, since) = (Stamp::from_micros(0), Instant::now());
        Chunk {
            connection: Arc::new(Connection { source: "b".into(), opened, since, number: 1 }),
            offset,
            bytes: text.into(),
            arrived: opened,
            read_at: since + Duration::from_millis(millis),
        }
    }

    fn lines(chunks: &[Chunk]) -> (Vec<(u64, u64, String)>, Tally) {
        let (mut lines, tally, mut out) = (Lines::default(), Tally::default(), Vec::new());
        for chunk in chunks {
            lines.push(chunk, &tally, &mut |line| {
                let text = String::from_utf8_lossy(line.bytes).into_owned();
                out.push((line.record, line.offset, text));
            });
        }
        lines.tear(&tally);
        (out, tally)
    }

    #[test]
    fn every_line_end_ends_a_line_however_it_is_cut() {
        let text = "one\r\ntwo\rthree\n\n\r\nfour\r\n";
        let whole = lines(&[chunk(0, text, 500)]).0;
        let expected = [(1, 0, "one"), (2, 5, "two"), (3, 9, "three"), (4, 18, "four")];
        assert_eq!(whole, expected.map(|(n, at, s)| (n, at, s.to_owned())));
        let bytes: Vec<_> = (0..text.len()).map(|i| chunk(i as u64, &text[i..=i], 500)).collect();
        assert_eq!(lines(&bytes).0, whole);
    }

    #[test]
    fn what_may_have_begun_before_the_opening_is_no_line() {
        let (out, tally) = lines(&[chunk(0, "5.3\r\n15.4\r\n", 20)]);
        assert_eq!(out, [(1, 5, "15.4".to_owned())]);
        assert_eq!(tally.torn_lines.get(), 1);
    }

    #[test]
    fn a_gap_tears_the_lines_on_both_sides() {
        let (out, tally) = lines(&[chunk(0, "15.3\n12.", 500), chunk(100, "345\n16.1\n17", 600)]);
        assert_eq!(out, [(1, 0, "15.3".to_owned()), (2, 104, "16.1".to_owned())]);
        assert_eq!(tally.gaps.get(), 1);
        // `12.`, `345`, and `17` at the end.
        assert_eq!(tally.torn_lines.get(), 3);
    }

    #[test]
    fn a_line_without_end_is_shown_once_and_skipped() {
        let long = "x".repeat(3 * limits::STREAM_LINE_BYTES);
        let (out, _) = lines(&[chunk(0, &long, 500), chunk(long.len() as u64, "\n1.0\n", 500)]);
        assert_eq!(out.len(), 2);
        assert_eq!(out[0].2.len(), limits::STREAM_LINE_BYTES + 1);
        assert_eq!(out[1].2, "1.0");
    }
}
