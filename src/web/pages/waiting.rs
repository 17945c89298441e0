//! The tray and the rejects: what waits for a person, and how it is placed, mended or read again.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Redirect;
use serde::Deserialize;

use super::asked::{Asked, Fields, Filled, Wrongs, apart, on_to, wrongs};
use super::numbers::{bounded, filters, minute};
use super::{Frame, Page, Section};
use crate::dossier::SourceNames;
use crate::intake::{Again, IntakeError, Mended, Registers, mend, readable, retry};
use crate::model::{Alias, AssetId, Phase, ReadingId, text};
use crate::registry::{self, HandError, move_to};
use crate::store::sqlite::SqliteReader;
use crate::store::{Change, Reader, Result as StoreResult, StoreError, StoredReject, When};
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

/// Rows of each list that are shown: a person works them off from the top.
const ROWS: usize = 50;

/// Options of the page.
#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    done: String,
}

#[derive(Template)]
#[template(path = "waiting.html", config = "src/web/pages/askama.toml")]
pub(super) struct WaitingPage {
    frame: Frame,
    lists: Lists,
    wrong: Wrongs,
    /// The id of the reading or the number of the reject that a wrong form was about.
    about: String,
    fields: Fields,
}

/// What waits.
struct Lists {
    tray: Vec<TrayView>,
    in_tray: usize,
    rejects: Vec<RejectView>,
    rejected: usize,
    profiles: Vec<String>,
}

struct TrayView {
    id: String,
    time: String,
    value: String,
    written_asset: String,
    written_phase: String,
    tester: String,
    reason: String,
    from: String,
}

struct RejectView {
    number: u64,
    from: String,
    profile: String,
    record: u64,
    reason: String,
    bytes: String,
    /// Whether its bytes are there in full, so that they can be mended.
    is_whole: bool,
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    asked: Asked<Ask>,
) -> Result<Page<WaitingPage>, Refusal> {
    let frame = Frame::of(Section::Waiting, asked.who, &asked.uri).having_done(&asked.query.done);
    show(&service, frame, Wrongs::default(), (String::new(), Fields::default())).await
}

async fn show(
    service: &Arc<Service>,
    frame: Frame,
    wrong: Wrongs,
    (about, fields): (String, Fields),
) -> Result<Page<WaitingPage>, Refusal> {
    let mut lists = service.ask(lists).await?;
    lists.profiles = service.shared.every_profile().iter().map(|p| p.name().to_owned()).collect();
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    Ok(Page(status, WaitingPage { frame, lists, wrong, about, fields }))
}

fn lists(reader: &SqliteReader) -> StoreResult<Lists> {
    let (tray, rejects) = (reader.tray(When::ALWAYS)?, reader.rejects(false)?);
    let mut names = SourceNames::new(reader);
    let mut out = Lists {
        tray: Vec::new(),
        in_tray: tray.len(),
        rejects: Vec::new(),
        rejected: rejects.len(),
        profiles: Vec::new(),
    };
    for stored in tray.into_iter().take(ROWS) {
        let reading = &stored.item.reading;
        out.tray.push(TrayView {
            id: stored.id.to_string(),
            time: minute(reading.taken_at),
            value: bounded(reading.bound.word(), reading.ohms),
            tester: reading.tester.to_string(),
            from: names.of(stored.id.batch)?,
            written_asset: stored.item.written_asset.into(),
            written_phase: stored.item.written_phase.into(),
            reason: stored.item.reason.into(),
        });
    }
    for reject in rejects.into_iter().rev().take(ROWS) {
        let source = reader.batch(reject.batch)?.map(|b| b.source);
        let item = reject.item;
        out.rejects.push(RejectView {
            number: reject.number,
            from: source.as_ref().map(|s| s.name.to_string()).unwrap_or_default(),
            profile: source.map(|s| s.profile.to_string()).unwrap_or_default(),
            record: reject.place.record,
            is_whole: item.len > 0
                && item.len as usize == item.bytes.len()
                && std::str::from_utf8(&item.bytes).is_ok(),
            bytes: match std::str::from_utf8(&item.bytes) {
                Ok(line) => line.trim_end_matches(['\r', '\n']).to_owned(),
                Err(_) => readable(&item.bytes),
            },
            reason: item.reason.into(),
        });
    }
    Ok(out)
}

/// Says where a reading in the tray belongs; with `always` so does every record written like it.
pub(super) async fn assign(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    filled: Filled,
) -> Result<Result<Redirect, Page<WaitingPage>>, Refusal> {
    let reading = ReadingId::parse(&id)?;
    let Filled { who, uri, fields } = filled;
    let (by, given) = (who.name.clone(), fields.clone());
    let done = service
        .change(move |reader, writer, now| {
            let asset = match AssetId::new(given.get("asset")) {
                Ok(asset) => asset,
                Err(invalid) => return apart(Err(invalid.into())),
            };
            let phase = Some(given.get("phase")).filter(|p| !p.is_empty());
            let place = (&asset, phase);
            let moved = move_to(reader, writer, (now, &by), reading, place, given.get("reason"));
            if moved.is_ok() && !given.get("always").is_empty() {
                let alias = alias(&given, &asset, phase).map_err(HandError::from);
                return apart(alias.and_then(|alias| {
                    registry::record(reader, writer, now, &by, &[Change::Alias(alias)]).map(|_| ())
                }));
            }
            apart(moved)
        })
        .await?;
    match done {
        Ok(()) => {
            let word = if fields.get("always").is_empty() { "assigned" } else { "alias" };
            Ok(Ok(on_to("/waiting", word)))
        }
        Err(error) => {
            let frame = Frame::of(Section::Waiting, who, &uri);
            Ok(Err(show(&service, frame, wrongs(error)?, (id, fields)).await?))
        }
    }
}

