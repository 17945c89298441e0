//! The body of a request into the store, answered when it is durable: an array is read whole, lines
//! are taken in as they come.

use ohmward_parsers::{Parsed, Place, Profiles, json_array};

use super::IntakeError;
use super::flow::Flow;
use super::parcels::Packer;
use crate::limits;
use crate::model::{Alias, Asset, AssetId, Gear, Stamp};
use crate::normalise::{Normaliser, Surroundings};
use crate::store::{Entry, Parcel, Receipt, RecordPlace, RejectItem, Source, Writer};

/// How a body of lines is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LinesKind {
    /// One JSON object a line.
    Json,
    /// Canonical CSV.
    Csv,
}

/// The profile that reads JSON.
const JSON: &str = "canonical-jsonl";

impl LinesKind {
    /// The profile that reads its records.
    fn profile(self) -> &'static str {
        match self {
            LinesKind::Json => JSON,
            LinesKind::Csv => "canonical",
        }
    }
}

/// A body to be taken in.
pub struct BodyImport<'a> {
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
    /// The first rejects, by place: at most [`limits::REJECTS_TOLD`].
    pub rejected: Vec<(RecordPlace, RejectItem)>,
    /// What the sender should know.
    pub warnings: Vec<String>,
}

impl BodyImport<'_> {
    /// Takes a JSON array in.
    ///
    /// # Errors
    /// When it cannot be read as a whole (then nothing was stored), and when the store refuses.
    pub fn array<S: Writer + ?Sized>(
        &self,
        bytes: &[u8],
        store: &mut S,
    ) -> Result<BodyTaken, IntakeError> {
        let mut parsed = Parsed::default();
        json_array(bytes, &mut parsed)
            .map_err(|e| IntakeError::Unrecognised(format!("expected a JSON array: {e}")))?;
        let bytes_of = |place: Place| {
            let from = (place.offset as usize).min(bytes.len());
            bytes[from..(from + place.len as usize).min(bytes.len())].to_vec()
        };
        let mut normaliser = self.normaliser();
        let parcel = kept(&mut normaliser, self.now, &bytes_of, &mut parsed);
        let mut rejected = Vec::new();
        note_rejects(&parcel, &mut rejected);
        let receipt = self.receive(JSON, store, &mut std::iter::once(parcel))?;
        Ok(taken(receipt, rejected, Vec::new()))
    }

    /// Takes lines in as their bytes come, in bounded memory.
    ///
    /// # Errors
    /// When they cannot be read as a whole: then nothing was stored. When the bytes end before the
    /// body does, or the store refuses: then what came before may be stored, and sending all of it
    /// again gives duplicates for that.
    pub fn lines<S: Writer + ?Sized>(
        &self,
        kind: LinesKind,
        parts: &mut dyn Iterator<Item = Result<Vec<u8>, String>>,
        store: &mut S,
    ) -> Result<BodyTaken, IntakeError> {
        let name = kind.profile();
        let wrong = |why: String| IntakeError::Unrecognised(format!("expected {name}: {why}"));
        let profile =
            self.profiles.get(name).ok_or_else(|| wrong("its profile is not known".into()))?;
        let mut flow = Flow::open(profile, parts, self.normaliser(), self.now)
            .map_err(|e| wrong(e.to_string()))?;
        let first = flow.next();
        flow.fit_to_store()?;
        let receipt = self.receive(name, store, &mut first.into_iter().chain(&mut flow))?;
        flow.fit_to_store()?;
        let (rejected, warnings) = flow.told();
        Ok(taken(receipt, rejected, warnings))
    }

    fn normaliser(&self) -> Normaliser {
        Normaliser::new(self.aliases, self.gear, Surroundings::default())
    }

    fn receive<S: Writer + ?Sized>(
        &self,
        profile: &str,
        store: &mut S,
        parcels: &mut dyn Iterator<Item = Parcel>,
    ) -> Result<Receipt, IntakeError> {
        let source = Source {
            kind: "http".into(),
            name: self.client.into(),
            profile: profile.into(),
            file: None,
        };
        Ok(store.receive(self.now, &source, self.first_met, parcels)?)
    }
}

/// What was parsed as a parcel that keeps the original bytes of each record.
pub(super) fn kept(
    normaliser: &mut Normaliser,
    arrived: Stamp,
    bytes_of: &dyn Fn(Place) -> Vec<u8>,
    parsed: &mut Parsed,
) -> Parcel {
    let readings = parsed.readings.iter().map(|r| r.place);
    let mut places: Vec<Place> = readings.chain(parsed.rejects.iter().map(|r| r.place)).collect();
    places.sort();
    let mut packer = Packer { normaliser, arrived, bytes_at: bytes_of };
    let mut parcel = packer.pack(parsed);
    parcel.lines = places.into_iter().map(bytes_of).collect();
    parcel
}

/// Adds the rejects of a parcel, up to those that are told.
pub(super) fn note_rejects(parcel: &Parcel, rejected: &mut Vec<(RecordPlace, RejectItem)>) {
    for (place, entry) in &parcel.entries {
        if let Entry::Reject(item) = entry
            && rejected.len() < limits::REJECTS_TOLD
        {
            rejected.push((*place, item.clone()));
        }
    }
}

/// Adds the conflicts that only the store could find.
fn taken(
    receipt: Receipt,
    mut rejected: Vec<(RecordPlace, RejectItem)>,
    warnings: Vec<String>,
) -> BodyTaken {
    for (place, item) in &receipt.first_rejects {
        if !rejected.iter().any(|(known, _)| known == place) {
            rejected.push((*place, item.clone()));
        }
    }
    rejected.sort_by_key(|(place, _)| *place);
    rejected.truncate(limits::REJECTS_TOLD);
    BodyTaken { receipt, rejected, warnings }
}
