//! `replay`: would it have caught the last failure, and how early?

use std::fs::File;

use serde::Serialize;

use super::args::Replay;
use super::output;
use super::place::{Place, bar, shown};
use super::{Exit, Failure, note};
use crate::model::Stamp;
use crate::replay::replay as run;
use crate::store::sqlite::SqliteStore;

/// An alarm as it was raised.
#[derive(Serialize)]
struct RaisedOut {
    asset: String,
    phase: String,
    first_flagged_at: String,
    kind: &'static str,
    projected_crossing_lower: Option<String>,
    projected_crossing: Option<String>,
    projected_crossing_upper: Option<String>,
}

/// A projection as it was made; an empty end is open.
#[derive(Serialize)]
struct ProjectionOut {
    asset: String,
    phase: String,
    as_of: String,
    projected_crossing_lower: Option<String>,
    projected_crossing: Option<String>,
    projected_crossing_upper: Option<String>,
}

pub(crate) fn replay(place: &mut Place, args: Replay) -> Result<Exit, Failure> {
    let store = SqliteStore::existing(&place.dir)?;
    let bar = bar("replaying", "assets");
    let progress = |done: usize, of: usize| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    };
    let replayed = run(&|| store.reader(), place.when, &place.config.assess, &progress)?;
    bar.finish_and_clear();
    let time = |t: Option<Stamp>| t.map(|t| t.to_string());
    if let Some(path) = args.projections {
        let failed = |e: &dyn std::fmt::Display| {
            Failure::Failed(format!("cannot write `{}`: {e}", shown(&path)))
        };
        let file = File::create(&path).map_err(|e| failed(&e))?;
        let mut writer = csv::WriterBuilder::new().has_headers(false).from_writer(file);
        writer.write_record(PROJECTION_COLUMNS).map_err(|e| failed(&e))?;
        for p in &replayed.projections {
            let row = ProjectionOut {
                asset: p.asset.to_string(),
                phase: p.phase.as_ref().map(ToString::to_string).unwrap_or_default(),
                as_of: p.as_of.to_string(),
                projected_crossing_lower: time(p.crossing.lower),
                projected_crossing: time(p.crossing.mid),
                projected_crossing_upper: time(p.crossing.upper),
            };
            writer.serialize(row).map_err(|e| failed(&e))?;
        }
        writer.flush()?;
        note(format!("{} projections written to {}", replayed.projections.len(), shown(&path)));
    }
    let rows: Vec<_> = replayed
        .raised
        .into_iter()
        .map(|r| RaisedOut {
            asset: r.asset.to_string(),
            phase: r.phase.map(|p| p.to_string()).unwrap_or_default(),
            first_flagged_at: r.first_flagged_at.to_string(),
            kind: r.kind.word(),
            projected_crossing_lower: time(r.crossing.lower),
            projected_crossing: time(r.crossing.mid),
            projected_crossing_upper: time(r.crossing.upper),
        })
        .collect();
    let columns = [
        ("asset", "asset"),
        ("phase", "phase"),
        ("first_flagged_at", "first flagged"),
        ("kind", "kind"),
        ("projected_crossing_lower", "limit from"),
        ("projected_crossing", "middle"),
        ("projected_crossing_upper", "to"),
    ];
    output::rows(place.format, &columns, &rows, "no alarm would have been raised")?;
    Ok(Exit::Done)
}

const PROJECTION_COLUMNS: [&str; 6] = [
    "asset",
    "phase",
    "as_of",
    "projected_crossing_lower",
    "projected_crossing",
    "projected_crossing_upper",
];
