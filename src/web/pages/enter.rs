//! A reading by hand: every field, what is wrong beside it, and the result at once.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;

use super::asked::{Asked, Fields, Filled, Wrongs, apart, segment, wrongs};
use super::numbers::{filters, utc};
use super::visit::ReadingView;
use super::{Frame, Page, Section};
use crate::model::{AssetId, Invalid, Precision, Stamp, TemperatureOf};
use crate::registry::{Became, Entered, HandReading, enter};
use crate::store::sqlite::SqliteReader;
use crate::store::{Reader, Result as StoreResult, When};
use crate::web::Service;
use crate::web::offered::offered;
use crate::web::refusal::Refusal;

/// What is filled in already: an asset's page leads here.
#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    asset: String,
}

#[derive(Template)]
#[template(path = "enter.html", config = "src/web/pages/askama.toml")]
pub(super) struct EnterPage {
    frame: Frame,
    fields: Fields,
    wrong: Wrongs,
    /// Ids to choose from while they are few enough to send.
    assets: Vec<String>,
    testers: Vec<String>,
    /// Whether the asset is not registered and may be made so.
    is_new: bool,
    entered: Option<EnteredView>,
}

/// What became of the reading that was entered.
struct EnteredView {
    words: String,
    is_well: bool,
    id: Option<String>,
    asset: String,
    reading: Option<ReadingView>,
}

/// Ids that a page offers to choose from: more make it slow on a phone.
const OFFERED: usize = 2_000;

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    asked: Asked<Ask>,
) -> Result<Page<EnterPage>, Refusal> {
    let frame = Frame::of(Section::Enter, asked.who, &asked.uri);
    let fields = Fields::default().with("asset", asked.query.asset);
    show(&service, frame, fields, Wrongs::default(), None).await
}

async fn show(
    service: &Arc<Service>,
    frame: Frame,
    fields: Fields,
    wrong: Wrongs,
    entered: Option<EnteredView>,
) -> Result<Page<EnterPage>, Refusal> {
    let (assets, testers) = service.ask(choices).await?;
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let is_new = wrong.at("asset").is_some() && !fields.get("asset").is_empty();
    Ok(Page(status, EnterPage { frame, fields, wrong, assets, testers, is_new, entered }))
}

fn choices(reader: &SqliteReader) -> StoreResult<(Vec<String>, Vec<String>)> {
    let assets = offered(reader)?;
    let assets = if assets.len() > OFFERED { vec![] } else { assets };
    let gear = reader.gear(When::ALWAYS)?.into_iter().map(|row| row.value);
    let testers = gear.filter(|g| g.kind == crate::model::GearKind::Tester);
    Ok((
        assets.iter().map(|a| a.id.to_string()).collect(),
        testers.map(|g| g.id.to_string()).collect(),
    ))
}

/// Enters the reading; the page comes back with what became of it.
pub(super) async fn take(
    State(service): State<Arc<Service>>,
    filled: Filled,
) -> Result<Page<EnterPage>, Refusal> {
    let Filled { who, uri, fields } = filled;
    let now = service.shared.clock.now();
    let mut wrong = Wrongs::default();
    let reading = reading(&fields, now, &who.name, &mut wrong);
    let frame = Frame::of(Section::Enter, who.clone(), &uri);
    let asset = wrong.keep(AssetId::new(fields.get("asset")));
    if let Some(asset) = asset.filter(|_| fields.get("new").is_empty()) {
        let id = asset.clone();
        let known = service.ask(move |reader| is_known(reader, &id)).await?;
        if !known {
            wrong.add("asset", format!("there is no asset “{asset}” yet"));
        }
    }
    if !wrong.is_empty() {
        return show(&service, frame, fields, wrong, None).await;
    }
    let (class, by) = (service.shared.class.clone(), who.name.clone());
    let entered = service
        .change(move |reader, writer, now| {
            apart(enter(reader, writer, (now, &by), &class, reading))
        })
        .await?;
    match entered {
        Err(error) => show(&service, frame, fields, wrongs(error)?, None).await,
        Ok(entered) => {
            let view = service.told(entered).await?;
            // What stays the same from one reading to the next is kept.
            let fields =
                if view.is_well { fields.without(&["resistance", "phase", "at"]) } else { fields };
            show(&service, frame, fields, wrong, Some(view)).await
        }
    }
}

