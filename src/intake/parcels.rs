//! A stream of bytes to parcels of entries: the pure middle of the intake.

use std::io::{self, Read};

use ohmward_parsers::{Parsed, Place, Reject, Stream};

use crate::limits;
use crate::model::{Invalid, Stamp};
use crate::normalise::{Normalised, Normaliser};
use crate::store::{Entry, Parcel, RecordPlace, RejectItem, TrayItem};

/// Entries in a parcel: enough that handing one over costs nothing beside its entries.
const PARCEL: usize = 4_096;

/// Bytes read at once.
const CHUNK: usize = 256 * 1024;

/// Turns what a stream parsed into entries, in the order of their places.
pub(crate) struct Packer<'a> {
    /// Finds assets and phases.
    pub(crate) normaliser: &'a mut Normaliser,
    /// When the bytes arrived.
    pub(crate) arrived: Stamp,
    /// Fetches the original bytes of a record, for a reading that is refused after parsing.
    pub(crate) bytes_at: &'a dyn Fn(Place) -> Vec<u8>,
}

impl Packer<'_> {
    /// Empties `parsed` into a parcel.
    pub(crate) fn pack(&mut self, parsed: &mut Parsed) -> Parcel {
        let mut parcel = Parcel::default();
        parcel.entries.reserve(parsed.readings.len() + parsed.rejects.len());
        let mut rejects = parsed.rejects.drain(..).peekable();
        for raw in parsed.readings.drain(..) {
            let place = raw.place;
            while let Some(reject) = rejects.next_if(|r| r.place < place) {
                parcel.entries.push((at(reject.place), Entry::Reject(refused(reject))));
            }
            let entry = match self.normaliser.normalise(raw, self.arrived) {
                Ok(Normalised::Reading(reading)) => Entry::Reading(reading),
                Ok(Normalised::Tray { reading, written_asset, written_phase, reason }) => {
                    Entry::Tray(TrayItem {
                        reading,
                        written_asset,
                        written_phase,
                        reason: reason.into(),
                    })
                }
                Err(invalid) => Entry::Reject(self.impossible(place, &invalid)),
            };
            parcel.entries.push((at(place), entry));
        }
        for reject in rejects {
            parcel.entries.push((at(reject.place), Entry::Reject(refused(reject))));
        }
        parcel
    }

    fn impossible(&self, place: Place, invalid: &Invalid) -> RejectItem {
        let mut bytes = (self.bytes_at)(place);
        bytes.truncate(limits::REJECT_BYTES);
        RejectItem {
            offset: place.offset,
            len: place.len,
            bytes,
            kind: invalid.field.into(),
            reason: invalid.to_string().into(),
        }
    }
}

/// Reads a whole stream and hands parcels to `deliver` until that returns false; tells `progress`
/// how many bytes were read. Returns the records that carry no reading by their nature.
pub(crate) fn pump(
    mut input: impl Read,
    stream: &mut Stream,
    packer: &mut Packer<'_>,
    progress: &dyn Fn(u64),
    deliver: &mut dyn FnMut(Parcel) -> bool,
) -> io::Result<u64> {
    let mut chunk = vec![0; CHUNK];
    let mut parsed = Parsed::default();
    let mut read = 0;
    let mut silent = 0;
    loop {
        let n = match input.read(&mut chunk) {
            Ok(n) => n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(e),
        };
        if n == 0 {
            stream.finish(&mut parsed);
        } else {
            stream.push(&chunk[..n], &mut parsed);
        }
        silent += std::mem::take(&mut parsed.silent);
        let enough = parsed.readings.len() + parsed.rejects.len() >= PARCEL;
        if (enough || n == 0) && !deliver(packer.pack(&mut parsed)) {
            return Ok(silent);
        }
        read += n as u64;
        progress(read);
        if n == 0 {
            return Ok(silent);
        }
    }
}

fn at(place: Place) -> RecordPlace {
    RecordPlace { record: place.record, part: place.part }
}

fn refused(reject: Reject) -> RejectItem {
    let reason = match (reject.field.as_str(), reject.found.as_str()) {
        ("", "") => format!("expected {}", reject.expected),
        ("", found) => format!("expected {}, found `{found}`", reject.expected),
        (field, found) => format!("`{field}`: expected {}, found `{found}`", reject.expected),
    };
    RejectItem {
        offset: reject.place.offset,
        len: reject.place.len,
        bytes: reject.bytes,
        kind: reject.kind.into(),
        reason: reason.into(),
    }
}
