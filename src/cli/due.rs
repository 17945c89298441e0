//! `due`: what is to be tested, proved, calibrated.

use serde::Serialize;

use super::args::DueWithin;
use super::output::{self, Format};
use super::place::Place;
use super::{Exit, Failure, note};
use crate::dossier::{Due, due as all_due};
use crate::model::{DAY_MICROS, Stamp};

#[derive(Serialize)]
struct DueOut {
    task: &'static str,
    id: String,
    kind: String,
    last: Option<String>,
    due: Option<String>,
    /// Whole days until then, negative when late; none: it was never done.
    days_left: Option<i64>,
    overdue: bool,
    every_days: Option<u32>,
}

impl DueOut {
    fn of(due: &Due, now: Stamp) -> Self {
        let left = |at: Stamp| (at.micros() - now.micros()).div_euclid(DAY_MICROS);
        DueOut {
            task: due.task.word(),
            id: due.id.to_string(),
            kind: due.kind.to_string(),
            last: due.last.map(|at| at.to_string()),
            due: due.due.map(|at| at.to_string()),
            days_left: due.due.map(left),
            overdue: due.due.is_none_or(|at| at <= now),
            every_days: due.every_days,
        }
    }
}

pub(crate) fn due(place: &mut Place, ask: &DueWithin) -> Result<Exit, Failure> {
    let reader = place.reader()?;
    let now = place.now.min(place.when.as_of);
    let end = now.plus_days(f64::from(ask.within));
    let all = all_due(&reader, place.when, &place.config.assess)?;
    let none_stated = all.is_empty();
    let soon = all.iter().filter(|due| due.due.is_none_or(|at| at <= end));
    let rows: Vec<_> = soon.map(|due| DueOut::of(due, now)).collect();
    let columns = [
        ("task", "to do"),
        ("id", "with"),
        ("kind", "kind"),
        ("last", "last"),
        ("due", "due"),
        ("days_left", "days left"),
        ("every_days", "every, days"),
    ];
    let empty = format!("nothing is due within {} days", ask.within);
    output::rows(place.format, &columns, &rows, &empty)?;
    if none_stated && place.format == Format::Table {
        note(
            "no interval and no date is stated: `ohmward class add NAME --interval-days DAYS`, \
             `ohmward gear add ID tester --due DATE --proof-days DAYS`",
        );
    }
    Ok(Exit::Done)
}
