//! `GET /v1/stream`: server-sent events of what happens (HTML Living Standard, section 9.2).

use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::sse::{Event, KeepAlive, Sse};
use serde::{Deserialize, Serialize};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use utoipa::{IntoParams, ToSchema};

use super::asked::Asked;
use crate::limits;
use crate::model::Stamp;
use crate::web::Service;
use crate::web::news::{News, Next};
use crate::web::refusal::Refusal;

/// How often a silent stream shows that it is alive.
const ALIVE: Duration = Duration::from_secs(15);

/// Options of `GET /v1/stream`.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(super) struct StreamQuery {
    /// Only what is about this asset, and the sources.
    #[param(example = "YT-014/drive")]
    asset: Option<String>,
}

/// What could not be told.
#[derive(Serialize, ToSchema)]
pub(super) struct GapNews {
    /// How many events are missing; none: not known.
    missed: Option<u64>,
    /// Why, and what to do.
    why: &'static str,
}

const SLOW: &str = "more happened than is kept for a listener that is slow or was away (ask for \
the lists again)";
const OTHER_RUN: &str = "that event is not of this run of the service (ask for the lists again)";

/// What happens, as server-sent events.
///
/// `readings` (`ReadingsNews`): an asset has new readings. `finding` (a row of `GET /v1/declining`):
/// one opened or changed. `source` (a row of `GET /v1/sources`): its state changed. `gap`
/// (`GapNews`): events are missing. With `Last-Event-ID` the stream goes on behind that event, or
/// says with `gap` that it cannot.
#[utoipa::path(get, path = "/v1/stream", tag = "questions",
    params(StreamQuery, ("Last-Event-ID" = Option<String>, Header,
        description = "The id of the last event that was seen.")),
    responses((status = 200, description = "Events, until one side ends it.",
        content_type = "text/event-stream", body = String)))]
pub(super) async fn stream(
    State(service): State<Arc<Service>>,
    asked: Asked<StreamQuery>,
    headers: HeaderMap,
) -> Result<Sse<impl tokio_stream::Stream<Item = Result<Event, Infallible>>>, Refusal> {
    let news = Arc::clone(&service.shared.news);
    let turn = Arc::clone(&news.listeners).try_acquire_owned().map_err(|_| {
        Refusal::busy(30, format!("{} streams are open already", limits::LISTENERS))
    })?;
    let last = headers.get("last-event-id").map(|v| v.to_str().unwrap_or_default().to_owned());
    let (events, told) = mpsc::channel(16);
    tokio::spawn(async move {
        let listener = Listener { news: &news, asset: asked.query.asset, events };
        // It ends when the service does, or when nobody listens any more.
        listener.listen(last.as_deref()).await;
        drop(turn);
    });
    Ok(Sse::new(ReceiverStream::new(told)).keep_alive(KeepAlive::new().interval(ALIVE)))
}

struct Listener<'a> {
    news: &'a News,
    asset: Option<String>,
    events: mpsc::Sender<Result<Event, Infallible>>,
}

impl Listener<'_> {
    async fn listen(&self, last: Option<&str>) -> Option<()> {
        let mut newest = self.news.newest();
        let telling = async {
            let mut number = (*newest.borrow_and_update())?;
            if let Some(last) = last {
                match self.number(last).filter(|known| *known <= number) {
                    Some(known) => number = known,
                    None => self.gap(None, OTHER_RUN).await?,
                }
            }
            loop {
                let Next { missed, items } = self.news.after(number);
                if missed > 0 {
                    self.gap(Some(missed), SLOW).await?;
                }
                for item in items {
                    number = item.number;
                    if self.asset.is_some() && item.asset.is_some() && item.asset != self.asset {
                        continue;
                    }
                    let id = format!("{:x}.{number}", self.news.run.micros());
                    let event = Event::default().id(id).event(item.kind).data(&item.data);
                    self.events.send(Ok(event)).await.ok()?;
                }
                newest.changed().await.ok()?;
            }
        };
        tokio::select! {
            gone = telling => gone,
            () = self.news.ended() => None,
            () = self.events.closed() => None,
        }
    }

    /// The number of an event of this run.
    fn number(&self, id: &str) -> Option<u64> {
        let (run, number) = id.split_once('.')?;
        let run = i64::from_str_radix(run, 16).ok().map(Stamp::from_micros);
        number.parse().ok().filter(|_| run == Some(self.news.run))
    }

    async fn gap(&self, missed: Option<u64>, why: &'static str) -> Option<()> {
        let data = serde_json::to_string(&GapNews { missed, why }).ok()?;
        self.events.send(Ok(Event::default().event("gap").data(data))).await.ok()
    }
}
