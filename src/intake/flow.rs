//! Lines whose bytes come in parts, as parcels: in memory are the bytes of a few records only.

use ohmward_parsers::{HEAD_BYTES, Parsed, Place, Profile, ProfileError, Stream};

use super::IntakeError;
use super::body::{kept, note_rejects};
use crate::limits;
use crate::model::Stamp;
use crate::normalise::Normaliser;
use crate::store::{Parcel, RecordPlace, RejectItem};

/// Records after which a parcel is handed on.
const PARCEL: usize = 4_096;

/// Bytes that come in parts.
type Parts<'a> = &'a mut dyn Iterator<Item = Result<Vec<u8>, String>>;

/// Parcels made of bytes as they come.
pub(super) struct Flow<'a> {
    parts: Parts<'a>,
    stream: Stream,
    normaliser: Normaliser,
    arrived: Stamp,
    /// Bytes looked at to open the stream, still to be read.
    head: Option<Vec<u8>>,
    parsed: Parsed,
    /// The bytes from `base` on, of records that are not packed yet.
    window: Vec<u8>,
    base: u64,
    ended: bool,
    /// Why the bytes ended too early.
    cut: Option<String>,
    rejected: Vec<(RecordPlace, RejectItem)>,
}

impl<'a> Flow<'a> {
    /// Looks at the first bytes.
    ///
    /// # Errors
    /// When they are no text.
    pub(super) fn open(
        profile: &Profile,
        parts: Parts<'a>,
        normaliser: Normaliser,
        arrived: Stamp,
    ) -> Result<Self, ProfileError> {
        let (mut head, mut cut) = (Vec::new(), None);
        while head.len() < HEAD_BYTES && cut.is_none() {
            match parts.next() {
                Some(Ok(bytes)) => head.extend(bytes),
                Some(Err(why)) => cut = Some(why),
                None => break,
            }
        }
        Ok(Flow {
            stream: Stream::open(profile, &head)?,
            parts,
            normaliser,
            arrived,
            head: Some(head),
            parsed: Parsed::default(),
            window: Vec::new(),
            base: 0,
            ended: cut.is_some(),
            cut,
            rejected: Vec::new(),
        })
    }

    /// Whether all went well so far.
    ///
    /// # Errors
    /// When the lines cannot be understood at all, and when their bytes ended too early.
    pub(super) fn fit_to_store(&self) -> Result<(), IntakeError> {
        if let Some(why) = &self.cut {
            return Err(IntakeError::Cut(why.clone()));
        }
        match self.stream.refusal() {
            None => Ok(()),
            Some(refusal) => Err(IntakeError::Unrecognised(format!(
                "expected {}, found `{}`",
                refusal.expected, refusal.found
            ))),
        }
    }

    /// The first rejects, and what the sender should know.
    pub(super) fn told(self) -> (Vec<(RecordPlace, RejectItem)>, Vec<String>) {
        (self.rejected, self.stream.warnings().to_vec())
    }

    fn push(&mut self, bytes: &[u8]) {
        self.window.extend_from_slice(bytes);
        self.stream.push(bytes, &mut self.parsed);
    }

    fn records(&self) -> usize {
        self.parsed.readings.len() + self.parsed.rejects.len()
    }

    /// Packs what was parsed and forgets its bytes.
    fn pack(&mut self) -> Parcel {
        let places = self.parsed.readings.iter().map(|r| r.place);
        let places = places.chain(self.parsed.rejects.iter().map(|r| r.place));
        let end = places.map(|place| place.offset + place.len).max().unwrap_or(self.base);
        let (window, base) = (&self.window, self.base);
        let bytes_of = |place: Place| {
            let at = |offset: u64| (offset.saturating_sub(base) as usize).min(window.len());
            window[at(place.offset)..at(place.offset + place.len)].to_vec()
        };
        let parcel = kept(&mut self.normaliser, self.arrived, &bytes_of, &mut self.parsed);
        self.forget(end.saturating_sub(self.base) as usize);
        note_rejects(&parcel, &mut self.rejected);
        parcel
    }

    fn forget(&mut self, bytes: usize) {
        let bytes = bytes.min(self.window.len());
        self.window.drain(..bytes);
        self.base += bytes as u64;
    }
}

impl Iterator for &mut Flow<'_> {
    type Item = Parcel;

    fn next(&mut self) -> Option<Parcel> {
        Flow::next(self)
    }
}

impl Flow<'_> {
    /// The next parcel. Until a reading has come nothing is handed on that a missing header would
    /// take back.
    pub(super) fn next(&mut self) -> Option<Parcel> {
        loop {
            if self.ended {
                return None;
            }
            let bytes = match self.head.take() {
                Some(head) => Some(Ok(head)),
                None => self.parts.next(),
            };
            match bytes {
                Some(Ok(bytes)) => self.push(&bytes),
                Some(Err(why)) => {
                    // What has no end is no record.
                    self.cut = Some(why);
                    self.ended = true;
                }
                None => {
                    self.stream.finish(&mut self.parsed);
                    self.ended = true;
                }
            }
            if self.stream.refusal().is_some() {
                self.ended = true;
                return None;
            }
            let enough = self.records() >= PARCEL || self.window.len() > limits::LINES_PART_BYTES;
            if self.records() > 0 && (enough || self.ended) {
                return Some(self.pack());
            }
            // A record without an end is cut by the framer; its bytes are not kept either.
            if self.records() == 0 && self.window.len() > 2 * limits::RECORD_BYTES {
                self.forget(self.window.len() - limits::RECORD_BYTES);
            }
        }
    }
}
