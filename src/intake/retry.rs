//! Rejects read again after their profile was mended.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Read};

use ohmward_parsers::{Place, Profile, Profiles, Stream};

use super::IntakeError;
use super::file::{HEAD, choose, sheet_of};
use super::parcels::{Packer, pump};
use super::sheet::is_sheet;
use crate::model::{Alias, Asset, AssetId, Gear, Stamp};
use crate::normalise::{Normaliser, Surroundings};
use crate::store::{
    Batch, Entry, KeptFiles, Parcel, Reader, RecordPlace, Source, StoreError, StoredReject, Writer,
};

/// How rejects are to be read again.
pub struct Again<'a> {
    /// Where files are kept.
    pub kept: &'a KeptFiles,
    /// The profiles as they are now.
    pub profiles: &'a Profiles,
    /// Another profile than the one they were read by.
    pub profile: Option<&'a str>,
    /// Other names.
    pub aliases: &'a [Alias],
    /// Testers, for bare over-range marks.
    pub gear: &'a [Gear],
    /// Now.
    pub now: Stamp,
    /// What an asset first met becomes.
    pub first_met: &'a dyn Fn(AssetId) -> Asset,
}

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

/// Reads rejects again. One that came in a file is read in its whole file, since headers and
/// preambles belong to it; a line of a stream by itself.
pub fn retry(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    again: &Again<'_>,
    rejects: Vec<StoredReject>,
) -> Result<Retried, IntakeError> {
    let mut by_batch: BTreeMap<u64, Vec<StoredReject>> = BTreeMap::new();
    for reject in rejects {
        by_batch.entry(reject.batch).or_default().push(reject);
    }
    let mut total = Retried::default();
    for (number, rejects) in by_batch {
        let batch = reader.batch(number)?.ok_or_else(|| StoreError::Damaged {
            table: "reject",
            row: rejects[0].number.to_string(),
            why: format!("its batch {number} is missing"),
        })?;
        let name = again.profile.unwrap_or(&batch.source.profile);
        let profile = choose(again.profiles, Some(name), &[], &batch.source.name)?;
        let entries =
            again.read(&batch, profile, &rejects).map_err(|why| IntakeError::Profile {
                path: batch.source.name.to_string(),
                profile: name.to_owned(),
                why,
            })?;
        let (still, good): (Vec<_>, Vec<_>) =
            entries.into_iter().partition(|(_, e)| matches!(e, Entry::Reject(_)));
        let source = Source { profile: name.into(), ..batch.source.clone() };
        let parcel = Parcel { entries: good, ..Parcel::default() };
        let mut parcels = std::iter::once(parcel);
        let receipt = writer.receive(again.now, &source, again.first_met, &mut parcels)?;
        total.accepted += receipt.accepted;
        total.duplicate += receipt.duplicate;
        total.tray += receipt.tray;
        total.rejected += still.len() as u64 + receipt.rejected;
        let failed: BTreeSet<u64> = still
            .iter()
            .map(|(at, _)| *at)
            .chain(receipt.first_rejects.iter().map(|(at, _)| *at))
            .map(|at| at.record)
            .collect();
        let settled: Vec<u64> = rejects
            .iter()
            .filter(|r| !failed.contains(&r.place.record))
            .map(|r| r.number)
            .collect();
        writer.settle_rejects(&settled, receipt.batch.unwrap_or(number))?;
    }
    Ok(total)
}

impl Again<'_> {
    /// The entries that the rejected records become now, under the places they had.
    fn read(
        &self,
        batch: &Batch,
        profile: &Profile,
        rejects: &[StoredReject],
    ) -> Result<Vec<(RecordPlace, Entry)>, String> {
        let mut out = Vec::new();
        if let Some(file) = &batch.source.file {
            let open = || self.kept.open(&file.digest).map_err(|e| e.to_string());
            let mut head = Vec::new();
            open()?.take(HEAD as u64).read_to_end(&mut head).map_err(|e| e.to_string())?;
            if is_sheet(&head) {
                let sheet =
                    sheet_of(&mut open()?, &batch.source.name).map_err(|e| e.to_string())?;
                let records: BTreeSet<u64> = rejects.iter().map(|r| r.place.record).collect();
                let text = sheet.text.as_slice();
                let wanted = |at: RecordPlace| records.contains(&at.record);
                return self.pump(batch, profile, (text, text), &wanted);
            }
            let records: BTreeSet<u64> = rejects.iter().map(|r| r.place.record).collect();
            let wanted = |at: RecordPlace| records.contains(&at.record);
            return self.pump(batch, profile, (&head, open()?), &wanted);
        }
        for reject in rejects {
            let bytes = &reject.item.bytes;
            let entries = self.pump(batch, profile, (bytes, bytes.as_slice()), &|_| true)?;
            out.extend(entries.into_iter().map(|(at, entry)| {
                (RecordPlace { record: reject.place.record, part: at.part }, entry)
            }));
        }
        Ok(out)
    }

    pub(super) fn pump(
        &self,
        batch: &Batch,
        profile: &Profile,
        (head, input): (&[u8], impl Read),
        wanted: &dyn Fn(RecordPlace) -> bool,
    ) -> Result<Vec<(RecordPlace, Entry)>, String> {
        let mut stream = Stream::open(profile, head).map_err(|e| e.to_string())?;
        let mut normaliser = Normaliser::new(self.aliases, self.gear, Surroundings::default());
        let no_bytes = |_: Place| Vec::new();
        let mut packer =
            Packer { normaliser: &mut normaliser, arrived: batch.received_at, bytes_at: &no_bytes };
        let mut out = Vec::new();
        let mut keep = |parcel: Parcel| {
            out.extend(parcel.entries.into_iter().filter(|(at, _)| wanted(*at)));
            true
        };
        pump(input, &mut stream, &mut packer, &|_| (), &mut keep)
            .map_err(|e: io::Error| e.to_string())?;
        Ok(out)
    }
}

/// Bytes as text where they are text; anything else escaped, so that nothing is hidden.
pub fn readable(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) if !text.chars().any(|c| c.is_control() && c != '\t') => text.to_owned(),
        _ => bytes.escape_ascii().to_string(),
    }
}
