//! Steps of run sheets as they travel from one installation to another.

use super::table::{Cells, Row};
use super::{HandError, person};
use crate::model::{Invalid, Stamp, Text, text};
use crate::store::{Change, Reader, Result, SheetKey, SheetStep, When, Writer};

/// A step with who did it.
#[derive(Clone, Debug, PartialEq)]
pub struct StepRow {
    /// The step.
    pub step: SheetStep,
    /// Who did it.
    pub by: Text,
}

impl Row for StepRow {
    const NAME: &'static str = "sheets";
    const COLUMNS: &'static [&'static str] =
        &["station", "opened", "step", "at", "by", "act", "details"];
    const REQUIRED: &'static [&'static str] =
        &["station", "opened", "step", "at", "by", "act", "details"];

    fn read(cells: &Cells<'_>) -> std::result::Result<Self, Invalid> {
        let time = |column: &'static str| -> std::result::Result<Stamp, Invalid> {
            let missing = || Invalid::new(column, "a time like 2026-03-02T08:15:00Z", "");
            cells.time(column)?.ok_or_else(missing)
        };
        let station = text("station", cells.text("station"))?;
        let step = cells.text("step");
        let wrong = |_| Invalid::new("step", "a number from 1", step);
        Ok(StepRow {
            step: SheetStep {
                sheet: SheetKey { station, opened: time("opened")? },
                number: step.parse().map_err(wrong)?,
                at: time("at")?,
                act: text("act", cells.text("act"))?,
                details: cells.text("details").to_owned(),
            },
            by: person(cells.text("by")).map_err(|_| Invalid::new("by", "a name", ""))?,
        })
    }

    fn write(&self) -> Vec<String> {
        let SheetStep { sheet, number, at, act, details } = &self.step;
        vec![
            sheet.station.to_string(),
            sheet.opened.to_string(),
            number.to_string(),
            at.to_string(),
            self.by.to_string(),
            act.to_string(),
            details.clone(),
        ]
    }
}

/// All steps of all sheets as known: sheet by sheet, the earliest first.
pub fn steps(reader: &(impl Reader + ?Sized), when: When) -> Result<Vec<StepRow>> {
    let mut out = Vec::new();
    for sheet in reader.sheets(None, usize::MAX)?.iter().rev() {
        let rows = reader.steps(sheet)?.into_iter();
        let rows = rows.filter(|row| row.mark.recorded_at <= when.known_at);
        out.extend(rows.map(|row| StepRow { step: row.value, by: row.mark.by }));
    }
    Ok(out)
}

/// Records the steps that are not there yet; returns how many.
pub fn take_over_steps(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    now: Stamp,
    rows: &[StepRow],
) -> std::result::Result<u64, HandError> {
    let mut new = 0;
    for StepRow { step, by } in rows {
        let known = reader.steps(&step.sheet)?.len();
        if step.number as usize > known {
            new += writer.record(now, by, &[Change::Step(step.clone())])?;
        }
    }
    Ok(new)
}
