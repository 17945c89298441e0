//! One stream from its bytes to raw readings: encoding, framing and decoder in one hand.

use crate::encoding::{self, Decoding, Kind};
use crate::fault::Fault;
use crate::format::{Decoder, Record};
use crate::framing::{Frame, FrameFault, Framer};
use crate::profile::{Profile, ProfileError};
use crate::raw::{Parsed, Place, Reject};

/// First bytes of a stream that tell its encoding and profile.
pub const HEAD_BYTES: usize = 64 * 1024;

/// A stream being read.
///
/// Of every record cut from it, exactly one is true: readings or rejects carry its number, or it is
/// counted in [`Parsed::silent`], or in [`Stream::unread`] once the stream was refused. The result
/// does not depend on how the bytes are chopped.
pub struct Stream {
    framer: Framer,
    reader: Reader,
}

/// What a stream does with its records.
struct Reader {
    decoding: Decoding,
    decoder: Box<dyn Decoder>,
    refusal: Option<Reject>,
    unread: u64,
    noise: Option<Noise>,
}

/// A run of records that are no text: the first is a reject by itself, the rest one together.
struct Noise {
    /// Place of the second record of the run, stretched over all that follow.
    rest: Option<(Place, Vec<u8>)>,
    records: u64,
}

impl Stream {
    /// Opens a stream with a profile. `head` is a look at its first bytes, as many as are at hand
    /// up to [`HEAD_BYTES`]; they are still to be pushed. It may be empty, as on a serial line:
    /// then UTF-16 cannot be told.
    ///
    /// # Errors
    /// When the head is binary, and when the profile needs a time zone and has none.
    pub fn open(profile: &Profile, head: &[u8]) -> Result<Stream, ProfileError> {
        let Kind::Text(width) = encoding::kind(head) else {
            return Err(profile.error("text in the stream", "binary data"));
        };
        profile.needs_zone()?;
        let format = profile.format();
        let decoder =
            format.open(profile).map_err(|wrong| profile.error(&wrong.expected, &wrong.found))?;
        let head = &head[..head.len().min(HEAD_BYTES)];
        let decoding = Decoding::of(head, width, profile.encoding());
        let framer = Framer::new(width, format.quoting(profile));
        let reader = Reader { decoding, decoder, refusal: None, unread: 0, noise: None };
        Ok(Stream { framer, reader })
    }

    /// Takes the next bytes and appends to `out` what came of every record that ended in them.
    /// Drained between pushes, `out` stays as small as a chunk.
    pub fn push(&mut self, bytes: &[u8], out: &mut Parsed) {
        let reader = &mut self.reader;
        self.framer.push(bytes, &mut |frame| reader.take(frame, out));
    }

    /// Ends the stream: a last record without a line end is a record.
    pub fn finish(&mut self, out: &mut Parsed) {
        let reader = &mut self.reader;
        self.framer.finish(&mut |frame| reader.take(frame, out));
        reader.end_noise(out);
        if reader.refusal.is_none()
            && self.framer.records() > 0
            && let Err(fault) = reader.decoder.finish()
        {
            // The stream as a whole lacks something; its records were counted as they came.
            reader.refusal = Some(fault.reject(Place::default(), &[]));
        }
    }

    /// Why nothing of this stream can be understood, if so: a header with a column missing or
    /// twice. What came before it should not be stored. The caller shows it and asks for another
    /// profile.
    pub fn refusal(&self) -> Option<&Reject> {
        self.reader.refusal.as_ref()
    }

    /// Records cut so far.
    pub fn records(&self) -> u64 {
        self.framer.records()
    }

    /// Records that were not looked at because the stream had been refused.
    pub fn unread(&self) -> u64 {
        self.reader.unread
    }

    /// What a person should know of the stream, such as columns that were not used.
    pub fn warnings(&self) -> &[String] {
        self.reader.decoder.warnings()
    }
}

impl Reader {
    fn take(&mut self, frame: Frame<'_>, out: &mut Parsed) {
        let Frame { bytes, record, offset, len, fault } = frame;
        let place = Place { record, part: 0, offset, len };
        if self.refusal.is_some() {
            self.unread += 1;
            return;
        }
        if fault.is_none() && bytes.is_empty() {
            self.end_noise(out);
            out.silent += 1;
            return;
        }
        if fault == Some(FrameFault::TooLong) {
            self.end_noise(out);
            let expected = format!("at most {} bytes in a record", crate::RECORD_BYTES);
            let fault = Fault::new("too long", "", expected, &format!("{len} bytes"));
            out.rejects.push(fault.reject(place, bytes));
            return;
        }
        if fault == Some(FrameFault::OpenQuote) {
            self.end_noise(out);
            let found = String::from_utf8_lossy(bytes);
            let fault = Fault::new("quote", "", "a closing quote", &found);
            out.rejects.push(fault.reject(place, bytes));
            return;
        }
        let text = match self.decoding.text(bytes) {
            Ok(text) => text,
            Err(encoding) => {
                self.end_noise(out);
                let found = String::from_utf8_lossy(bytes);
                let fault = Fault::new("encoding", "", format!("text in {encoding}"), &found);
                out.rejects.push(fault.reject(place, bytes));
                return;
            }
        };
        if memchr::memchr(0, text.as_bytes()).is_some() {
            self.noise(place, bytes, out);
            return;
        }
        if self.noise.is_some() {
            self.end_noise(out);
        }
        // Only the first record can begin with a byte order mark.
        let text = if record == 1 { text.trim_start_matches('\u{feff}') } else { &text };
        if let Err(fault) = self.decoder.take(Record { text, bytes, place }, out) {
            let refusal = fault.reject(place, bytes);
            out.rejects.push(refusal.clone());
            self.refusal = Some(refusal);
        }
    }

    fn noise(&mut self, place: Place, bytes: &[u8], out: &mut Parsed) {
        match &mut self.noise {
            None => {
                let fault = Fault::new("binary", "", "text", &String::from_utf8_lossy(bytes));
                out.rejects.push(fault.reject(place, bytes));
                self.noise = Some(Noise { rest: None, records: 0 });
            }
            Some(noise) => {
                match &mut noise.rest {
                    Some((first, _)) => {
                        first.len = place.offset + place.len - first.offset;
                        out.silent += 1;
                    }
                    None => {
                        let kept = &bytes[..bytes.len().min(crate::REJECT_BYTES)];
                        noise.rest = Some((place, kept.to_vec()));
                    }
                }
                noise.records += 1;
            }
        }
    }

    fn end_noise(&mut self, out: &mut Parsed) {
        let Some(Noise { rest: Some((place, bytes)), records }) = self.noise.take() else { return };
        let found = format!("{records} more records with NUL bytes");
        out.rejects.push(Fault::new("binary", "", "text", &found).reject(place, &bytes));
    }
}
