//! What a record becomes: the formats, one row each, and the decoder that one stream opens.

mod canonical;
mod delimited;
mod instrument;
mod jsonl;
mod tagged;
mod template;

pub use jsonl::json_array;

pub(crate) use delimited::{Layout as Delimited, pair};
pub(crate) use instrument::Layout as Instrument;
pub(crate) use tagged::Layout as Tagged;
pub(crate) use template::Layout as Template;

use crate::fault::{Fault, Wrong};
use crate::framing::Quoting;
use crate::profile::Profile;
use crate::raw::{Parsed, Place};
use crate::split::Splitter;

/// One record as text, with its place and its original bytes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Record<'a> {
    /// The text, without line end.
    pub(crate) text: &'a str,
    /// The bytes it was decoded from.
    pub(crate) bytes: &'a [u8],
    /// Where it stood.
    pub(crate) place: Place,
}

/// A way to lay out readings in records; a profile says the particulars.
pub(crate) trait Format: Sync {
    /// The word in a profile's `format`.
    fn name(&self) -> &'static str;

    /// What it looks like, for a person who looks for the right one.
    fn about(&self) -> &'static str;

    /// How fields are quoted, if line ends may stand inside them.
    fn quoting(&self, _profile: &Profile) -> Option<Quoting> {
        None
    }

    /// What a `recognise.header` rule splits lines by.
    fn splitter(&self, _profile: &Profile) -> Splitter {
        Splitter::new(b',', b'"')
    }

    /// Whether times are local, so that a zone must be known.
    fn is_local(&self, profile: &Profile) -> bool {
        profile.rules().has_local_times()
    }

    /// Starts a stream; the error says what in the profile does not fit the format.
    fn open(&self, profile: &Profile) -> Result<Box<dyn Decoder>, Wrong>;
}

/// The state of one stream: its header, units row, preamble and the times seen so far.
pub(crate) trait Decoder: Send {
    /// Takes one record: readings, rejects or one more silent record in `out`. An error refuses
    /// the whole stream: nothing after it can be understood.
    fn take(&mut self, record: Record<'_>, out: &mut Parsed) -> Result<(), Fault>;

    /// The stream ended; an error says that what it needs never came.
    fn finish(&mut self) -> Result<(), Fault> {
        Ok(())
    }

    /// What a person should know of the stream, in words: columns that were not used.
    fn warnings(&self) -> &[String] {
        &[]
    }
}

/// Every format. A new one is a file beside this and a row here; where it needs particulars, a
/// table of its own in `profile::wire`.
pub(crate) static FORMATS: &[&dyn Format] = &[
    &canonical::Canonical,
    &delimited::DelimitedText,
    &template::LineTemplate,
    &tagged::TaggedLine,
    &instrument::InstrumentReply,
    &jsonl::JsonLines,
];

/// Names and descriptions of every format, for lists and messages.
pub fn formats() -> impl Iterator<Item = (&'static str, &'static str)> {
    FORMATS.iter().map(|format| (format.name(), format.about()))
}

/// A decoder that knows one record at a time: a fault is that record's reject.
pub(crate) fn put(
    record: Record<'_>,
    outcome: Result<crate::raw::RawReading, Fault>,
    out: &mut Parsed,
) {
    match outcome {
        Ok(reading) => out.readings.push(reading),
        Err(fault) => out.rejects.push(fault.reject(record.place, record.bytes)),
    }
}
