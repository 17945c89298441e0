//! `class`: what assets of one make have in common, said once.

use serde::Serialize;

use super::{import_as, marked};
use crate::cli::args::{AddClass, ClassCommand};
use crate::cli::output;
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::model::{Asset, AssetClass, Insulation, Isolation, Joining, text};
use crate::registry::Register;
use crate::store::{Change, Reader, When};

#[derive(Serialize)]
struct ClassOut {
    class: String,
    kind: String,
    limit_ohm: Option<f64>,
    as_read_ohm: Option<f64>,
    ohm_per_volt: Option<f64>,
    working_voltage_v: Option<f64>,
    insulation: &'static str,
    phases: &'static str,
    interval_days: Option<u32>,
    discharge_wait_s: Option<u32>,
    /// Assets that name it.
    assets: usize,
    remark: String,
}

const COLUMNS: &[output::Column] = &[
    ("class", "class"),
    ("kind", "kind"),
    ("limit_ohm", "limit at 40 °C"),
    ("as_read_ohm", "as read"),
    ("ohm_per_volt", "Ω/V"),
    ("working_voltage_v", "at V"),
    ("insulation", "insulation"),
    ("phases", "phases"),
    ("interval_days", "test every, days"),
    ("discharge_wait_s", "discharge, s"),
    ("assets", "assets"),
    ("remark", "remark"),
];

pub(crate) fn class(place: &mut Place, command: ClassCommand) -> Result<Exit, Failure> {
    match command {
        ClassCommand::List => {
            let reader = place.reader()?;
            let assets = reader.assets(place.when)?;
            let rows = marked(reader.classes(place.when)?, |c| ClassOut {
                assets: assets.iter().filter(|a| a.class == c.name).count(),
                class: c.name.into(),
                kind: c.kind.into(),
                limit_ohm: c.limit_ohm,
                as_read_ohm: c.as_read_ohm,
                ohm_per_volt: c.isolation.map(|i| i.ohm_per_volt),
                working_voltage_v: c.isolation.map(|i| i.working_voltage_v),
                insulation: c.insulation.word(),
                phases: c.joining.word(),
                interval_days: c.interval_days,
                discharge_wait_s: c.discharge_s,
                remark: c.remark.into(),
            });
            output::rows(place.format, COLUMNS, &rows, "no classes yet: `ohmward class add`")?;
            Ok(Exit::Done)
        }
        ClassCommand::Add(add) => add_class(place, *add),
        ClassCommand::Import(import) => import_as(place, Register::Classes, import),
    }
}

/// A class as it is from now on: what is not said stays as it was.
fn add_class(place: &mut Place, add: AddClass) -> Result<Exit, Failure> {
    let name = text("class", &add.class)?;
    if name.is_empty() {
        return Err(Failure::Usage("a class has a name, such as 'drive motor 400 V'".into()));
    }
    let known = place.writing()?.reader.classes(When::ALWAYS)?;
    let known = known.into_iter().map(|row| row.value).find(|class| class.name == name);
    let fresh = known.is_none();
    let mut class = known.unwrap_or_else(|| AssetClass::named(name));
    if let Some(kind) = add.kind {
        class.kind = text("kind", &kind)?;
        if fresh && !Asset::is_rotating(&class.kind) {
            class.limit_ohm = None;
        }
    }
    class.limit_ohm = ohms("--limit", add.limit)?.or(class.limit_ohm);
    class.as_read_ohm = ohms("--as-read", add.as_read)?.or(class.as_read_ohm);
    let per_volt = ohms("--ohm-per-volt", add.ohm_per_volt)?;
    let volts = ohms("--working-voltage", add.working_voltage)?;
    if let (Some(ohm_per_volt), Some(working_voltage_v)) = (per_volt, volts) {
        class.isolation = Some(Isolation { ohm_per_volt, working_voltage_v });
    }
    if let Some(word) = add.insulation {
        class.insulation = Insulation::parse(&word)?;
    }
    if let Some(word) = add.phases {
        class.joining = Joining::parse(&word)?;
    }
    class.interval_days = add.interval_days.or(class.interval_days);
    class.discharge_s = add.discharge_wait.or(class.discharge_s);
    if let Some(remark) = add.remark {
        class.remark = text("remark", &remark)?;
    }
    place.record(add.by.by, &[Change::Class(class)])
}

fn ohms(option: &str, value: Option<f64>) -> Result<Option<f64>, Failure> {
    match value {
        Some(v) if !(v > 0.0 && v.is_finite()) => {
            Err(Failure::Usage(format!("`{option}`: expected a number above 0, found {v}")))
        }
        other => Ok(other),
    }
}
