//! The findings as a table: what was stated, the numbers behind it, and what people answered.

use super::table::{Column, Table};
use super::walk::ExportError;
use crate::dossier::Evidence;
use crate::model::{AssetId, Finding, Stamp};
use crate::store::{Act, FindingAct, Reader, Recorded, When};

/// A finding with what is known beside it.
#[derive(Clone, Debug)]
pub struct Stated {
    finding: Finding,
    evidence: Evidence,
    answer: Option<Recorded<FindingAct>>,
    when: When,
}

/// The findings of an asset, or of all, newest first: those that stood at `when`, those that had
/// ended, and those that were withdrawn.
pub fn stated<R: Reader + ?Sized>(
    reader: &R,
    asset: Option<&AssetId>,
    when: When,
) -> Result<Vec<Stated>, ExportError> {
    let acts = reader.acts(asset, when)?;
    let findings = reader.findings(asset, when)?.into_iter().map(|finding| {
        let key = (&finding.asset, finding.kind, finding.since);
        let answers =
            |a: &&Recorded<FindingAct>| (&a.value.asset, a.value.kind, a.value.since) == key;
        Stated {
            answer: acts.iter().rev().find(answers).cloned(),
            evidence: serde_json::from_str(&finding.evidence).unwrap_or_default(),
            finding,
            when,
        }
    });
    Ok(findings.collect())
}

/// An instant that travels as text.
fn instant(text: &Option<String>) -> Option<Stamp> {
    text.as_deref().and_then(|text| Stamp::parse(text).ok())
}

/// The end of a question's span; none where nothing was left out.
pub(super) fn until(at: Stamp) -> Option<Stamp> {
    (at != Stamp::MAX).then_some(at)
}

/// One row per finding.
pub static FINDINGS: Table<Stated> = Table {
    meaning: "one stated problem a row, newest first, those that ended or were withdrawn included; \
              the numbers are those of the last assessment known at `known_at` and hold under the \
              model",
    columns: &[
        Column::text("asset", "the asset, or the tester or day that it is about", |s| {
            s.finding.asset.as_str().into()
        }),
        Column::text("phase", "the phase; empty: about the asset as a whole", |s| {
            s.finding.phase.as_ref().map_or("", |p| p.as_str()).into()
        }),
        Column::text(
            "finding",
            "`declining`, `below limit`, `step`, `imbalance`, `common cause`, `tester`, `overdue` \
             or `watch`",
            |s| s.finding.kind.word().into(),
        ),
        Column::time("since", "measuring time at which it was first seen", |s| {
            Some(s.finding.since)
        }),
        Column::time("until", "measuring time at which it ended; empty: it had not", |s| {
            s.finding.until
        }),
        Column::text("state", "`open`, `acknowledged`, `closed` or `withdrawn`", |s| {
            s.finding.state.word().into()
        }),
        Column::text("reason", "why, in a sentence", |s| s.finding.reason.as_str().into()),
        Column::text("answer", "the last answer of a person: `acknowledge` or `close`", |s| {
            s.answer.as_ref().map_or("", |a| word(a.value.act)).into()
        }),
        Column::text("answered_by", "who gave it", |s| {
            s.answer.as_ref().map_or("", |a| a.mark.by.as_str()).into()
        }),
        Column::time("answered_at", "when it was recorded", |s| {
            s.answer.as_ref().map(|a| a.mark.recorded_at)
        }),
        Column::text("remark", "in that person's words", |s| {
            s.answer.as_ref().map_or("", |a| a.value.remark.as_str()).into()
        }),
        Column::text("leading_phase", "phase of the leading series", |s| {
            s.evidence.leading_phase.as_str().into()
        }),
        Column::text("against", "what the other lead was on", |s| {
            s.evidence.against.as_str().into()
        }),
        Column::text("setup", "what else makes its readings comparable", |s| {
            s.evidence.setup.as_str().into()
        }),
        Column::number("test_voltage_v", "V", "nominal test voltage", |s| {
            s.evidence.test_voltage_v
        }),
        Column::text("verdict", "verdict on the leading series", |s| {
            s.evidence.verdict.as_str().into()
        }),
        Column::number("limit_ohm", "ohm", "limit that it is held against", |s| {
            s.evidence.limit_ohm
        }),
        Column::number("r40_ohm", "ohm", "resistance at 40 °C as the trend has it", |s| {
            s.evidence.r40_ohm
        }),
        Column::number("r40_lower_ohm", "ohm", "lower end of its 90 % interval", |s| {
            s.evidence.r40_lower_ohm
        }),
        Column::number("r40_upper_ohm", "ohm", "upper end of its 90 % interval", |s| {
            s.evidence.r40_upper_ohm
        }),
        Column::number("decades_per_year", "decade/year", "trend; negative: falling", |s| {
            s.evidence.decades_per_year
        }),
        Column::number(
            "decades_per_year_lower",
            "decade/year",
            "lower end of its 90 % interval",
            |s| s.evidence.decades_per_year_lower,
        ),
        Column::number(
            "decades_per_year_upper",
            "decade/year",
            "upper end of its 90 % interval",
            |s| s.evidence.decades_per_year_upper,
        ),
        Column::time("reaches_limit_lower", "first credible time at the limit (5 %)", |s| {
            instant(&s.evidence.reaches_limit_lower)
        }),
        Column::time("reaches_limit", "middle time at the limit", |s| {
            instant(&s.evidence.reaches_limit)
        }),
        Column::time(
            "reaches_limit_upper",
            "last credible time at the limit (95 %); empty: open",
            |s| instant(&s.evidence.reaches_limit_upper),
        ),
        Column::number("probability", "1", "chance that somebody should act, by the model", |s| {
            s.evidence.probability
        }),
        Column::count("n_measured", "points on scale behind it", |s| counted(s, |e| e.n_measured)),
        Column::count("n_over", "over-range points", |s| counted(s, |e| e.n_over)),
        Column::count("n_under", "under-range points", |s| counted(s, |e| e.n_under)),
        Column::count("n_left_out", "readings of the asset left out of the trend", |s| {
            counted(s, |e| e.n_left_out)
        }),
        Column::number("last_ohm", "ohm", "last value, as read", |s| s.evidence.last_ohm),
        Column::text("last_bound", "what it means: `=`, `>`, `<`", |s| {
            s.evidence.last_bound.as_str().into()
        }),
        Column::time("last_taken_at", "when it was taken", |s| instant(&s.evidence.last_taken_at)),
        Column::text("evidence", "all numbers behind it, as JSON", |s| {
            s.finding.evidence.as_str().into()
        }),
        Column::time("as_of", "only what was measured by then; empty: all", |s| {
            until(s.when.as_of)
        }),
        Column::time("known_at", "only what was recorded by then; empty: all", |s| {
            until(s.when.known_at)
        }),
    ],
};

/// Points are counted only where a series stands behind the finding.
fn counted(stated: &Stated, count: fn(&Evidence) -> usize) -> Option<usize> {
    stated.finding.is_of_asset().then(|| count(&stated.evidence))
}

fn word(act: Act) -> &'static str {
    match act {
        Act::Acknowledge => "acknowledge",
        Act::Close => "close",
    }
}
