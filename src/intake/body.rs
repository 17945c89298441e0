//! The body of a request into the store: read whole, one delivery, answered when it is durable.

use ohmward_parsers::{Parsed, Place, Profiles, Stream, json_array};

use super::IntakeError;
use super::parcels::Packer;
use crate::model::{Alias, Asset, AssetId, Gear, Stamp};
use crate::normalise::{Normaliser, Surroundings};
use crate::store::{Entry, Parcel, Receipt, RecordPlace, RejectItem, Source, Writer};

/// How a body is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BodyKind {
    /// A JSON array of objects.
    JsonArray,
    /// One JSON object a line.
    JsonLines,
    /// Canonical CSV.
    Csv,
}

impl BodyKind {
    /// The profile that reads its records.
    fn profile(self) -> &'static str {
        match self {
            BodyKind::JsonArray | BodyKind::JsonLines => "canonical-jsonl",
            BodyKind::Csv => "canonical",
        }
    }
}

/// A body to be taken in.
pub struct BodyImport<'a> {
    /// How it is written.
    pub kind: BodyKind,
    /// Its bytes.
    pub bytes: &'a [u8],
    /// Who sent it.
    pub client: &'a str,
    /// The profiles compiled in.
    pub profiles: &'a Profiles,
    /// Other names.
    pub aliases: &'a [Alias],
    /// Testers, for bare over-range marks.
    pub gear: &'a [Gear],
    /// Now.
    pub now: Stamp,
    /// What an asset first met becomes.
    pub first_met: &'a dyn Fn(AssetId) -> Asset,
}

/// What became of a body.
#[derive(Clone, Debug)]
pub struct BodyTaken {
    /// What the store says.
    pub receipt: Receipt,
    /// Every reject that is known by place: all that could not be read, and the first conflicts.
    pub rejected: Vec<(RecordPlace, RejectItem)>,
    /// What the sender should know.
    pub warnings: Vec<String>,
}

impl BodyImport<'_> {
    /// Takes the body in; returns when all of it is durable.
    ///
    /// # Errors
    /// When it cannot be read as a whole (then nothing was stored), and when the store refuses.
    pub fn run<S: Writer + ?Sized>(&self, store: &mut S) -> Result<BodyTaken, IntakeError> {
        let mut parsed = Parsed::default();
        let warnings = match self.kind {
            BodyKind::JsonArray => json_array(self.bytes, &mut parsed)
                .map_err(|e| IntakeError::Unrecognised(format!("expected a JSON array: {e}")))?,
            BodyKind::JsonLines | BodyKind::Csv => self.stream(&mut parsed)?,
        };
        let bytes_at = |place| self.bytes_of(place).to_vec();
        let surroundings = Surroundings::default();
        let mut normaliser = Normaliser::new(self.aliases, self.gear, surroundings);
        let places: Vec<Place> = places(&parsed);
        let mut packer =
            Packer { normaliser: &mut normaliser, arrived: self.now, bytes_at: &bytes_at };
        let mut parcel = packer.pack(&mut parsed);
        parcel.lines = places.into_iter().map(|place| self.bytes_of(place).to_vec()).collect();
        let mut rejected = rejects(&parcel);
        let source = Source {
            kind: "http".into(),
            name: self.client.into(),
            profile: self.kind.profile().into(),
            file: None,
        };
        let receipt =
            store.receive(self.now, &source, self.first_met, &mut std::iter::once(parcel))?;
        for (place, item) in &receipt.first_rejects {
            if !rejected.iter().any(|(known, _)| known == place) {
                rejected.push((*place, item.clone()));
            }
        }
        rejected.sort_by_key(|(place, _)| *place);
        Ok(BodyTaken { receipt, rejected, warnings })
    }

    fn stream(&self, parsed: &mut Parsed) -> Result<Vec<String>, IntakeError> {
        let name = self.kind.profile();
        let wrong = |why: String| IntakeError::Unrecognised(format!("expected {name}: {why}"));
        let profile =
            self.profiles.get(name).ok_or_else(|| wrong("its profile is not known".into()))?;
        let head = &self.bytes[..self.bytes.len().min(ohmward_parsers::HEAD_BYTES)];
        let mut stream = Stream::open(profile, head).map_err(|e| wrong(e.to_string()))?;
        stream.push(self.bytes, parsed);
        stream.finish(parsed);
        match stream.refusal() {
            None => Ok(stream.warnings().to_vec()),
            Some(refusal) => Err(IntakeError::Unrecognised(format!(
                "expected {}, found `{}`",
                refusal.expected, refusal.found
            ))),
        }
    }

    fn bytes_of(&self, place: Place) -> &[u8] {
        let from = (place.offset as usize).min(self.bytes.len());
        let to = (from + place.len as usize).min(self.bytes.len());
        &self.bytes[from..to]
    }
}

/// The places of readings and rejects in the order in which they are packed.
fn places(parsed: &Parsed) -> Vec<Place> {
    let readings = parsed.readings.iter().map(|r| r.place);
    let mut places: Vec<Place> = readings.chain(parsed.rejects.iter().map(|r| r.place)).collect();
    places.sort();
    places
}

fn rejects(parcel: &Parcel) -> Vec<(RecordPlace, RejectItem)> {
    let reject = |(place, entry): &(RecordPlace, Entry)| match entry {
        Entry::Reject(item) => Some((*place, item.clone())),
        _ => None,
    };
    parcel.entries.iter().filter_map(reject).collect()
}
