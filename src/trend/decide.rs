//! From evidence to verdict: the rules of the regression alone.

use super::evidence::{AgainstLimit, Settings};
use super::fit::FieldFit;
use super::proven::NoEstimate;
use super::reach::Crossing;
use super::reason::NoMaximum;
use super::words::ohms;
use crate::model::{Outcome, Point, Stamp, Text, Verdict};

/// What is known of one line.
pub struct Evidence<'a> {
    /// Points of the current epoch, in time order.
    pub points: &'a [Point],
    /// When that epoch began; none from the beginning.
    pub epoch: Option<Stamp>,
    /// The lines, or why there are none.
    pub fit: &'a Result<FieldFit, NoEstimate>,
    /// The last reading and the trend against each limit.
    pub limits: &'a [AgainstLimit],
}

/// A verdict with its reasons.
pub struct Decision {
    /// The verdict.
    pub verdict: Verdict,
    /// The reasons, each a sentence for a person.
    pub reasons: Vec<Text>,
}

/// Decides one line: `below limit` when two readings running are below one; `declining` and `watch`
/// when the fall is clear and a limit near in value or time; otherwise `steady`, or `too few`.
pub fn decide(evidence: &Evidence<'_>, settings: &Settings) -> Decision {
    let mut reasons: Vec<Text> = Vec::new();
    let mut verdict = match evidence.fit {
        Ok(fit) => by_trend(evidence, fit, settings, &mut reasons),
        Err(none) => without_trend(evidence, none, &mut reasons),
    };
    for against in evidence.limits.iter().filter(|a| a.outcome == Outcome::Below) {
        let limit = format!("{} ({})", ohms(against.limit.ohms), against.limit.meaning.word());
        if against.below_repeated {
            verdict = Verdict::BelowLimit;
            reasons.insert(0, format!("Two readings are below the limit of {limit}.").into());
        } else {
            verdict = verdict.max(Verdict::Watch);
            let text = format!("The last reading is below the limit of {limit}: repeat this test.");
            reasons.insert(0, text.into());
        }
    }
    Decision { verdict, reasons }
}

fn by_trend(
    evidence: &Evidence<'_>,
    fit: &FieldFit,
    settings: &Settings,
    reasons: &mut Vec<Text>,
) -> Verdict {
    let line = fit.broken().unwrap_or_else(|| fit.straight());
    let p = fit.p_declining();
    let mut verdict = Verdict::Steady;
    for against in evidence.limits {
        let near = fit.decades_above(&against.limit) <= settings.near_decades;
        let soon = matches!(against.crossing, Some(Crossing::Between { point, .. })
            if point <= line.reference.plus_days(settings.horizon_days));
        if line.decades_per_year < 0.0 && (near || soon) {
            let called = match p {
                p if p < settings.alarm_p => Verdict::Declining,
                p if p < settings.watch_p => Verdict::Watch,
                _ => Verdict::Steady,
            };
            verdict = verdict.max(called);
        }
    }
    let (low, high) = line.decades_per_year_interval;
    let rate = line.decades_per_year;
    let mut text = format!(
        "The trend changes by {rate:+.2} decades a year ({low:+.2} to {high:+.2}), p for decline {p:.2}"
    );
    if p < 0.005 {
        text.truncate(text.len() - 4);
        text.push_str(&format!("{p:.1e}"));
    }
    if let Some(onset) = line.onset {
        text.push_str(&format!(", since about {}", onset.date()));
    }
    text.push('.');
    reasons.push(text.into());
    if verdict > Verdict::Steady {
        for against in evidence.limits {
            let limit = ohms(against.limit.ohms);
            match against.crossing {
                Some(Crossing::Between { lower, upper, .. }) => reasons.push(
                    format!(
                        "The trend reaches {limit} between {} and {}.",
                        lower.date(),
                        upper.date()
                    )
                    .into(),
                ),
                Some(Crossing::NoDate { because }) => reasons
                    .push(format!("For {limit} no date can be given, because {because}.").into()),
                None => {}
            }
        }
    }
    verdict
}

fn without_trend(evidence: &Evidence<'_>, none: &NoEstimate, reasons: &mut Vec<Text>) -> Verdict {
    let n = evidence.points.len();
    let since = evidence.epoch.map_or(String::new(), |at| format!(" since {}", at.date()));
    if n == 0 {
        reasons.push(format!("No reading{since}.").into());
        return Verdict::TooFew;
    }
    let why = none.reason.words();
    reasons
        .push(format!("No trend from {n} readings{since}: {why}; {}.", none.proven.words()).into());
    match none.reason {
        // Three times over-range and nothing else: no decline can be seen.
        NoMaximum::AllOver => Verdict::Steady,
        _ => Verdict::TooFew,
    }
}
