//! `history`: the readings of one asset and what was done with each.

use serde::Serialize;

use super::args::OneAsset;
use super::output;
use super::place::Place;
use super::{Exit, Failure};
use crate::dossier::{Desk, ReadingStatement, SourceNames};
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
    let mut sources = SourceNames::new(&reader);
    let mut rows = Vec::with_capacity(dossier.entries.len());
    for entry in &dossier.entries {
        let from = sources.of(entry.judged.corrected.id.batch)?;
        rows.push(HistoryOut::from(ReadingStatement::of(entry, from)));
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

impl From<ReadingStatement> for HistoryOut {
    fn from(r: ReadingStatement) -> Self {
        HistoryOut {
            reading: r.id,
            taken_at: r.taken_at,
            phase: r.phase,
            against: r.against,
            setup: r.setup,
            test_voltage_v: r.test_voltage_v,
            bound: r.bound,
            resistance_ohm: r.resistance_ohm,
            delivered_voltage_v: r.delivered_voltage_v,
            duration_s: r.duration_s,
            temperature_c: r.temperature_c,
            temperature_of: r.temperature_of,
            tester: r.tester,
            operator: r.operator,
            visit: r.visit,
            used: r.used,
            result: r.result,
            doubts: r.doubts,
            recorded_at: r.recorded_at,
            from: r.from,
            remark: r.remark,
        }
    }
}
