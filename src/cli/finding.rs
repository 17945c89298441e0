//! `finding`: stated problems with their life: open, acknowledged, closed, withdrawn.

use super::args::{ActOnFinding, FindingCommand};
use super::output;
use super::place::Place;
use super::{Exit, Failure, note};
use crate::dossier::told;
use crate::model::{AssetId, FindingKind};
use crate::registry;
use crate::store::{Act, Reader};

pub(crate) fn finding(place: &mut Place, command: FindingCommand) -> Result<Exit, Failure> {
    match command {
        FindingCommand::List { asset } => list(place, asset),
        FindingCommand::Acknowledge(act) => answer(place, act, Act::Acknowledge),
        FindingCommand::Close(act) => answer(place, act, Act::Close),
    }
}

fn list(place: &mut Place, asset: Option<String>) -> Result<Exit, Failure> {
    place.reader()?;
    place.assess_all_pending()?;
    let asset = asset.map(|a| subject(place, &a)).transpose()?;
    let rows = told(&place.reader()?, asset.as_ref(), place.when)?;
    let columns = [
        ("asset", "asset"),
        ("phase", "phase"),
        ("finding", "finding"),
        ("since", "since"),
        ("until", "until"),
        ("state", "state"),
        ("answered_by", "answered by"),
        ("remark", "remark"),
        ("reason", "why"),
    ];
    output::rows(place.format, &columns, &rows, "no findings")?;
    Ok(Exit::Done)
}

fn answer(place: &mut Place, args: ActOnFinding, act: Act) -> Result<Exit, Failure> {
    let kind = FindingKind::parse(&args.kind)?;
    if args.remark.trim().is_empty() {
        return Err(Failure::Usage("say with --remark what was seen or done".into()));
    }
    place.assess_all_pending()?;
    let asset = subject(place, &args.asset)?;
    let (by, now) = (place.by(args.by.by)?, place.now);
    let open = place.writing()?;
    registry::answer(
        &open.reader,
        &mut open.writer,
        (now, &by),
        (&asset, kind),
        act,
        &args.remark,
    )?;
    note("recorded");
    place.assess_pending()?;
    Ok(Exit::Done)
}

/// What findings stand under: an asset, or what they call the tester or day they are about.
fn subject(place: &Place, id: &str) -> Result<AssetId, Failure> {
    let asked = AssetId::new(id)?;
    match place.reader()?.findings(Some(&asked), place.when)?.is_empty() {
        true => Ok(place.known_asset(id)?.id),
        false => Ok(asked),
    }
}
