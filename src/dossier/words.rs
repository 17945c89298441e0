//! What a dossier says, in sentences for a person: the same on the terminal, the page and the report.

use std::collections::BTreeSet;

use super::{Entry, Group};
use crate::model::{Bound, Limit, LimitMeaning, Outcome, Verdict};
use crate::trend::words::{log_ohms, ohms};
use crate::trend::{CrossingTimes, LineAssessment, NoticeKind};
use crate::visits::{Exclusion, Role};

/// The cautions that stand wherever a verdict could be acted on.
pub const CAUTION: &str = "This informs; it does not say that anything is safe to touch. \
Testing is for qualified people: the maker's procedure and local rules first.";

/// What whoever tests must keep to; stands where a verdict, run sheet or report could be acted on.
pub const SAFETY: &str = "For qualified people only: the maker's procedure and local rules come \
first. Isolate and prove dead before touching. Disconnect electronics that the test voltage can \
harm. Wear rated gloves, use CAT-rated leads. After the test release the voltage and discharge \
before disconnecting. Nothing here says that a circuit is safe to touch.";

/// A limit in words: what it is and what it is held against.
pub fn limit_words(limit: &Limit) -> String {
    let ohms = ohms(limit.ohms);
    match limit.meaning {
        LimitMeaning::At40 => format!("{ohms} at 40 °C"),
        LimitMeaning::AsRead => format!("{ohms} as read"),
        LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
            format!("{ohms} isolation ({ohm_per_volt} Ω/V at {working_voltage_v} V)")
        }
    }
}

/// What was done with a reading, in words.
pub fn role_words(role: &Role) -> String {
    match role {
        Role::Counts => "counts".into(),
        Role::Timed => "same test, another duration".into(),
        Role::Retested => "replaced by a retest".into(),
        Role::LeftOut(Exclusion::Voided(why)) => format!("left out: void ({why})"),
        Role::LeftOut(Exclusion::ProofFailed(at)) => {
            format!("left out: a proof of its tester failed on {}", at.date())
        }
        Role::LeftOut(Exclusion::NoContact(at)) => {
            format!("left out: contact was not confirmed on {}", at.date())
        }
        Role::LeftOut(Exclusion::VoltageSagged) => {
            "left out: the voltage sagged, so a high value means little".into()
        }
        Role::LeftOut(Exclusion::CommonCause(occasion)) => {
            format!("left out: fell together with other assets ({occasion})")
        }
    }
}

/// The same, with what people put right on it.
pub fn used_words(entry: &Entry) -> String {
    let c = &entry.judged.corrected;
    let mut words = role_words(&entry.judged.role);
    if let Some(from) = &c.moved_from {
        words.push_str(&format!(", moved from {} {}", from.asset, from.phase));
    }
    if let Some(why) = &c.overruled {
        words.push_str(&format!(", proof overruled: {why}"));
    }
    words
}

/// What a reading says at once against one limit, and why it does not decide or count.
pub(super) fn outcome_words(limit: &Limit, outcome: &Outcome) -> String {
    let why = outcome.reason();
    let why = if why.is_empty() { String::new() } else { format!(" ({why})") };
    format!("{} {}{why}", outcome.word(), limit_words(limit))
}

/// What a person should know or do. A repeat is asked for only while the value stands alone, and
/// temperatures that had to be taken from elsewhere are counted, not listed.
pub fn notices(group: &Group) -> Vec<String> {
    let detection = &group.assessment.detection;
    let last = detection.series.iter().map(|s| s.last).max();
    let mut without_temperature = BTreeSet::new();
    let mut out = Vec::new();
    for notice in &detection.notices {
        let phase = notice.phase.as_ref().map(|p| format!(" {p}")).unwrap_or_default();
        let words = match &notice.kind {
            NoticeKind::TemperatureTaken(_) => {
                without_temperature.insert(notice.at.utc_day());
                continue;
            }
            NoticeKind::Repeat if Some(notice.at.utc_day()) != last.map(|l| l.utc_day()) => {
                continue;
            }
            NoticeKind::Repeat => "one low value alone: repeat this test",
            NoticeKind::UnrecordedRepair => {
                "the level rose and stayed: was something done that is not recorded? \
                 (`ohmward event add`)"
            }
        };
        out.push(format!("{}{phase}: {words}", notice.at.date()));
    }
    if !without_temperature.is_empty() {
        out.push(format!(
            "no temperature was recorded on {} days: that of other readings nearby was taken, with \
             a wide uncertainty",
            without_temperature.len()
        ));
    }
    out
}

/// The state of a line in a sentence: what is known, how surely, and why there is no date.
pub fn line_words(line: &LineAssessment) -> String {
    let n = line.n_measured + line.n_over + line.n_under;
    let lowest_bound = match &line.last {
        Some(p) if p.bound == Bound::Over => {
            format!("last above {}", log_ohms(p.log_ohm))
        }
        Some(p) if p.bound == Bound::Under => {
            format!("last below {}", log_ohms(p.log_ohm))
        }
        Some(p) => format!("last {}", log_ohms(p.log_ohm)),
        None => return "no readings".into(),
    };
    let date = projection_words(line);
    let clears = line.clears_after.map(|n| {
        let visits = if n == 1 { "visit" } else { "visits" };
        format!("; {n} {visits} like the healthy ones would end the finding")
    });
    let visits = if n == 1 { "1 visit".to_owned() } else { format!("{n} visits") };
    format!("{}, {visits}, {lowest_bound}; {date}{}", line.verdict, clears.unwrap_or_default())
}

/// When the trend reaches the limit, or why no date is given.
pub fn projection_words(line: &LineAssessment) -> String {
    match (line.verdict, line.crossing) {
        (Verdict::BelowLimit, _) => "it is below the limit now".to_owned(),
        (Verdict::Declining | Verdict::Watch, CrossingTimes { upper: Some(b), .. })
            if line.last.as_ref().is_some_and(|p| b.days() <= p.taken_at.days() + 1.0) =>
        {
            "the trend is at the limit now".to_owned()
        }
        (
            Verdict::Declining | Verdict::Watch,
            CrossingTimes { lower: Some(a), upper: Some(b), .. },
        ) => {
            format!("the trend reaches the limit between {} and {}", a.date(), b.date())
        }
        (Verdict::Declining | Verdict::Watch, CrossingTimes { lower: Some(a), .. }) => {
            format!("the trend reaches the limit from {} on, with an open end", a.date())
        }
        (Verdict::Declining | Verdict::Watch, _) => {
            "no date can be given: the trend does not reach the limit within the horizon".to_owned()
        }
        (Verdict::TooFew, _) => "no date can be given: too few visits".to_owned(),
        (Verdict::Steady, _) if line.n_measured == 0 => {
            "every visit was over-range: no slope and no date".to_owned()
        }
        (Verdict::Steady, _) => "no decline to be seen, so no date".to_owned(),
    }
}