/// What was written in place of the asset and phase, as another name for them.
fn alias(
    given: &Fields,
    asset: &AssetId,
    phase: Option<&str>,
) -> Result<Alias, crate::model::Invalid> {
    Ok(Alias {
        written: text("written", given.get("written_asset"))?,
        asset: asset.clone(),
        phase_written: match phase {
            Some(_) => text("phase_written", given.get("written_phase"))?,
            None => "".into(),
        },
        phase: phase.map(Phase::new).transpose()?,
        from: None,
        until: None,
        remark: text("reason", given.get("reason"))?,
        merged: false,
    })
}

/// Reads a reject again as a person mended it.
pub(super) async fn mended(
    State(service): State<Arc<Service>>,
    Path(number): Path<String>,
    filled: Filled,
) -> Result<Result<Redirect, Page<WaitingPage>>, Refusal> {
    let Filled { who, uri, fields } = filled;
    let (line, by) = (fields.get("line").to_owned(), who.name.clone());
    let rejects = service.rejects(number.parse().ok()).await?;
    let done = service
        .again(profile(&fields), move |reader, writer, again| {
            let reject = rejects.first().ok_or(IntakeError::Store(StoreError::Busy))?;
            mend(reader, writer, again, reject, (&by, &line))
        })
        .await?;
    match done {
        Mended { still: None, .. } => Ok(Ok(on_to("/waiting", "mended"))),
        Mended { still: Some(why), .. } => {
            still(&service, (who, uri), why, (number, fields)).await.map(Err)
        }
    }
}

/// Reads one reject again as it is, or all of them: after a profile or an alias was mended.
pub(super) async fn again(
    State(service): State<Arc<Service>>,
    number: Option<Path<String>>,
    filled: Filled,
) -> Result<Result<Redirect, Page<WaitingPage>>, Refusal> {
    let Filled { who, uri, fields } = filled;
    let number = number.map(|Path(number)| number).unwrap_or_default();
    let rejects = service.rejects(number.parse().ok()).await?;
    let done = service
        .again(profile(&fields), move |reader, writer, again| retry(reader, writer, again, rejects))
        .await?;
    if done.rejected == 0 {
        return Ok(Ok(on_to("/waiting", "retried")));
    }
    let why = format!(
        "{} stored, {} there already, {} to the tray; {} still cannot be read",
        done.accepted, done.duplicate, done.tray, done.rejected
    );
    still(&service, (who, uri), why, (number, fields)).await.map(Err)
}

/// The page with why a record still cannot be read.
async fn still(
    service: &Arc<Service>,
    (who, uri): (Who, Uri),
    why: String,
    about: (String, Fields),
) -> Result<Page<WaitingPage>, Refusal> {
    let mut wrong = Wrongs::default();
    wrong.add("line", why);
    show(service, Frame::of(Section::Waiting, who, &uri), wrong, about).await
}

fn profile(fields: &Fields) -> Option<String> {
    Some(fields.get("profile").to_owned()).filter(|name| !name.is_empty())
}

impl Service {
    /// The reject of this number, or all that wait.
    async fn rejects(self: &Arc<Self>, number: Option<u64>) -> Result<Vec<StoredReject>, Refusal> {
        let waiting = self.ask(|reader| reader.rejects(false)).await?;
        let Some(number) = number else { return Ok(waiting) };
        let one: Vec<_> = waiting.into_iter().filter(|r| r.number == number).collect();
        if one.is_empty() {
            let gone = format!("there is no waiting reject {number}");
            return Err(Refusal::new(StatusCode::NOT_FOUND, gone));
        }
        Ok(one)
    }

    /// Reads rejects again with the registers and profiles as they are now.
    async fn again<T: Send + 'static>(
        self: &Arc<Self>,
        profile: Option<String>,
        work: impl FnOnce(
            &SqliteReader,
            &mut crate::store::sqlite::WriterHandle,
            &Again<'_>,
        ) -> Result<T, IntakeError>
        + Send
        + 'static,
    ) -> Result<T, Refusal> {
        let shared = Arc::clone(&self.shared);
        self.change(move |reader, writer, now| -> Result<T, IntakeError> {
            let registers = Registers::read(reader)?;
            let again = Again {
                kept: &shared.store.kept(),
                profiles: &shared.every_profile(),
                profile: profile.as_deref(),
                aliases: &registers.aliases,
                gear: &registers.gear,
                now,
                first_met: &|id| shared.class.asset(id),
            };
            work(reader, writer, &again)
        })
        .await
    }
}

impl WaitingPage {
    fn is_about(&self, what: &impl ToString) -> bool {
        !self.wrong.is_empty() && self.about == what.to_string()
    }

    /// What stands in a field of the form about this reading or reject.
    fn filled(&self, what: &impl ToString, name: &str) -> &str {
        if self.is_about(what) { self.fields.get(name) } else { "" }
    }
}
