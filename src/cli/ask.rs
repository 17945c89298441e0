//! `declining`: what needs attention, most urgent first.

use super::args::Declining;
use super::output::{self, Format};
use super::place::{Place, bar};
use super::{Exit, Failure, note};
use crate::dossier::{CAUTION, Ranked, findings_at, ranked};
use crate::model::{Finding, FindingKind};
use crate::store::Reader;

pub(crate) fn declining(place: &mut Place, ask: Declining) -> Result<Exit, Failure> {
    place.reader()?;
    let findings = if place.is_past() { past(place)? } else { present(place)? };
    let rows = ranked(findings, ask.all);
    let columns = [
        ("asset", "asset"),
        ("phase", "phase"),
        ("finding", "finding"),
        ("since", "since"),
        ("r40_ohm", "now, at 40 °C"),
        ("limit_ohm", "limit"),
        ("decades_per_year", "decades/year"),
        ("reaches_limit_lower", "at limit from"),
        ("reaches_limit_upper", "to"),
        ("reason", "why"),
    ];
    output::rows(place.format, &columns, &rows, "nothing is declining")?;
    if place.format == Format::Table && !rows.is_empty() {
        note(expected_false(&rows));
        let asset = rows.iter().find(|row| row.of_asset).map(|row| quoted(&row.asset));
        let next = match asset {
            Some(asset) => format!("`ohmward assess {asset}` shows the evidence"),
            None => "`ohmward finding list --format json` shows the evidence".to_owned(),
        };
        note(format!("next: {next}. {CAUTION}"));
    }
    let urgent = rows.iter().any(|r| {
        r.finding == FindingKind::Declining.word() || r.finding == FindingKind::BelowLimit.word()
    });
    Ok(if urgent { Exit::NeedsPerson } else { Exit::Done })
}

/// The findings as they stand, after what waits has been assessed.
fn present(place: &mut Place) -> Result<Vec<Finding>, Failure> {
    place.assess_all_pending()?;
    place.look_at_calendar()?;
    Ok(place.reader()?.findings(None, place.when)?)
}

/// The findings as they would have been.
fn past(place: &Place) -> Result<Vec<Finding>, Failure> {
    let bar = bar("assessing", "assets");
    let findings = findings_at(&place.reader()?, place.when, &place.config.assess, &|done, of| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
        true
    })?;
    bar.finish_and_clear();
    Ok(findings)
}

/// How many of the shown findings are to be expected to be false, by the model's own account.
fn expected_false(rows: &[Ranked]) -> String {
    let chances = rows.iter().filter_map(|r| r.evidence.probability);
    let false_ones: f64 = chances.map(|p| 1.0 - p).sum();
    format!(
        "{}, of which about {false_ones:.1} are to be expected to be false (by the model; \
         DEVELOPERS.md has the rates on simulated fleets)",
        if rows.len() == 1 { "1 finding".to_owned() } else { format!("{} findings", rows.len()) }
    )
}

fn quoted(asset: &str) -> String {
    if asset.contains([' ', '\'', '"']) { format!("'{asset}'") } else { asset.to_owned() }
}
