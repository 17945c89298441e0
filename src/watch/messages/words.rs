//! What messages say. They inform whoever is qualified to act; none calls anything safe.

use crate::dossier::Ranked;
use crate::model::FindingKind;
use crate::store::Happening;
use crate::trend::words::ohms;

/// Stands under every message that could be acted on.
const CAUTIONS: &str = "This message informs; it decides nothing. Qualified people only; the \
maker's procedure and local rules first. Isolate, and measure yourself that no voltage is left, \
before touching. Disconnect electronics that the test voltage can harm. Rated gloves and leads. \
Release and discharge before disconnecting the tester.";

/// How far the numbers of a projection go.
const HOLDS: &str = "90 % interval; it holds under the detector's model, which was checked on \
simulated fleets only";

/// Lines of a list in a message; the rest is counted.
const LINES: usize = 50;

/// The asset with the phase that leads the finding.
fn place(row: &Ranked) -> String {
    match row.phase.is_empty() {
        true => row.asset.clone(),
        false => format!("{}, {}", row.asset, row.phase),
    }
}

fn date(time: &str) -> &str {
    time.get(..10).unwrap_or(time)
}

/// The subject of a message about one finding.
pub(super) fn subject(what: Happening, row: &Ranked) -> String {
    match what {
        Happening::Stated => format!("{}: {}", row.finding, place(row)),
        Happening::Withdrawn => format!("withdrawn: {}: {}", row.finding, place(row)),
    }
}

/// A message about one finding.
pub(super) fn single(what: Happening, row: &Ranked) -> String {
    if what == Happening::Withdrawn {
        return format!(
            "Withdrawn: what was told of {} ({}) stands no longer: the readings behind it were put \
             right or left out since. Look at its history before you go by either message.\n\n\
             {CAUTIONS}\n",
            place(row),
            row.finding
        );
    }
    let mut paragraph = format!("{}: {}", row.asset, row.finding);
    if !row.phase.is_empty() {
        paragraph += &format!(", phase {}", row.phase);
    }
    if !row.evidence.against.is_empty() {
        paragraph += &format!(" against {}", row.evidence.against);
    }
    if let Some(volts) = row.evidence.test_voltage_v {
        paragraph += &format!(" at {volts} V");
    }
    if !row.evidence.setup.is_empty() {
        paragraph += &format!(", {}", row.evidence.setup);
    }
    let mut text = format!("{paragraph}.\nSince {}: {}.\n", date(&row.since), row.reason);
    for line in [values(row), projection(row)].into_iter().flatten() {
        text += &line;
        text.push('\n');
    }
    text + "\n" + CAUTIONS + "\n"
}

/// The last value, the level of the trend and the limit.
fn values(row: &Ranked) -> Option<String> {
    let e = &row.evidence;
    let mut parts = Vec::new();
    if let (Some(last), Some(at)) = (e.last_ohm, &e.last_taken_at) {
        let bound = if e.last_bound == "=" { "" } else { e.last_bound.as_str() };
        parts.push(format!("Last value {bound}{} on {}", ohms(last), date(at)));
    }
    if let Some(level) = e.r40_ohm {
        parts.push(format!("{} at 40 °C by the trend", ohms(level)));
    }
    match e.limit_ohm {
        Some(limit) => parts.push(format!("limit {}", ohms(limit))),
        None if parts.is_empty() => return None,
        None => parts.push("no limit is known".to_owned()),
    }
    Some(format!("{}.", parts.join("; ")))
}

/// When the trend reaches the limit, or why that is not said.
fn projection(row: &Ranked) -> Option<String> {
    let e = &row.evidence;
    let kind = FindingKind::parse(row.finding).ok()?;
    Some(match (kind, &e.reaches_limit_lower, &e.reaches_limit_upper) {
        (FindingKind::BelowLimit, ..) => "No projection: it is below the limit already.".to_owned(),
        (FindingKind::Declining | FindingKind::Step | FindingKind::Watch, Some(from), to) => {
            let (from, to) = (date(from), to.as_deref().map(date));
            match to {
                Some(to) => {
                    format!("The trend reaches the limit between {from} and {to} ({HOLDS}).")
                }
                None => format!(
                    "The trend reaches the limit no earlier than {from}; the other end is open \
                     ({HOLDS})."
                ),
            }
        }
        (FindingKind::Declining | FindingKind::Step | FindingKind::Watch, None, _) => {
            match e.limit_ohm {
                Some(_) => "No projection: within the horizon the trend does not reach the limit.",
                None => "No projection: there is no limit to reach.",
            }
            .to_owned()
        }
        _ => return None,
    })
}

/// How many of each kind, `2 below limit, 7 declining`, in the order given.
pub(super) fn counts(rows: &[&Ranked]) -> String {
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for row in rows {
        match counts.iter_mut().find(|(kind, _)| *kind == row.finding) {
            Some((_, n)) => *n += 1,
            None => counts.push((row.finding, 1)),
        }
    }
    let parts: Vec<String> = counts.iter().map(|(kind, n)| format!("{n} {kind}")).collect();
    parts.join(", ")
}

/// A list under a heading; empty where there is nothing in it.
fn list(heading: &str, rows: &[&Ranked]) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let mut text = format!("{heading}:\n");
    for row in rows.iter().take(LINES) {
        let since = date(&row.since);
        text += &format!("- {}: {}, since {since}: {}\n", row.finding, place(row), row.reason);
    }
    if rows.len() > LINES {
        text += &format!("- and {} more (`ohmward declining` lists all)\n", rows.len() - LINES);
    }
    text + "\n"
}

/// A message about several findings.
pub(super) fn several(
    first: &str,
    stated: &[&Ranked],
    gone: &[&Ranked],
    rest: &[&Ranked],
) -> String {
    let mut text = format!("{first}\n\n");
    text += &list("New", stated);
    text += &list("Withdrawn", gone);
    text += &list("Standing from before", rest);
    text + CAUTIONS + "\n"
}
