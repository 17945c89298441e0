//! Rejects read again after their profile was mended.

use std::collections::{BTreeMap, BTreeSet};

use ohmward_parsers::{Profiles, Stream};

use super::IntakeError;
use super::file::choose;
use super::parcels::{Packer, pump};
use crate::model::{Alias, Asset, AssetId, Gear, Stamp};
use crate::normalise::{Normaliser, Surroundings};
use crate::store::{
    Entry, Kept, Parcel, Reader, RecordPlace, Source, StoreError, StoredReject, Writer,
};

/// What became of rejects that were read again.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Retried {
    /// Readings stored.
    pub accepted: u64,
    /// Readings that were there already.
    pub duplicate: u64,
    /// Readings put in the tray.
    pub tray: u64,
    /// Records that still cannot be read.
    pub rejected: u64,
}

/// Reads rejects again, each in its whole stream, since headers and preambles belong to it.
pub fn retry<S: Reader + Writer + ?Sized>(
    store: &mut S,
    kept: &Kept,
    profiles: &Profiles,
    profile: Option<&str>,
    rejects: Vec<StoredReject>,
    (aliases, gear): (&[Alias], &[Gear]),
    now: Stamp,
    first_met: &dyn Fn(AssetId) -> Asset,
) -> Result<Retried, IntakeError> {
    let mut by_batch: BTreeMap<u64, Vec<StoredReject>> = BTreeMap::new();
    for reject in rejects {
        by_batch.entry(reject.batch).or_default().push(reject);
    }
    let mut total = Retried::default();
    for (number, rejects) in by_batch {
        let batch = store.batch(number)?.ok_or_else(|| StoreError::Damaged {
            table: "reject",
            row: rejects[0].number.to_string(),
            why: format!("its batch {number} is missing"),
        })?;
        let wanted: BTreeSet<u64> = rejects.iter().map(|r| r.place.record).collect();
        let mut normaliser = Normaliser::new(aliases, gear, Surroundings::default());
        let no_bytes = |_| Vec::new();
        let mut packer =
            Packer { normaliser: &mut normaliser, arrived: batch.received_at, bytes_at: &no_bytes };
        let mut parcel = Parcel::default();
        let mut keep = |p: Parcel| {
            let again = p.entries.into_iter().filter(|(at, _)| wanted.contains(&at.record));
            parcel.entries.extend(again);
            true
        };
        let name = profile.unwrap_or(&batch.source.profile);
        let failed = |why: String| IntakeError::Profile {
            path: batch.source.name.to_string(),
            profile: name.to_owned(),
            why,
        };
        let profile = choose(profiles, Some(name), &[], &batch.source.name)?;
        let bytes: Vec<u8> = match &batch.source.file {
            Some(_) => Vec::new(),
            None => rejects.iter().flat_map(|r| [r.bytes_with_end()].concat()).collect(),
        };
        match &batch.source.file {
            Some(file) => {
                let mut head = Vec::new();
                std::io::Read::take(kept.open(&file.digest)?, 64 * 1024)
                    .read_to_end_into(&mut head)
                    .map_err(|e| failed(e.to_string()))?;
                let mut stream =
                    Stream::open(profile, &head).map_err(|e| failed(e.to_string()))?;
                pump(kept.open(&file.digest)?, &mut stream, &mut packer, &|_| (), &mut keep)
                    .map_err(|e| failed(e.to_string()))?;
            }
            None => {
                let mut stream =
                    Stream::open(profile, &bytes).map_err(|e| failed(e.to_string()))?;
                pump(bytes.as_slice(), &mut stream, &mut packer, &|_| (), &mut keep)
                    .map_err(|e| failed(e.to_string()))?;
            }
        }
        let still: BTreeSet<RecordPlace> = parcel
            .entries
            .iter()
            .filter(|(_, e)| matches!(e, Entry::Reject(_)))
            .map(|(at, _)| *at)
            .collect();
        parcel.entries.retain(|(_, e)| !matches!(e, Entry::Reject(_)));
        total.rejected += still.len() as u64;
        let source = Source { profile: name.into(), ..batch.source.clone() };
        let receipt = store.receive(now, &source, first_met, &mut std::iter::once(parcel))?;
        total.accepted += receipt.accepted;
        total.duplicate += receipt.duplicate;
        total.tray += receipt.tray;
        total.rejected += receipt.rejected;
        let conflicting: BTreeSet<RecordPlace> =
            receipt.first_rejects.iter().map(|(at, _)| *at).collect();
        let settled: Vec<u64> = rejects
            .iter()
            .filter(|r| !still.contains(&r.place) && !conflicting.contains(&r.place))
            .map(|r| r.number)
            .collect();
        store.settle_rejects(&settled, receipt.batch.unwrap_or(number))?;
    }
    Ok(total)
}
