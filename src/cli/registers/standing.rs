//! `asset merge`, `retire` and their ways back: who belongs to the fleet, with who said so and why.

use crate::cli::args::{MergeAssets, StandAside};
use crate::cli::place::Place;
use crate::cli::{Exit, Failure, note};
use crate::dossier::{Fleet, Standing};
use crate::model::{Alias, Event, EventKind, text};
use crate::store::{Change, Reader, When};

/// Says that two assets are one. Readings, events and corrections stay where they were recorded.
pub(super) fn merge(place: &mut Place, merge: MergeAssets) -> Result<Exit, Failure> {
    let asset = place.known_asset(&merge.asset)?.id;
    let into = place.known_asset(&merge.into)?.id;
    let why = why(&merge.why)?;
    let fleet = Fleet::read(&place.writing()?.reader, When::ALWAYS)?;
    if fleet.is_ring(&asset, &into) {
        return Err(Failure::Failed(format!(
            "`{into}` is already the same as `{asset}` (see `ohmward asset show {into}`)"
        )));
    }
    let exit =
        place.record(merge.by.by, &[Change::Alias(Alias::merger(&asset, into.clone(), why))])?;
    note(format!(
        "the history of `{asset}` is read as that of `{into}` from now on; nothing was rewritten \
         (`ohmward asset unmerge {asset}` takes it back)"
    ));
    Ok(exit)
}

/// Takes a merger back.
pub(super) fn unmerge(place: &mut Place, aside: StandAside) -> Result<Exit, Failure> {
    let asset = place.known_asset(&aside.asset)?.id;
    let why = why(&aside.why)?;
    let aliases = place.reader()?.aliases(When::ALWAYS)?.into_iter().map(|row| row.value);
    let merger = aliases.into_iter().find(|a| a.merged && a.written == asset.as_str());
    let Some(merger) = merger else {
        return Err(Failure::Failed(format!(
            "`{asset}` is not merged into another asset (see `ohmward asset list`)"
        )));
    };
    place.record(aside.by.by, &[Change::AliasVoid(Alias { remark: why, ..merger })])
}

/// Takes an asset out of the fleet, or back into it.
pub(super) fn aside(
    place: &mut Place,
    aside: StandAside,
    kind: EventKind,
) -> Result<Exit, Failure> {
    let asset = place.known_asset(&aside.asset)?.id;
    let remark = why(&aside.why)?;
    let fleet = Fleet::read(&place.writing()?.reader, When::ALWAYS)?;
    let standing = fleet.standing(&asset);
    let is_retired = matches!(standing, Some(Standing::Retired { .. }));
    if is_retired == (kind == EventKind::Retired) {
        let words = standing.map(Standing::word).unwrap_or_default();
        return Err(Failure::Failed(format!("`{asset}` is {words} already")));
    }
    let at = aside.at.unwrap_or(place.now);
    place.record(aside.by.by, &[Change::Event(Event { at, asset, kind, remark })])
}

fn why(written: &str) -> Result<crate::model::Text, Failure> {
    let why = text("why", written)?;
    if why.is_empty() {
        return Err(Failure::Usage("say with --why the reason: it is kept with the change".into()));
    }
    Ok(why)
}
