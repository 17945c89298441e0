//! Readings with what was done with each, and what people put right on them.

use std::sync::Arc;

use axum::extract::State;
use axum::{Extension, Json};
use serde::Deserialize;
use utoipa::ToSchema;

use super::asked::{Asked, NamedReading, Sent};
use super::paging::{List, Near, Page, by_time, list};
use super::wire::RecordedOut;
use crate::dossier::{ReadingStatement, SourceNames};
use crate::model::{AssetId, CorrectionKind, ReadingId};
use crate::registry::{correct, move_to};
use crate::visits::Corrected;
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

list! {
    /// Options of `GET /v1/readings`.
    ReadingsQuery {
        /// Whose.
        #[param(example = "YT-014/drive")]
        asset: String,
    }
}

/// The readings of one asset by time, each with what was done with it and what it says at once.
#[utoipa::path(get, path = "/v1/readings", tag = "questions", params(ReadingsQuery),
    responses((status = 200, description = "Readings.", body = Vec<ReadingStatement>)))]
pub(super) async fn readings(
    State(service): State<Arc<Service>>,
    asked: Asked<ReadingsQuery>,
) -> Result<Page<ReadingStatement>, Refusal> {
    let Asked { query, uri } = asked;
    let id = AssetId::new(&query.asset)?;
    service
        .ask_desk(query.when(), move |reader, desk| {
            let mut near = Near::to(&query);
            let rows = desk.history(&id, &mut |c| near.has(c.reading.taken_at, || key(c)))?;
            let page = Page::of(&query, &uri, rows, |entry| key(&entry.judged.corrected));
            let mut sources = SourceNames::new(reader);
            let mut failed = None;
            let page = page.map(|entry| {
                let from = sources.of(entry.judged.corrected.id.batch).unwrap_or_else(|e| {
                    failed = Some(e);
                    String::new()
                });
                ReadingStatement::of(&entry, from)
            });
            failed.map_or(Ok(page), |e| Err(e.into()))
        })
        .await
}

fn key(c: &Corrected) -> String {
    let ReadingId { batch, record, part } = c.id;
    format!("{} {batch:016x} {record:016x} {part:04x}", by_time(c.reading.taken_at))
}

/// Why a reading is put right.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct FixIn {
    /// Why; not empty.
    #[schema(example = "clip had slipped", min_length = 1)]
    reason: String,
}

/// Where a reading belongs, and why.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct MoveIn {
    /// The asset it belongs to.
    #[schema(example = "YT-014/drive", min_length = 1)]
    asset: String,
    /// The phase it belongs to; left out: as it is.
    #[schema(example = "U")]
    phase: Option<String>,
    /// Why; not empty.
    #[schema(example = "slot 14 is YT-014", min_length = 1)]
    reason: String,
}

/// Says that a reading does not count.
#[utoipa::path(post, path = "/v1/readings/{id}/void", tag = "corrections",
    params(("id" = String, Path, description = "Its id.", example = "12.345")),
    request_body = FixIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn void_reading(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    NamedReading(id): NamedReading,
    Sent(fix): Sent<FixIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    service.put_right(who, id, CorrectionKind::Void, fix.reason).await?;
    Ok(Json(RecordedOut::one()))
}

/// Says that a voided reading counts again.
#[utoipa::path(post, path = "/v1/readings/{id}/restore", tag = "corrections",
    params(("id" = String, Path, description = "Its id.", example = "12.345")),
    request_body = FixIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn restore_reading(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    NamedReading(id): NamedReading,
    Sent(fix): Sent<FixIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    service.put_right(who, id, CorrectionKind::Restore, fix.reason).await?;
    Ok(Json(RecordedOut::one()))
}

/// Says that a reading counts although a proof of its tester failed.
#[utoipa::path(post, path = "/v1/readings/{id}/overrule", tag = "corrections",
    params(("id" = String, Path, description = "Its id.", example = "12.345")),
    request_body = FixIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn overrule_reading(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    NamedReading(id): NamedReading,
    Sent(fix): Sent<FixIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    service.put_right(who, id, CorrectionKind::Overrule, fix.reason).await?;
    Ok(Json(RecordedOut::one()))
}

/// Says that a reading belongs to another asset or phase.
#[utoipa::path(post, path = "/v1/readings/{id}/move", tag = "corrections",
    params(("id" = String, Path, description = "Its id.", example = "12.345")),
    request_body = MoveIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn move_reading(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    NamedReading(id): NamedReading,
    Sent(to): Sent<MoveIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    service.place(who, id, (to.asset, to.phase), to.reason).await?;
    Ok(Json(RecordedOut::one()))
}

/// Says where a reading in the tray belongs.
#[utoipa::path(post, path = "/v1/tray/{id}/assign", tag = "corrections",
    params(("id" = String, Path, description = "Its id.", example = "12.345")),
    request_body = MoveIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn assign_reading(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    NamedReading(id): NamedReading,
    Sent(to): Sent<MoveIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    service.place(who, id, (to.asset, to.phase), to.reason).await?;
    Ok(Json(RecordedOut::one()))
}

impl Service {
    /// Corrects a reading where it is.
    pub(in crate::web) async fn put_right(
        self: &Arc<Self>,
        who: Who,
        id: ReadingId,
        kind: CorrectionKind,
        reason: String,
    ) -> Result<(), Refusal> {
        self.change(move |reader, writer, now| {
            correct(reader, writer, now, &who.name, id, kind, &reason)
        })
        .await
    }

    /// Says where a reading belongs.
    pub(in crate::web) async fn place(
        self: &Arc<Self>,
        who: Who,
        id: ReadingId,
        (asset, phase): (String, Option<String>),
        reason: String,
    ) -> Result<(), Refusal> {
        let asset = AssetId::new(&asset)?;
        self.change(move |reader, writer, now| {
            let destination = (&asset, phase.as_deref());
            move_to(reader, writer, (now, &who.name), id, destination, &reason)
        })
        .await
    }
}
