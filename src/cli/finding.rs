//! `finding`: stated problems with their life: open, acknowledged, closed, withdrawn.

use serde::Serialize;

use super::args::{ActOnFinding, FindingCommand};
use super::output;
use super::place::Place;
use super::{Exit, Failure};
use crate::model::{AssetId, Finding, FindingKind, Stamp, text};
use crate::store::{Act, Change, FindingAct, Reader};

/// A finding as it is printed.
#[derive(Serialize)]
struct FindingOut {
    asset: String,
    phase: String,
    finding: &'static str,
    since: String,
    until: Option<String>,
    state: &'static str,
    reason: String,
    evidence: serde_json::Value,
    answered_by: Option<String>,
    remark: Option<String>,
}

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
    let reader = place.reader()?;
    let acts = reader.acts(asset.as_ref(), place.when)?;
    let rows: Vec<FindingOut> = reader
        .findings(asset.as_ref(), place.when)?
        .into_iter()
        .map(|f| {
            let last = acts.iter().rev().find(|a| {
                (&a.value.asset, a.value.kind, a.value.since) == (&f.asset, f.kind, f.since)
            });
            FindingOut {
                asset: f.asset.to_string(),
                phase: f.phase.as_ref().map(ToString::to_string).unwrap_or_default(),
                finding: f.kind.word(),
                since: f.since.to_string(),
                until: f.until.map(|t| t.to_string()),
                state: f.state.word(),
                reason: f.reason.into(),
                evidence: serde_json::from_str(&f.evidence).unwrap_or_default(),
                answered_by: last.map(|a| a.mark.by.to_string()),
                remark: last.map(|a| a.value.remark.to_string()),
            }
        })
        .collect();
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
    let remark = text("remark", &args.remark)?;
    if remark.is_empty() {
        return Err(Failure::Usage("say with --remark what was seen or done".into()));
    }
    place.assess_all_pending()?;
    let asset = subject(place, &args.asset)?;
    let since = open_finding(place, &asset, kind)?;
    let act = FindingAct { asset, kind, since, act, remark };
    place.record(args.by.by, &[Change::FindingAct(act)])
}

/// What findings stand under: an asset, or what they call the tester or day they are about.
fn subject(place: &Place, id: &str) -> Result<AssetId, Failure> {
    let asked = AssetId::new(id)?;
    match place.reader()?.findings(Some(&asked), place.when)?.is_empty() {
        true => Ok(place.known_asset(id)?.id),
        false => Ok(asked),
    }
}

/// The finding of that kind that stands on the asset.
fn open_finding(place: &Place, asset: &AssetId, kind: FindingKind) -> Result<Stamp, Failure> {
    let findings: Vec<Finding> = place.reader()?.findings(Some(asset), place.when)?;
    let standing = findings.iter().find(|f| f.kind == kind && f.until.is_none());
    standing.map(|f| f.since).ok_or_else(|| {
        Failure::Failed(format!(
            "`{asset}` has no `{kind}` that stands (`ohmward finding list {asset}` shows all)"
        ))
    })
}
