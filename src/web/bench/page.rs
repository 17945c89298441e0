//! The pages of the bench, and what their forms do.

use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::{Form, Path, State};
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::response::{IntoResponse, Redirect, Response};

use super::SCRIPT;
use super::form::{Ask, Fields, ask};
use super::look::{Look, station_of};
use super::now::Now;
use super::view::{SheetView, clock};
use crate::bench::{Asked, Refusal as BenchRefusal, words};
use crate::model::{Asset, Stamp};
use crate::store::{Reader, StoreError};
use crate::web::Service;
use crate::web::pages::{Frame, Page, Section};
use crate::web::refusal::Refusal;
use crate::web::who::Who;

/// Sheets that the list of stations shows.
const RECENT: usize = 20;

/// Assets that are offered while somebody types; beyond that they type the id.
const OFFERED: usize = 500;

#[derive(Template)]
#[template(path = "stations.html", config = "src/web/bench/askama.toml")]
pub(super) struct StationsPage {
    frame: Frame,
    stations: Vec<StationRow>,
    recent: Vec<RecentRow>,
}

struct StationRow {
    name: String,
    asset: String,
    next: String,
    tester: String,
}

struct RecentRow {
    station: String,
    opened: i64,
    time: String,
    asset: String,
    state: String,
}

#[derive(Template)]
#[template(path = "sheet.html", config = "src/web/bench/askama.toml")]
pub(super) struct StationPage {
    frame: Frame,
    station: String,
    sheet: Option<SheetView>,
    now: Option<Now>,
    /// What was refused, and why.
    refused: Option<String>,
    fields: Fields,
    offered: Vec<String>,
    /// The latest sheet of the station, and not an earlier one.
    is_latest: bool,
    gear_warnings: Vec<String>,
}

impl StationPage {
    fn script(&self) -> &'static str {
        SCRIPT
    }

    /// Whether it should look again by itself where no script does.
    fn waits(&self) -> bool {
        let waiting = ["running", "prove", "known"];
        self.now.as_ref().is_some_and(|now| waiting.contains(&now.form))
    }

    fn field(&self, name: &str) -> &str {
        self.fields.get(name)
    }

    fn of(look: &Look, who: Who, uri: &Uri, fields: Fields, refused: Option<String>) -> Self {
        let name = look.station.name.to_string();
        let title = match &look.sheet {
            Some(sheet) => format!("{name}: {}", sheet.asset),
            None => name.clone(),
        };
        let latest = look.watched.sheet.as_ref().map(|sheet| sheet.key.opened);
        let is_latest = look.sheet.as_ref().map(|sheet| sheet.key.opened) == latest;
        let now = look.sheet.as_ref().and_then(|sheet| Now::of(look, sheet, &fields, &who.name));
        let offered = match look.assets.len() {
            n if n > OFFERED => Vec::new(),
            _ => look.assets.iter().map(|asset| asset.id.to_string()).collect(),
        };
        let gear = look.sheet.as_ref().and_then(|sheet| sheet.gear.as_ref());
        let gear_warnings =
            gear.map(|gear| gear.warnings.iter().map(ToString::to_string).collect());
        StationPage {
            frame: Frame::new(title, Some(who), uri).under(Section::Bench),
            station: name,
            sheet: look.sheet.as_ref().map(|sheet| SheetView::of(look, sheet)),
            now,
            refused,
            fields,
            offered,
            is_latest,
            gear_warnings: gear_warnings.unwrap_or_default(),
        }
    }
}

pub(super) async fn stations(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    uri: Uri,
) -> Result<Page<StationsPage>, Refusal> {
    let running = service.shared.bench.all();
    let stations = running.iter().map(|station| {
        let open = station.watched().sheet.filter(|sheet| sheet.end.is_none());
        let next = open.as_ref().and_then(|sheet| Some(words::point(sheet, sheet.next()?)));
        StationRow {
            name: station.name.to_string(),
            asset: open.as_ref().map(|sheet| sheet.asset.to_string()).unwrap_or_default(),
            next: next.unwrap_or_else(|| "no sheet is open".into()),
            tester: station.setup.tester.to_string(),
        }
    });
    let stations = stations.collect();
    let recent = service
        .ask(|reader| -> Result<_, StoreError> {
            let mut rows = Vec::new();
            for key in reader.sheets(None, RECENT)? {
                let Some(sheet) = crate::bench::sheet_of(reader, &key)? else { continue };
                let state = match &sheet.end {
                    None => "open",
                    Some(end) if end.abandoned.is_some() => "ended before all was done",
                    Some(_) => "finished",
                };
                rows.push(RecentRow {
                    station: key.station.to_string(),
                    opened: key.opened.micros(),
                    time: clock(key.opened),
                    asset: sheet.asset.to_string(),
                    state: state.into(),
                });
            }
            Ok(rows)
        })
        .await?;
    let frame = Frame::of(Section::Bench, who, &uri);
    Ok(Page(StatusCode::OK, StationsPage { frame, stations, recent }))
}

