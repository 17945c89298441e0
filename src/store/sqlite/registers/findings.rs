//! Findings: episodes as last assessed, and what people did about them. A finding keeps its number
//! while its episode is assessed again and again; every change of it is a new row.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, params};

use super::Recording;
use crate::model::{AssetId, Finding, FindingKind, FindingState, Stamp};
use crate::store::episodes::{self, Episode};
use crate::store::sqlite::cells::collect;
use crate::store::sqlite::names::Names;
use crate::store::sqlite::pending;
use crate::store::{Act, FindingAct, PendingMark, Recorded, Result, StoreError, When};

fn word(act: Act) -> &'static str {
    match act {
        Act::Acknowledge => "acknowledge",
        Act::Close => "close",
    }
}

/// Records an answer to a finding.
pub(super) fn act(to: &mut Recording<'_>, act: &FindingAct) -> Result<bool> {
    let known = load(to.db, Of::Asset(&act.asset), When::ALWAYS)?;
    let known: BTreeMap<i64, Episode> = known.into_iter().map(|(no, k)| (no, k.episode)).collect();
    let Some(no) = episodes::answered(&known, act) else {
        let FindingAct { asset, kind, since, .. } = act;
        return Err(StoreError::NoFinding { asset: asset.clone(), kind: *kind, since: *since });
    };
    let last: Option<(String, String)> = to
        .db
        .prepare_cached(
            "SELECT act, remark FROM finding_act WHERE finding = ?1 ORDER BY no DESC LIMIT 1",
        )?
        .query_row([no], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    if last.is_some_and(|(done, remark)| done == word(act.act) && remark == act.remark.as_str()) {
        return Ok(false);
    }
    to.db
        .prepare_cached(
            "INSERT INTO finding_act (batch, finding, act, remark) VALUES (?1, ?2, ?3, ?4)",
        )?
        .execute(params![to.batch, no, word(act.act), act.remark.as_str()])?;
    if act.kind == FindingKind::CommonCause {
        let asset = to.names.asset(to.db, &act.asset)?;
        to.marking.asset(asset, known[&no].finding.since.micros())?;
    }
    Ok(true)
}

/// Replaces the episodes of an asset and clears the pending marks that were seen.
pub(in crate::store::sqlite) fn settle(
    db: &Connection,
    names: &mut Names,
    now: Stamp,
    asset: &AssetId,
    seen: PendingMark,
    new: &[Finding],
) -> Result<()> {
    let asset_no = names.asset(db, asset)?;
    let known = load(db, Of::Asset(asset), When::ALWAYS)?;
    let known: BTreeMap<i64, Episode> = known.into_iter().map(|(no, k)| (no, k.episode)).collect();
    let matches = episodes::match_episodes(&known, new);
    for (episode, matched) in new.iter().zip(&matches) {
        let no = match matched {
            Some(no) if known[no].stands && known[no].says(episode) => continue,
            Some(no) => *no,
            None => {
                db.prepare_cached("INSERT INTO finding (asset, kind) VALUES (?1, ?2)")?
                    .execute(params![asset_no, episode.kind.word()])?;
                db.last_insert_rowid()
            }
        };
        version(db, no, now, true, episode)?;
    }
    for (no, old) in &known {
        if old.stands && !matches.contains(&Some(*no)) {
            version(db, *no, now, false, &old.finding)?;
        }
    }
    pending::clear(db, asset_no, seen)
}

fn version(db: &Connection, no: i64, now: Stamp, stands: bool, finding: &Finding) -> Result<()> {
    db.prepare_cached(
        "INSERT INTO finding_version (finding, recorded_at, stands, phase, since_at, until_at,
           reason, evidence) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?
    .execute(params![
        no,
        now.micros(),
        stands,
        finding.phase.as_ref().map(|p| p.as_str()),
        finding.since.micros(),
        finding.until.map(|u| u.micros()),
        finding.reason.as_str(),
        finding.evidence
    ])?;
    Ok(())
}

struct Known {
    episode: Episode,
    acts: Vec<(i64, Recorded<FindingAct>)>,
}

/// Which findings.
#[derive(Clone, Copy)]
pub(in crate::store::sqlite) enum Of<'a> {
    All,
    Asset(&'a AssetId),
    Kind(FindingKind),
}

/// Findings by number, each as it was known, with what people did about it. Of a finding that is
/// assessed again and again there may be thousands of versions: only the newest is read.
fn load(db: &Connection, of: Of<'_>, when: When) -> Result<BTreeMap<i64, Known>> {
    let (of, word) = match of {
        Of::All => ("AND ?2 IS NULL", None),
        Of::Asset(asset) => ("AND a.id = ?2", Some(asset.as_str())),
        Of::Kind(kind) => ("AND f.kind = ?2", Some(kind.word())),
    };
    let params = params![when.known_at.micros(), word];
    let sql = format!(
        "SELECT v.no, f.no, a.id, f.kind, v.stands, v.phase, v.since_at, v.until_at, v.reason,
           v.evidence
         FROM finding f JOIN asset a ON a.no = f.asset
           JOIN finding_version v ON v.no = (
             SELECT w.no FROM finding_version w WHERE w.finding = f.no AND w.recorded_at <= ?1
             ORDER BY w.no DESC LIMIT 1)
         WHERE true {of}"
    );
    let newest = collect(db, "finding_version", &sql, params, |cells| {
        let finding = Finding {
            asset: cells.asset(2)?,
            kind: cells.word(3, FindingKind::parse)?,
            phase: cells.maybe_phase(5)?,
            since: cells.stamp(6)?,
            until: cells.maybe_stamp(7)?,
            state: FindingState::Open,
            reason: cells.text(8)?,
            evidence: cells.get(9)?,
        };
        let episode = Episode { finding, stands: cells.get(4)?, answered: false };
        Ok((cells.get::<i64>(1)?, Known { episode, acts: Vec::new() }))
    })?;
    let mut known: BTreeMap<i64, Known> = newest.into_iter().collect();
    let sql = format!(
        "SELECT t.no, t.finding, t.act, t.remark, b.received_at, s.name
         FROM finding_act t JOIN finding f ON f.no = t.finding JOIN asset a ON a.no = f.asset
           JOIN batch b ON b.no = t.batch JOIN source s ON s.no = b.source
         WHERE b.received_at <= ?1 {of} ORDER BY t.no"
    );
    let acts = collect(db, "finding_act", &sql, params, |cells| {
        let act = match cells.text(2)?.as_str() {
            "acknowledge" => Act::Acknowledge,
            "close" => Act::Close,
            other => return Err(cells.damaged(format!("unknown act `{other}`"))),
        };
        Ok((cells.get::<i64>(0)?, cells.get::<i64>(1)?, act, cells.text(3)?, cells.mark(4)?))
    })?;
    for (no, finding, act, remark, mark) in acts {
        if let Some(known) = known.get_mut(&finding) {
            let Finding { asset, kind, since, .. } = &known.episode.finding;
            let value =
                FindingAct { asset: asset.clone(), kind: *kind, since: *since, act, remark };
            known.episode.answered = true;
            known.acts.push((no, Recorded { value, mark }));
        }
    }
    Ok(known)
}

/// Findings, newest first.
pub(in crate::store::sqlite) fn all(
    db: &Connection,
    of: Of<'_>,
    when: When,
) -> Result<Vec<Finding>> {
    let known = load(db, of, when)?;
    let findings = known.into_values().filter_map(|known| {
        known.episode.shown(when.as_of, known.acts.last().map(|(_, row)| row.value.act))
    });
    Ok(episodes::newest_first(findings.collect()))
}

/// All findings by number.
pub(in crate::store::sqlite) fn numbered(
    db: &Connection,
    when: When,
) -> Result<Vec<(u64, Finding)>> {
    let known = load(db, Of::All, when)?.into_iter();
    let findings = known.filter_map(|(no, known)| {
        let last_act = known.acts.last().map(|(_, row)| row.value.act);
        Some((no as u64, known.episode.shown(when.as_of, last_act)?))
    });
    Ok(findings.collect())
}

/// What people did about findings, oldest first.
pub(in crate::store::sqlite) fn acts(
    db: &Connection,
    asset: Option<&AssetId>,
    when: When,
) -> Result<Vec<Recorded<FindingAct>>> {
    let mut known: Vec<_> = load(db, asset.map_or(Of::All, Of::Asset), when)?
        .into_values()
        .filter(|known| known.episode.finding.since <= when.as_of)
        .flat_map(|known| known.acts)
        .collect();
    known.sort_unstable_by_key(|(no, _)| *no);
    Ok(known.into_iter().map(|(_, row)| row).collect())
}
