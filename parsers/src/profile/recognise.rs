//! Which profile the first bytes of a stream fit.

use crate::encoding::{Decoding, Kind, kind};
use crate::header::{same, split_unit};
use crate::profile::{Profile, Profiles};
use crate::raw::Parsed;
use crate::stream::{HEAD_BYTES, Stream};

/// Lines that are searched for a header.
const HEADER_LINES: usize = 50;

/// What the first bytes of a stream look like.
#[derive(Clone, Debug)]
pub enum Recognised<'a> {
    /// No bytes, or blank lines only.
    Empty,
    /// No text in any encoding known here.
    Binary,
    /// Text that no profile claims.
    Unknown,
    /// Exactly one profile claims it.
    One(&'a Profile),
    /// Several do: a person must say which.
    Several(Vec<&'a Profile>),
}

impl Profiles {
    /// Whose stream this is, by its first bytes (up to [`HEAD_BYTES`] of them count).
    pub fn recognise(&self, head: &[u8]) -> Recognised<'_> {
        let head = &head[..head.len().min(HEAD_BYTES)];
        if head.trim_ascii().is_empty() {
            return Recognised::Empty;
        }
        if kind(head) == Kind::Binary {
            return Recognised::Binary;
        }
        let mut fitting: Vec<_> = self.iter().filter(|profile| profile.fits(head)).collect();
        match fitting.len() {
            0 => Recognised::Unknown,
            1 => Recognised::One(fitting.remove(0)),
            _ => Recognised::Several(fitting),
        }
    }
}

impl Profile {
    /// Whether every rule of its `recognise` holds; a profile without rules claims nothing.
    fn fits(&self, head: &[u8]) -> bool {
        let rules = &self.written().recognise;
        let Kind::Text(width) = kind(head) else { return false };
        let text = Decoding::of(head, width, self.encoding()).lossy(head);
        let text = text.trim_start_matches('\u{feff}');
        let given = rules.starts_with.is_some()
            || !rules.contains.is_empty()
            || !rules.header.is_empty()
            || rules.reads;
        given
            && rules.starts_with.as_ref().is_none_or(|start| text.starts_with(start.as_str()))
            && rules.contains.iter().all(|part| text.contains(part.as_str()))
            && (rules.header.is_empty() || self.has_header(text, &rules.header))
            && (!rules.reads || self.reads(head))
    }

    fn has_header(&self, text: &str, names: &[String]) -> bool {
        let mut splitter = self.format().splitter(self);
        text.split(['\r', '\n']).filter(|line| !line.is_empty()).take(HEADER_LINES).any(|line| {
            let mut cells = Vec::new();
            splitter.split(line, |cell| cells.push(cell));
            names.iter().all(|name| {
                cells.iter().any(|cell| same(cell, name) || same(split_unit(cell).0, name))
            })
        })
    }

    /// Whether the profile makes readings of at least half of what is not silent.
    fn reads(&self, head: &[u8]) -> bool {
        let zone = self.with_zone("UTC");
        let Ok(mut stream) = zone.and_then(|profile| Stream::open(&profile, head)) else {
            return false;
        };
        let mut out = Parsed::default();
        stream.push(head, &mut out);
        if stream.records() == 0 {
            // A single record without its line end.
            stream.finish(&mut out);
        }
        stream.refusal().is_none()
            && !out.readings.is_empty()
            && out.readings.len() >= out.rejects.len()
    }
}
