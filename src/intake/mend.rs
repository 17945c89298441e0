//! A record that could not be read, read again as a person mended it.

use std::io::Read;

use super::IntakeError;
use super::file::{HEAD, choose, sheet_of};
use super::retry::{Again, Retried};
use super::sheet::is_sheet;
use crate::store::{
    Batch, Entry, Parcel, Reader, RecordPlace, Source, StoreError, StoredReject, Writer,
};

/// What became of a mended record.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mended {
    /// Its readings, counted.
    pub counts: Retried,
    /// Why it still cannot be read; then nothing was stored.
    pub still: Option<String>,
}

/// Reads a reject again with `line` in its place, in the midst of its file where it came in one,
/// since headers belong to it. What it becomes is a delivery by hand, in the person's name and with
/// the line as they wrote it: the kept file stays what it was, and the reject is settled by it.
pub fn mend(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    again: &Again<'_>,
    reject: &StoredReject,
    (by, line): (&str, &str),
) -> Result<Mended, IntakeError> {
    let batch = reader.batch(reject.batch)?.ok_or_else(|| StoreError::Damaged {
        table: "reject",
        row: reject.number.to_string(),
        why: format!("its batch {} is missing", reject.batch),
    })?;
    let name = again.profile.unwrap_or(&batch.source.profile);
    let profile = choose(again.profiles, Some(name), &[], &batch.source.name)?;
    let unread = |why| IntakeError::Profile {
        path: batch.source.name.to_string(),
        profile: name.to_owned(),
        why,
    };
    let (text, wanted) = match in_its_place(again, &batch, reject, line.trim_end()) {
        Ok(whole) => whole,
        Err(why) => return Ok(Mended { still: Some(why), ..Mended::default() }),
    };
    let head = &text[..text.len().min(HEAD)];
    let wanted = |at: RecordPlace| wanted.is_none_or(|record| at.record == record);
    let read = again.pump(&batch, profile, (head, text.as_slice()), &wanted).map_err(unread)?;
    let wrong = read.iter().find_map(|(_, entry)| match entry {
        Entry::Reject(item) => Some(item.reason.to_string()),
        _ => None,
    });
    if wrong.is_some() || read.is_empty() {
        let still = wrong.unwrap_or_else(|| "there is no reading in this line".to_owned());
        return Ok(Mended { still: Some(still), ..Mended::default() });
    }
    let lines = vec![line.trim_end().as_bytes().to_vec(); read.len()];
    let entries = read
        .into_iter()
        .map(|(at, entry)| (RecordPlace { record: 1, part: at.part }, entry))
        .collect();
    let source = Source { kind: "hand".into(), name: by.into(), profile: name.into(), file: None };
    let mut parcels = std::iter::once(Parcel { entries, lines });
    let receipt = writer.receive(again.now, &source, again.first_met, &mut parcels)?;
    if let Some((_, item)) = receipt.first_rejects.first() {
        let still = Some(item.reason.to_string());
        return Ok(Mended { still, ..Mended::default() });
    }
    writer.settle_rejects(&[reject.number], receipt.batch.unwrap_or(reject.batch))?;
    let counts = Retried {
        accepted: receipt.accepted,
        duplicate: receipt.duplicate,
        tray: receipt.tray,
        rejected: 0,
    };
    Ok(Mended { counts, still: None })
}

/// The bytes to read: the whole file with the line in its place and which record of it is meant, or
/// the line alone where it came in a stream. An error says why this record cannot be mended so.
fn in_its_place(
    again: &Again<'_>,
    batch: &Batch,
    reject: &StoredReject,
    line: &str,
) -> Result<(Vec<u8>, Option<u64>), String> {
    let item = &reject.item;
    if item.len == 0 {
        return Err("another reading stands in its place: put that one right".to_owned());
    }
    let lines = |bytes: &[u8]| bytes.trim_ascii_end().iter().filter(|b| **b == b'\n').count();
    if lines(line.as_bytes()) > lines(&item.bytes) {
        return Err("expected one record, found several lines".to_owned());
    }
    let Some(file) = &batch.source.file else {
        return Ok((format!("{line}\n").into_bytes(), None));
    };
    let failed = |e: &dyn std::fmt::Display| format!("its file cannot be read again: {e}");
    let mut bytes = Vec::new();
    let mut kept = again.kept.open(&file.digest).map_err(|e| failed(&e))?;
    kept.read_to_end(&mut bytes).map_err(|e| failed(&e))?;
    if is_sheet(&bytes) {
        let sheet = sheet_of(&mut bytes.as_slice(), &batch.source.name).map_err(|e| failed(&e))?;
        bytes = sheet.text;
    }
    if !line.is_ascii() && std::str::from_utf8(&bytes).is_err() {
        return Err("its file is not in UTF-8: only ASCII letters can be put in".to_owned());
    }
    let from = usize::try_from(item.offset).unwrap_or(usize::MAX).min(bytes.len());
    let to = from.saturating_add(item.len as usize).min(bytes.len());
    let ending = bytes[from..to].len() - bytes[from..to].trim_ascii_end().len();
    bytes.splice(from..to - ending, line.bytes());
    Ok((bytes, Some(reject.place.record)))
}
