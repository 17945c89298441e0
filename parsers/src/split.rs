//! Cells of a delimited record.

use csv_core::{ReadRecordResult, Reader, ReaderBuilder};
use memchr::{memchr, memchr_iter};

/// Splits records into cells, without an allocation of its own for each.
pub(crate) struct Splitter {
    /// Characters, counted from 1, at which cells begin; none: a separator is between them.
    starts: Vec<usize>,
    separator: u8,
    quote: u8,
    reader: Reader,
    bytes: Vec<u8>,
    text: String,
    ends: Vec<usize>,
}

impl Splitter {
    pub(crate) fn new(separator: u8, quote: u8) -> Splitter {
        let reader = ReaderBuilder::new().delimiter(separator).quote(quote).build();
        let (starts, bytes, text, ends) = Default::default();
        Splitter { starts, separator, quote, reader, bytes, text, ends }
    }

    /// Cells that begin at these characters, counted from 1 and rising.
    pub(crate) fn fixed(starts: &[usize]) -> Splitter {
        Splitter { starts: starts.to_vec(), ..Splitter::new(b',', b'"') }
    }

    /// Gives each cell of a record to `sink`, outer blanks left out.
    pub(crate) fn split<'a>(&'a mut self, record: &'a str, mut sink: impl FnMut(&'a str)) {
        if !self.starts.is_empty() {
            return self.cut(record, sink);
        }
        if memchr(self.quote, record.as_bytes()).is_some() {
            return self.unquote(record, sink);
        }
        // Cells are a few bytes each: a plain loop is quicker here than a search for each.
        let mut from = 0;
        for (at, &byte) in record.as_bytes().iter().enumerate() {
            if byte == self.separator {
                sink(record[from..at].trim());
                from = at + 1;
            }
        }
        sink(record[from..].trim());
    }

    /// Every column has a cell; those behind the end of the line are empty.
    fn cut<'a>(&self, record: &'a str, mut sink: impl FnMut(&'a str)) {
        let mut places = record.char_indices().map(|(byte, _)| byte);
        let mut at = 1;
        let mut from = 0;
        for &start in &self.starts[1..] {
            let end = places.nth(start - at - usize::from(at > 1)).unwrap_or(record.len());
            let end = end.max(from);
            sink(record[from..end].trim());
            (at, from) = (start, end);
        }
        sink(record[from..].trim());
    }

    /// Quoted cells lose their quotes, so the text is another one.
    fn unquote<'a>(&'a mut self, record: &str, mut sink: impl FnMut(&'a str)) {
        self.reader.reset();
        self.bytes.resize(record.len() + 1, 0);
        self.ends.resize(memchr_iter(self.separator, record.as_bytes()).count() + 2, 0);
        let (mut read, mut written, mut count) = (0, 0, 0);
        // The reader takes the record, then an empty input that tells it of the end.
        loop {
            let (result, used, out, ends) = self.reader.read_record(
                &record.as_bytes()[read..],
                &mut self.bytes[written..],
                &mut self.ends[count..],
            );
            read += used;
            written += out;
            count += ends;
            if !matches!(result, ReadRecordResult::InputEmpty) {
                break;
            }
        }
        self.text.clear();
        self.text.push_str(&String::from_utf8_lossy(&self.bytes[..written]));
        let mut from = 0;
        for &end in &self.ends[..count] {
            sink(self.text[from..end].trim());
            from = end;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(record: &str) -> Vec<String> {
        let mut cells = Vec::new();
        Splitter::new(b',', b'"').split(record, |cell| cells.push(cell.to_owned()));
        cells
    }

    #[test]
    fn quotes_as_rfc_4180_has_them() {
        // RFC 4180, section 2, rules 5 to 7.
        assert_eq!(cells("\"aaa\",\"b\nbb\",\"ccc\""), ["aaa", "b\nbb", "ccc"]);
        assert_eq!(cells("\"aaa\",\"b\"\"bb\",\"ccc\""), ["aaa", "b\"bb", "ccc"]);
        assert_eq!(cells("aaa,,ccc"), ["aaa", "", "ccc"]);
        assert_eq!(cells(""), [""]);
    }
}