/// Whether the store knows the asset, or an alias does.
fn is_known(reader: &SqliteReader, asset: &AssetId) -> StoreResult<bool> {
    if reader.asset(asset, When::ALWAYS)?.is_some() {
        return Ok(true);
    }
    let aliases = reader.aliases(When::ALWAYS)?;
    Ok(aliases.iter().any(|row| row.value.written == asset.as_str()))
}

impl Service {
    /// What became of a reading that was entered, with its result against each limit.
    async fn told(self: &Arc<Self>, entered: Entered) -> Result<EnteredView, Refusal> {
        let Entered { id, became, new_asset } = entered;
        let words = match &became {
            Became::Stored => "Stored".to_owned(),
            Became::Duplicate => "Nothing new: this reading is stored already".to_owned(),
            Became::Waiting => {
                "Stored, and it waits in the tray: its phase is not known".to_owned()
            }
            Became::Refused(why) => format!("Not stored: {why}"),
        };
        let words = match new_asset {
            Some(asset) => format!("{words}. “{asset}” is new and was registered"),
            None => words,
        };
        let mut view = EnteredView {
            words,
            is_well: matches!(became, Became::Stored | Became::Waiting),
            id: id.map(|id| id.to_string()),
            asset: String::new(),
            reading: None,
        };
        let Some(id) = id.filter(|_| became == Became::Stored) else { return Ok(view) };
        let found = self
            .ask_desk(When::ALWAYS, move |reader, desk| {
                let stored = reader.find(id)?.ok_or(crate::store::StoreError::NoReading(id))?;
                let asset = stored.reading.series.asset.clone();
                let entry = desk.reading(&asset, id)?;
                Ok((asset, entry.map(|entry| ReadingView::of(&entry))))
            })
            .await?;
        (view.asset, view.reading) = (found.0.to_string(), found.1);
        Ok(view)
    }
}

/// The reading that the fields tell; what cannot be is said in `wrong`.
fn reading(fields: &Fields, now: Stamp, by: &str, wrong: &mut Wrongs) -> HandReading {
    let written = fields.get("at");
    let precision = match written.len() {
        10 => Precision::Day,
        16 => Precision::Minute,
        _ => Precision::Fine,
    };
    let at = match written {
        "" => now,
        written => Stamp::parse(&utc(written)).unwrap_or_else(|why| {
            wrong.add("at", why);
            now
        }),
    };
    for (field, what) in
        [("resistance", "what the tester shows"), ("phase", "what the lead was on")]
    {
        if fields.get(field).is_empty() {
            wrong.add(field, format!("missing: {what}"));
        }
    }
    let mut number = |field: &'static str| match fields.get(field) {
        "" => None,
        text => match text.parse::<f64>() {
            Ok(value) if value.is_finite() => Some(value),
            _ => wrong.keep(Err(Invalid::new(field, "a number such as 22.5", text))),
        },
    };
    let [test_voltage_v, delivered_voltage_v, duration_s, temperature_c, humidity_pct] =
        ["test_voltage_v", "delivered_voltage_v", "duration_s", "temperature_c", "humidity_pct"]
            .map(&mut number);
    let temperature_of = match fields.get("temperature_of") {
        "" => None,
        word => wrong.keep(TemperatureOf::parse(word)),
    };
    let text = |field: &str| fields.get(field).to_owned();
    HandReading {
        at,
        precision,
        asset: text("asset"),
        phase: text("phase"),
        against: text("against"),
        setup: text("setup"),
        resistance: text("resistance"),
        test_voltage_v,
        delivered_voltage_v,
        duration_s,
        temperature_c,
        temperature_of,
        humidity_pct,
        tester: text("tester"),
        operator: match fields.get("operator") {
            "" => by.to_owned(),
            name => name.to_owned(),
        },
        station: text("station"),
        remark: text("remark"),
    }
}

impl EnteredView {
    fn asset_path(&self) -> String {
        format!("/asset/{}", segment(&self.asset))
    }
}
