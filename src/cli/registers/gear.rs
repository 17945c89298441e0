//! `gear`: testers, leads, gloves, known sources.

use serde::Serialize;

use super::{import_as, marked};
use crate::cli::args::{AddGear, GearCommand};
use crate::cli::output;
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::model::{Gear, GearKind, Range, text};
use crate::registry::{Register, ranges_of};
use crate::store::{Change, Reader};
use crate::trend::words::ohms;

#[derive(Serialize)]
struct GearOut {
    gear: String,
    kind: &'static str,
    category: String,
    rated_voltage_v: Option<f64>,
    full_scale_ohm: Option<f64>,
    lowest_ohm: Option<f64>,
    due: Option<String>,
    overdue: bool,
    /// Highest reading by test voltage.
    ranges: Vec<String>,
    proof_days: Option<u32>,
    remark: String,
}

pub(crate) fn gear(place: &mut Place, command: GearCommand) -> Result<Exit, Failure> {
    match command {
        GearCommand::List => {
            let now = place.now;
            let rows = marked(place.reader()?.gear(place.when)?, |g| GearOut {
                gear: g.id.into(),
                kind: g.kind.word(),
                category: g.category.into(),
                rated_voltage_v: g.rated_voltage_v,
                full_scale_ohm: g.full_scale_ohm,
                lowest_ohm: g.lowest_ohm,
                due: g.due.map(|d| d.to_string()),
                overdue: g.due.is_some_and(|d| d <= now),
                ranges: g.ranges.iter().map(range_words).collect(),
                proof_days: g.proof_days,
                remark: g.remark.into(),
            });
            let columns = [
                ("gear", "gear"),
                ("kind", "kind"),
                ("category", "category"),
                ("rated_voltage_v", "rated V"),
                ("full_scale_ohm", "full scale"),
                ("ranges", "by range"),
                ("lowest_ohm", "lowest"),
                ("due", "due"),
                ("overdue", "overdue"),
                ("remark", "remark"),
            ];
            output::rows(place.format, &columns, &rows, "no gear yet")?;
            Ok(Exit::Done)
        }
        GearCommand::Add(add) => {
            let AddGear {
                gear,
                kind,
                category,
                rated_voltage,
                full_scale,
                lowest,
                due,
                remark,
                range,
                proof_days,
                by,
            } = add;
            let ranges = ranges_of(range.into_iter().map(Some)).ok_or_else(|| {
                let why = "`--range`: expected each test voltage once, such as '250 V=1 GΩ'";
                Failure::Usage(why.into())
            })?;
            let gear = Gear {
                id: text("gear", &gear)?,
                kind: GearKind::parse(&kind)?,
                category: text("category", &category)?,
                rated_voltage_v: rated_voltage,
                full_scale_ohm: full_scale,
                lowest_ohm: lowest,
                due,
                remark: text("remark", &remark)?,
                ranges,
                proof_days,
            };
            place.record(by.by, &[Change::Gear(gear)])
        }
        GearCommand::Import(import) => import_as(place, Register::Gear, import),
    }
}

fn range_words(range: &Range) -> String {
    format!("{} V: {}", range.test_voltage_v, ohms(range.full_scale_ohm))
}
