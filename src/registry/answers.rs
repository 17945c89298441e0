//! What people answered to findings, as it travels from one installation to another.

use super::HandError;
use super::table::{Cells, Row};
use crate::model::{
    AssetId, Finding, FindingKind, FindingState, Invalid, Phase, Stamp, Text, text,
};
use crate::store::{Act, Change, FindingAct, PendingMark, Reader, StoreError, When, Writer};

/// An answer with enough of its finding to know it again: findings themselves are derived anew.
#[derive(Clone, Debug, PartialEq)]
pub struct AnswerRow {
    /// The finding as it stands, or as it was when it was withdrawn.
    pub finding: Finding,
    /// What was done.
    pub act: Act,
    /// Why.
    pub remark: Text,
    /// Who did it.
    pub by: Text,
}

/// Records an answer. A finding that the readings do not give (any more) is brought in as a
/// withdrawn one, so that what people said of it is not lost.
pub fn take_over(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    now: Stamp,
    answer: &AnswerRow,
) -> Result<(), HandError> {
    let AnswerRow { finding, act, remark, by } = answer;
    let (asset, kind, since) = (finding.asset.clone(), finding.kind, finding.since);
    let act = FindingAct { asset: asset.clone(), kind, since, act: *act, remark: remark.clone() };
    let change = [Change::FindingAct(act)];
    let mut standing = reader.findings(Some(&asset), When::ALWAYS)?;
    if standing.iter().any(|f| f.kind == kind && f.since == since) {
        writer.record(now, by, &change)?;
        return Ok(());
    }
    // It stands for as long as it takes to answer it.
    standing.retain(|f| f.state != FindingState::Withdrawn);
    standing.push(finding.clone());
    const NO_MARK: PendingMark = PendingMark(0);
    writer.settle(now, &asset, NO_MARK, &standing)?;
    writer.record(now, by, &change)?;
    standing.pop();
    Ok(writer.settle(now, &asset, NO_MARK, &standing)?)
}

/// The words of an act, as the commands have them.
const ACTS: [(Act, &str); 2] = [(Act::Acknowledge, "acknowledge"), (Act::Close, "close")];

impl Row for AnswerRow {
    const NAME: &'static str = "answers";
    const COLUMNS: &'static [&'static str] =
        &["asset", "finding", "phase", "since", "until", "reason", "act", "remark", "by"];
    const REQUIRED: &'static [&'static str] = &["asset", "finding", "since", "act", "by"];

    fn read(cells: &Cells<'_>) -> Result<Self, Invalid> {
        let since = cells.time("since")?;
        let act = cells.text("act");
        Ok(AnswerRow {
            finding: Finding {
                asset: AssetId::new(cells.text("asset"))?,
                kind: FindingKind::parse(cells.text("finding"))?,
                phase: match cells.text("phase") {
                    "" => None,
                    label => Some(Phase::new(label)?),
                },
                since: since
                    .ok_or_else(|| Invalid::new("since", "a time like 2026-03-02T08:15:00Z", ""))?,
                until: cells.time("until")?,
                state: FindingState::Withdrawn,
                reason: text("reason", cells.text("reason"))?,
                evidence: "{}".into(),
            },
            act: ACTS
                .iter()
                .find(|(_, word)| *word == act)
                .map(|(act, _)| *act)
                .ok_or_else(|| Invalid::new("act", "`acknowledge` or `close`", act))?,
            remark: text("remark", cells.text("remark"))?,
            by: super::person(cells.text("by")).map_err(|_| Invalid::new("by", "a name", ""))?,
        })
    }

    fn write(&self) -> Vec<String> {
        let Finding { asset, kind, phase, since, until, reason, .. } = &self.finding;
        let act = ACTS.iter().find(|(act, _)| *act == self.act).map_or("", |(_, word)| word);
        vec![
            asset.to_string(),
            kind.to_string(),
            phase.as_ref().map(Phase::to_string).unwrap_or_default(),
            since.to_string(),
            until.map(|at| at.to_string()).unwrap_or_default(),
            reason.to_string(),
            act.into(),
            self.remark.to_string(),
            self.by.to_string(),
        ]
    }
}

/// All answers, oldest first.
pub fn answers(reader: &(impl Reader + ?Sized), when: When) -> Result<Vec<AnswerRow>, StoreError> {
    let findings = reader.findings(None, when)?;
    let rows = reader.acts(None, when)?.into_iter().filter_map(|recorded| {
        let FindingAct { asset, kind, since, act, remark } = recorded.value;
        let of = |f: &&Finding| (&f.asset, f.kind, f.since) == (&asset, kind, since);
        let finding = findings.iter().find(of)?.clone();
        Some(AnswerRow { finding, act, remark, by: recorded.mark.by })
    });
    Ok(rows.collect())
}