pub(super) async fn station(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Path(name): Path<String>,
    uri: Uri,
) -> Result<Page<StationPage>, Refusal> {
    let look = service.look(name, None).await?;
    Ok(Page(StatusCode::OK, StationPage::of(&look, who, &uri, Fields::default(), None)))
}

pub(super) async fn sheet(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Path((name, opened)): Path<(String, i64)>,
    uri: Uri,
) -> Result<Page<StationPage>, Refusal> {
    let look = service.look(name.clone(), Some(Stamp::from_micros(opened))).await?;
    if look.sheet.is_none() {
        return Err(BenchRefusal::NoSheet(name.as_str().into()).into());
    }
    Ok(Page(StatusCode::OK, StationPage::of(&look, who, &uri, Fields::default(), None)))
}

/// Does what a form asks and goes on to the sheet; a refusal is shown on the sheet itself, with
/// what was filled in.
pub(super) async fn command(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Path(name): Path<String>,
    headers: HeaderMap,
    uri: Uri,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Response {
    let fields = Fields::new(pairs);
    let opened = fields.get("opened").parse::<i64>().ok().map(Stamp::from_micros);
    let done = act(&service, &name, &who, &fields).await;
    let refused = match done {
        Ok(()) => {
            let station = segment(&name);
            let latest = service.shared.bench.find(&name).ok().and_then(|s| s.watched().sheet);
            let to = match opened {
                Some(opened) if latest.is_none_or(|sheet| sheet.key.opened != opened) => {
                    format!("/bench/{station}/{}", opened.micros())
                }
                _ => format!("/bench/{station}#now"),
            };
            return Redirect::to(&to).into_response();
        }
        Err(refused) => refused,
    };
    let accept = headers.get(header::ACCEPT).and_then(|accept| accept.to_str().ok());
    if !accept.is_some_and(|accept| accept.contains("text/html")) {
        return refused.into_response();
    }
    let opened = opened.filter(|_| fields.get("do") != "open");
    match service.look(name, opened).await {
        Err(refused) => refused.into_response(),
        Ok(look) => {
            let (status, why) = (refused.status(), refused.words().to_owned());
            Page(status, StationPage::of(&look, who, &uri, fields, Some(why))).into_response()
        }
    }
}

async fn act(
    service: &Arc<Service>,
    name: &str,
    who: &Who,
    fields: &Fields,
) -> Result<(), Refusal> {
    let asked = ask(fields)?;
    let (shared, by, name) = (Arc::clone(service), who.name.clone(), name.to_owned());
    service
        .change(move |reader, writer, now| -> Result<(), BenchRefusal> {
            let settings = shared.shared.bench.settings();
            let asking = Asked { by: &by, now, settings: &settings };
            match asked {
                Ask::Open { asset, kind, energised } => {
                    let register = kind.map(|kind| {
                        let asset = shared.shared.class.asset(asset.clone());
                        let kind = if kind.is_empty() { asset.kind.clone() } else { kind };
                        let limit_ohm = asset.limit_ohm.filter(|_| Asset::is_rotating(&kind));
                        Asset { kind, limit_ohm, ..asset }
                    });
                    let station = shared.shared.bench.find(&name)?;
                    station.open((reader, writer), asking, &asset, register, energised)
                }
                Ask::Command { seen, command } => {
                    let station = station_of(&shared, reader, &name)?;
                    station.command((reader, writer), asking, &seen, &command)
                }
            }
        })
        .await
}

/// A text as one segment of a path.
fn segment(text: &str) -> String {
    askama::filters::urlencode_strict(text).map(|t| t.to_string()).unwrap_or_default()
}
