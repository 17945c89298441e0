//! `history`: the readings of one asset and what was done with each.

use serde::Serialize;

use super::args::OneAsset;
use super::output;
use super::place::Place;
use super::{Exit, Failure};
use crate::dossier::Desk;
use crate::dossier::words::{limit_words, role_words};
use crate::store::Reader;
use crate::store::sqlite::SqliteReader;
use crate::trend::Assessor;

/// One row of `history`.
#[derive(Serialize)]
struct HistoryOut {
    reading: String,
    taken_at: String,
    phase: String,
    against: String,
    setup: String,
    test_voltage_v: Option<f64>,
    bound: &'static str,
    resistance_ohm: f64,
    delivered_voltage_v: Option<f64>,
    duration_s: Option<f64>,
    temperature_c: Option<f64>,
    temperature_of: Option<&'static str>,
    tester: String,
    operator: String,
    visit: Option<usize>,
    used: String,
    result: String,
    /// What is in doubt about it.
    doubts: String,
    recorded_at: String,
    from: String,
    remark: String,
}

pub(crate) fn history(place: &mut Place, one: OneAsset) -> Result<Exit, Failure> {
    let asset = place.known_asset(&one.asset)?;
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let dossier =
        Desk::new(&reader, place.when, &place.config.assess, &assessor)?.open(&asset.id)?;
    let mut sources = Sources { reader: &reader, names: Default::default() };
    let mut rows = Vec::with_capacity(dossier.entries.len());
    for entry in &dossier.entries {
        let c = &entry.judged.corrected;
        let r = &c.reading;
        let result: Vec<String> = entry
            .outcomes
            .iter()
            .map(|(limit, outcome)| {
                let why = outcome.reason();
                let why = if why.is_empty() { String::new() } else { format!(" ({why})") };
                format!("{} {}{why}", outcome.word(), limit_words(limit))
            })
            .collect();
        let doubts: Vec<_> = entry.doubts.iter().map(|doubt| doubt.word()).collect();
        rows.push(HistoryOut {
            reading: c.id.to_string(),
            taken_at: r.taken_at.to_string(),
            phase: r.series.phase.to_string(),
            against: r.series.against.to_string(),
            setup: r.series.setup.to_string(),
            test_voltage_v: r.series.test_voltage.map(|v| v.get()),
            bound: r.bound.word(),
            resistance_ohm: r.ohms,
            delivered_voltage_v: r.delivered_voltage_v,
            duration_s: r.duration_s,
            temperature_c: r.temperature_c,
            temperature_of: r.temperature_of.map(|t| t.word()),
            tester: r.tester.to_string(),
            operator: r.operator.to_string(),
            visit: entry.judged.visit,
            used: used(entry),
            result: result.join("; "),
            doubts: doubts.join("; "),
            recorded_at: entry.recorded_at.to_string(),
            from: sources.name(c.id.batch)?,
            remark: r.remark.to_string(),
        });
    }
    let columns = [
        ("reading", "reading"),
        ("taken_at", "taken"),
        ("phase", "phase"),
        ("bound", ""),
        ("resistance_ohm", "resistance"),
        ("temperature_c", "°C"),
        ("tester", "tester"),
        ("used", "in the trend"),
        ("result", "result"),
        ("from", "from"),
    ];
    output::rows(place.format, &columns, &rows, "no readings")?;
    Ok(Exit::Done)
}

fn used(entry: &crate::dossier::Entry) -> String {
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

/// Names of batches, each asked for once.
struct Sources<'a> {
    reader: &'a SqliteReader,
    names: std::collections::HashMap<u64, String>,
}

impl Sources<'_> {
    fn name(&mut self, batch: u64) -> Result<String, Failure> {
        if let Some(name) = self.names.get(&batch) {
            return Ok(name.clone());
        }
        let name = self.reader.batch(batch)?.map(|b| b.source.name.to_string()).unwrap_or_default();
        self.names.insert(batch, name.clone());
        Ok(name)
    }
}
