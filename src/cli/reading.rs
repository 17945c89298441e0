//! `reading` and `tray`: readings by hand, and what people put right.

use serde::Serialize;

use super::args::{AddReading, FixReading, MoveReading, Reading as ReadingCommand, TrayCommand};
use super::output;
use super::place::Place;
use super::{Exit, Failure, note};
use crate::model::{CorrectionKind, Precision, ReadingId, TemperatureOf};
use crate::registry::{Became, HandError, HandReading, correct, enter, move_to, person};
use crate::store::Reader;

pub(crate) fn reading(place: &mut Place, command: ReadingCommand) -> Result<Exit, Failure> {
    match command {
        ReadingCommand::Add(add) => by_hand(place, *add),
        ReadingCommand::Void(fix) => put_right(place, fix, CorrectionKind::Void),
        ReadingCommand::Restore(fix) => put_right(place, fix, CorrectionKind::Restore),
        ReadingCommand::Overrule(fix) => put_right(place, fix, CorrectionKind::Overrule),
        ReadingCommand::Move(to) | ReadingCommand::Assign(to) => move_reading(place, to),
    }
}

/// A tray item as it is printed.
#[derive(Serialize)]
struct TrayOut {
    reading: String,
    taken_at: String,
    written_asset: String,
    written_phase: String,
    resistance_ohm: f64,
    bound: &'static str,
    tester: String,
    reason: String,
    from: String,
}

pub(crate) fn tray(place: &mut Place, command: TrayCommand) -> Result<Exit, Failure> {
    match command {
        TrayCommand::List => {
            let reader = place.reader()?;
            let mut rows = Vec::new();
            for stored in reader.tray(place.when)? {
                let from = reader.batch(stored.id.batch)?.map(|b| b.source.name.to_string());
                let reading = stored.item.reading;
                rows.push(TrayOut {
                    reading: stored.id.to_string(),
                    taken_at: reading.taken_at.to_string(),
                    written_asset: stored.item.written_asset.into(),
                    written_phase: stored.item.written_phase.into(),
                    resistance_ohm: reading.ohms,
                    bound: reading.bound.word(),
                    tester: reading.tester.to_string(),
                    reason: stored.item.reason.into(),
                    from: from.unwrap_or_default(),
                });
            }
            let columns = [
                ("reading", "reading"),
                ("taken_at", "taken"),
                ("written_asset", "asset as written"),
                ("written_phase", "phase as written"),
                ("bound", ""),
                ("resistance_ohm", "resistance"),
                ("tester", "tester"),
                ("reason", "why it waits"),
                ("from", "from"),
            ];
            output::rows(place.format, &columns, &rows, "the tray is empty")?;
            if !rows.is_empty() {
                note(
                    "next: `ohmward tray assign READING --asset ID --phase U --reason WHY`, or an alias for all of a kind: `ohmward alias add`",
                );
            }
            Ok(Exit::Done)
        }
        TrayCommand::Assign(to) => move_reading(place, to),
    }
}

fn put_right(place: &mut Place, fix: FixReading, kind: CorrectionKind) -> Result<Exit, Failure> {
    let id = ReadingId::parse(&fix.reading)?;
    let by = place.by(fix.by.by)?;
    place.reader()?;
    let now = place.now;
    let open = place.writing()?;
    correct(&open.reader, &mut open.writer, now, &by, id, kind, &fix.reason)?;
    corrected(place, id)
}

fn move_reading(place: &mut Place, to: MoveReading) -> Result<Exit, Failure> {
    let id = ReadingId::parse(&to.reading)?;
    let asset = place.known_asset(&to.asset).map_err(|e| match e {
        Failure::Failed(why) => Failure::Failed(format!("{why}; a new asset: `ohmward asset add`")),
        other => other,
    })?;
    let by = place.by(to.by.by)?;
    let now = place.now;
    let open = place.writing()?;
    let destination = (&asset.id, to.phase.as_deref());
    move_to(&open.reader, &mut open.writer, (now, &by), id, destination, &to.reason).map_err(
        |e| match e {
            HandError::NoPhase(why) => {
                Failure::Usage(format!("say with --phase which phase it was: {why}"))
            }
            other => other.into(),
        },
    )?;
    corrected(place, id)
}

fn corrected(place: &mut Place, id: ReadingId) -> Result<Exit, Failure> {
    note(format!("recorded for reading {id}; the original stays in the store"));
    place.assess_pending()?;
    Ok(Exit::Done)
}

fn by_hand(place: &mut Place, add: AddReading) -> Result<Exit, Failure> {
    let by = person(&place.by(add.by.by.clone())?)?;
    let reading = HandReading {
        at: add.at.unwrap_or(place.now),
        precision: Precision::Fine,
        asset: add.asset,
        phase: add.phase,
        against: add.against,
        setup: add.setup,
        resistance: add.resistance,
        test_voltage_v: add.test_voltage,
        delivered_voltage_v: add.delivered_voltage,
        duration_s: add.duration,
        temperature_c: add.temperature,
        temperature_of: add.temperature_of.as_deref().map(TemperatureOf::parse).transpose()?,
        humidity_pct: add.humidity,
        tester: add.tester,
        operator: by.to_string(),
        station: add.station,
        remark: add.remark,
    };
    let (now, class) = (place.now, place.config.first_met.clone());
    let open = place.writing()?;
    let entered = enter(&open.reader, &mut open.writer, (now, &by), &class, reading).map_err(
        |e| match e {
            HandError::Invalid(wrong) if wrong.field == "resistance" => {
                Failure::Usage(format!("`--resistance {}`: {}", wrong.found, wrong.expected))
            }
            other => other.into(),
        },
    )?;
    let said = match &entered.became {
        Became::Stored => "stored",
        Became::Duplicate => "nothing new: this reading is stored already",
        Became::Waiting => "in the tray: its phase is not known (see `ohmward tray list`)",
        Became::Refused(why) => why,
    };
    note(match entered.id {
        Some(id) => format!("{said}, as reading {id}"),
        None => said.to_owned(),
    });
    if let Some(asset) = &entered.new_asset {
        note(format!(
            "`{asset}` is new: registered as a rotating machine, 5 MΩ at 40 °C (see `ohmward asset add`)"
        ));
    }
    place.assess_pending()?;
    let well = matches!(entered.became, Became::Stored | Became::Duplicate);
    Ok(if well { Exit::Done } else { Exit::NeedsPerson })
}
