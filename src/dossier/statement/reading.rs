//! A reading with what was done with it, as it is told.

use std::collections::HashMap;

use serde::Serialize;
use utoipa::ToSchema;

use crate::dossier::Entry;
use crate::dossier::words::{outcome_words, used_words};
use crate::store::{Reader, Result};

/// A reading as it counts now: the canonical columns, its id, and what was done with it.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ReadingStatement {
    /// Its id: what a correction names.
    #[schema(example = "12.345")]
    pub id: String,
    /// When it became known.
    pub recorded_at: String,
    /// When it was measured.
    #[schema(example = "2026-03-02T08:15:00Z")]
    pub taken_at: String,
    /// The asset it belongs to.
    #[schema(example = "YT-014/drive")]
    pub asset: String,
    /// What the live lead was on.
    #[schema(example = "U")]
    pub phase: String,
    /// What the other lead was on.
    #[schema(example = "case")]
    pub against: String,
    /// What else defines comparability.
    pub setup: String,
    /// Ohms; what they mean is `bound`.
    #[schema(example = 550e6)]
    pub resistance_ohm: f64,
    /// `=` measured, `>` at least, `<` at most.
    #[schema(example = ">")]
    pub bound: &'static str,
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// Delivered voltage in volts.
    pub delivered_voltage_v: Option<f64>,
    /// Seconds of applied voltage.
    pub duration_s: Option<f64>,
    /// Degrees Celsius.
    pub temperature_c: Option<f64>,
    /// What that temperature was of: `winding` or `ambient`.
    pub temperature_of: Option<&'static str>,
    /// Relative humidity in per cent.
    pub humidity_pct: Option<f64>,
    /// The tester.
    pub tester: String,
    /// Who measured.
    pub operator: String,
    /// Where.
    pub station: String,
    /// Free text.
    pub remark: String,
    /// The visit, counted from 0 over the asset; none when left out.
    pub visit: Option<usize>,
    /// What the trend does with it, in words.
    #[schema(example = "counts")]
    pub used: String,
    /// What it says at once against each limit, in words.
    pub result: String,
    /// What is in doubt about it.
    pub doubts: String,
    /// The file, connection, client or person it came from.
    pub from: String,
}

impl ReadingStatement {
    /// Tells a reading that came from a source of that name.
    pub fn of(entry: &Entry, from: String) -> Self {
        let c = &entry.judged.corrected;
        let (r, s) = (&c.reading, &c.reading.series);
        let results: Vec<String> =
            entry.outcomes.iter().map(|(limit, outcome)| outcome_words(limit, outcome)).collect();
        let doubts: Vec<_> = entry.doubts.iter().map(|doubt| doubt.word()).collect();
        ReadingStatement {
            id: c.id.to_string(),
            recorded_at: entry.recorded_at.to_string(),
            taken_at: r.taken_at.to_string(),
            asset: s.asset.to_string(),
            phase: s.phase.to_string(),
            against: s.against.to_string(),
            setup: s.setup.to_string(),
            resistance_ohm: r.ohms,
            bound: r.bound.word(),
            test_voltage_v: s.test_voltage.map(|v| v.get()),
            delivered_voltage_v: r.delivered_voltage_v,
            duration_s: r.duration_s,
            temperature_c: r.temperature_c,
            temperature_of: r.temperature_of.map(|t| t.word()),
            humidity_pct: r.humidity_pct,
            tester: r.tester.to_string(),
            operator: r.operator.to_string(),
            station: r.station.to_string(),
            remark: r.remark.to_string(),
            visit: entry.judged.visit,
            used: used_words(entry),
            result: results.join("; "),
            doubts: doubts.join("; "),
            from,
        }
    }
}

/// Names of the sources of batches, each asked for once.
pub struct SourceNames<'a, R: Reader + ?Sized> {
    reader: &'a R,
    names: HashMap<u64, String>,
}

impl<'a, R: Reader + ?Sized> SourceNames<'a, R> {
    /// Nothing is asked before it is needed.
    pub fn new(reader: &'a R) -> Self {
        SourceNames { reader, names: HashMap::new() }
    }

    /// The name of the source that a batch came from; empty where it is not known.
    pub fn of(&mut self, batch: u64) -> Result<String> {
        if let Some(name) = self.names.get(&batch) {
            return Ok(name.clone());
        }
        let name = self.reader.batch(batch)?.map(|b| b.source.name.to_string()).unwrap_or_default();
        self.names.insert(batch, name.clone());
        Ok(name)
    }
}
