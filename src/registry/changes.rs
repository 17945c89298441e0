//! Changes of registers by a person: what they speak of must be there, and an alias takes out of
//! the tray what it tells.

use super::{HandError, person, place_waiting};
use crate::model::{AssetId, Finding, FindingKind, Stamp, text};
use crate::store::{Act, Change, FindingAct, Reader, When, Writer};

/// What came of changes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Changed {
    /// Rows that were new; the others stood already.
    pub new: u64,
    /// Readings that left the tray because an alias now tells where they belong.
    pub placed: usize,
}

/// Records changes, all or none, with who made them.
pub fn record(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    now: Stamp,
    by: &str,
    changes: &[Change],
) -> Result<Changed, HandError> {
    let by = person(by)?;
    for change in changes {
        speaks_of_what_is_there(reader, change)?;
    }
    classes_are_known(reader, changes)?;
    let new = writer.record(now, &by, changes)?;
    let aliases = changes.iter().any(|c| matches!(c, Change::Alias(_)));
    let placed = if aliases { place_waiting(reader, writer, now, &by)? } else { 0 };
    Ok(Changed { new, placed })
}

/// An event of an asset that is not registered is most likely a mistyped id, and only what stands
/// can be taken back.
fn speaks_of_what_is_there(reader: &dyn Reader, change: &Change) -> Result<(), HandError> {
    let there = |found: bool, what: String| match found {
        true => Ok(()),
        false => Err(HandError::NotThere(what)),
    };
    let all = When::ALWAYS;
    match change {
        Change::Event(event) => known(reader, &event.asset),
        Change::EventVoid(event) => {
            known(reader, &event.asset)?;
            let mut events = reader.events(Some(&event.asset), all)?.into_iter();
            there(
                events.any(|e| e.value.at == event.at && e.value.kind == event.kind),
                format!("`{}` has no event `{}` at {}", event.asset, event.kind.word(), event.at),
            )
        }
        Change::ProofVoid(proof) => {
            let mut proofs = reader.proofs(Some(&proof.tester), all)?.into_iter();
            there(
                proofs.any(|p| p.value == *proof),
                format!("`{}` has no such proof at {}", proof.tester, proof.at),
            )
        }
        Change::AliasVoid(alias) => {
            let names = |a: &crate::model::Alias| {
                (a.written.clone(), a.phase_written.clone(), a.from, a.asset.clone())
            };
            let mut aliases = reader.aliases(all)?.into_iter();
            let found = aliases.any(|a| names(&a.value) == names(alias));
            there(found, format!("`{}` has no such alias `{}`", alias.asset, alias.written))
        }
        _ => Ok(()),
    }
}

/// A class that an asset names and nobody registered is most likely mistyped.
pub fn classes_are_known(reader: &dyn Reader, changes: &[Change]) -> Result<(), HandError> {
    let named = changes.iter().filter_map(|change| match change {
        Change::Asset(asset) if !asset.class.is_empty() => Some(asset),
        _ => None,
    });
    let mut known = None;
    for asset in named {
        let known = match &known {
            Some(known) => known,
            None => known.insert(reader.classes(When::ALWAYS)?),
        };
        let added = changes.iter().any(|c| matches!(c, Change::Class(c) if c.name == asset.class));
        if !added && !known.iter().any(|row| row.value.name == asset.class) {
            let all: Vec<&str> = known.iter().map(|row| row.value.name.as_str()).collect();
            let known = if all.is_empty() { "none".to_owned() } else { all.join(", ") };
            return Err(HandError::NoClass { name: asset.class.clone(), known });
        }
    }
    Ok(())
}

/// Refuses an asset that is not registered.
pub(super) fn known(reader: &dyn Reader, asset: &AssetId) -> Result<(), HandError> {
    match reader.asset(asset, When::ALWAYS)? {
        Some(_) => Ok(()),
        None => Err(HandError::NoAsset(asset.clone())),
    }
}

/// Answers the finding of that kind that stands on an asset (or on what findings call a tester or
/// a day); returns when that finding began.
pub fn answer(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    (now, by): (Stamp, &str),
    (asset, kind): (&AssetId, FindingKind),
    act: Act,
    remark: &str,
) -> Result<Stamp, HandError> {
    let by = person(by)?;
    let remark = text("remark", remark)?;
    if remark.is_empty() {
        return Err(HandError::Missing("remark"));
    }
    let findings: Vec<Finding> = reader.findings(Some(asset), When::ALWAYS)?;
    if findings.is_empty() {
        known(reader, asset)?;
    }
    let standing = findings.iter().find(|f| f.kind == kind && f.until.is_none());
    let since = standing
        .map(|f| f.since)
        .ok_or_else(|| HandError::NotThere(format!("`{asset}` has no `{kind}` that stands")))?;
    let act = FindingAct { asset: asset.clone(), kind, since, act, remark };
    writer.record(now, &by, &[Change::FindingAct(act)])?;
    Ok(since)
}
