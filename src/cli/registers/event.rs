//! `event`: what was done to assets.

use serde::Serialize;

use super::{import_as, marked};
use crate::cli::args::{AddEvent, EventCommand};
use crate::cli::output;
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::model::{AssetId, Event, EventKind, text};
use crate::registry::Register;
use crate::store::{Change, Reader};

#[derive(Serialize)]
struct EventOut {
    at: String,
    asset: String,
    kind: String,
    remark: String,
}

pub(crate) fn event(place: &mut Place, command: EventCommand) -> Result<Exit, Failure> {
    let build = |place: &Place, add: &AddEvent| -> Result<Event, Failure> {
        Ok(Event {
            at: add.at.unwrap_or(place.now),
            asset: AssetId::new(&add.asset)?,
            kind: EventKind::parse(&add.kind)?,
            remark: text("remark", &add.remark)?,
        })
    };
    match command {
        EventCommand::List { asset } => {
            let asset = asset.map(|a| place.known_asset(&a)).transpose()?;
            let events = place.reader()?.events(asset.as_ref().map(|a| &a.id), place.when)?;
            let rows = marked(events, |e| EventOut {
                at: e.at.to_string(),
                asset: e.asset.to_string(),
                kind: e.kind.word().to_owned(),
                remark: e.remark.into(),
            });
            let columns = [
                ("at", "when"),
                ("asset", "asset"),
                ("kind", "what"),
                ("remark", "remark"),
                ("by", "by"),
            ];
            output::rows(place.format, &columns, &rows, "no events")?;
            Ok(Exit::Done)
        }
        EventCommand::Add(add) => {
            let event = build(place, &add)?;
            place.known_asset(event.asset.as_str())?;
            place.record(add.by.by, &[Change::Event(event)])
        }
        EventCommand::Void(add) => {
            if add.at.is_none() {
                return Err(Failure::Usage("say with --at which event (see `event list`)".into()));
            }
            let event = build(place, &add)?;
            place.record(add.by.by, &[Change::EventVoid(event)])
        }
        EventCommand::Import(import) => import_as(place, Register::Events, import),
    }
}
