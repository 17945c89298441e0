//! Events, gear, proofs and aliases: listed, added to, and taken back where they were wrong.

use std::sync::Arc;

use axum::extract::State;
use axum::{Extension, Json};

use super::asked::{Asked, Sent};
use super::paging::{List, Page, by_time, list};
use super::rows::{
    AliasIn, AliasOut, EventIn, EventOut, GearIn, GearOut, NamedAlias, NamedEvent, ProofIn,
    ProofOut,
};
use super::wire::RecordedOut;
use crate::model::AssetId;
use crate::registry::{self, Changed};
use crate::store::{Change, Reader};
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

list! {
    /// Options of `GET /v1/events`.
    EventsQuery {
        /// Only those of this asset.
        #[param(example = "YT-014/drive")]
        asset: Option<String>,
    }
}

list! {
    /// Options of `GET /v1/gear` and `GET /v1/aliases`.
    RowsQuery {}
}

list! {
    /// Options of `GET /v1/proofs`.
    ProofsQuery {
        /// Only those of this tester.
        #[param(example = "HT-5")]
        tester: Option<String>,
    }
}

/// What was done to assets, by time.
#[utoipa::path(get, path = "/v1/events", tag = "registers", params(EventsQuery),
    responses((status = 200, description = "Events.", body = Vec<EventOut>)))]
pub(super) async fn events(
    State(service): State<Arc<Service>>,
    asked: Asked<EventsQuery>,
) -> Result<Page<EventOut>, Refusal> {
    let (asset, when) = (asked.query.asset.as_deref(), asked.query.when());
    let asset = asset.map(AssetId::new).transpose()?;
    let rows = service.ask(move |reader| reader.events(asset.as_ref(), when)).await?;
    let key = |row: &crate::store::Recorded<crate::model::Event>| {
        format!("{} {} {}", by_time(row.value.at), row.value.asset, row.value.kind.word())
    };
    Ok(Page::of(&asked.query, &asked.uri, rows, key).map(EventOut::from))
}

/// Records what was done to an asset; one at the same time and of the same kind is replaced.
#[utoipa::path(post, path = "/v1/events", tag = "registers", request_body = EventIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn add_event(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(new): Sent<EventIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    let event = new.row(service.shared.clock.now())?;
    Ok(Json(service.record(who, Change::Event(event)).await?.into()))
}

/// Takes back an event that was recorded wrongly.
#[utoipa::path(post, path = "/v1/events/void", tag = "registers", request_body = NamedEvent,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn void_event(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(named): Sent<NamedEvent>,
) -> Result<Json<RecordedOut>, Refusal> {
    Ok(Json(service.record(who, Change::EventVoid(named.row()?)).await?.into()))
}

/// Testers, leads, gloves, known sources and resistances, by id.
#[utoipa::path(get, path = "/v1/gear", tag = "registers", params(RowsQuery),
    responses((status = 200, description = "Gear.", body = Vec<GearOut>)))]
pub(super) async fn gear(
    State(service): State<Arc<Service>>,
    asked: Asked<RowsQuery>,
) -> Result<Page<GearOut>, Refusal> {
    let (now, when) = (service.shared.clock.now(), asked.query.when());
    let rows = service.ask(move |reader| reader.gear(when)).await?;
    let page = Page::of(&asked.query, &asked.uri, rows, |row| row.value.id.to_string());
    Ok(page.map(|row| GearOut::of(row, now)))
}

/// Records a piece of gear as it is from now on.
#[utoipa::path(post, path = "/v1/gear", tag = "registers", request_body = GearIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn add_gear(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(new): Sent<GearIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    Ok(Json(service.record(who, Change::Gear(new.row()?)).await?.into()))
}

/// Checks of testers, by time.
#[utoipa::path(get, path = "/v1/proofs", tag = "registers", params(ProofsQuery),
    responses((status = 200, description = "Proofs.", body = Vec<ProofOut>)))]
pub(super) async fn proofs(
    State(service): State<Arc<Service>>,
    asked: Asked<ProofsQuery>,
) -> Result<Page<ProofOut>, Refusal> {
    let (tester, when) = (asked.query.tester.clone(), asked.query.when());
    let rows = service.ask(move |reader| reader.proofs(tester.as_deref(), when)).await?;
    let key = |row: &crate::store::Recorded<crate::model::Proof>| {
        format!("{} {} {}", by_time(row.value.at), row.value.tester, row.value.kind)
    };
    Ok(Page::of(&asked.query, &asked.uri, rows, key).map(ProofOut::from))
}

/// Records a check of a tester. A failed one leaves out readings back to the last good one.
#[utoipa::path(post, path = "/v1/proofs", tag = "registers", request_body = ProofIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn add_proof(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(new): Sent<ProofIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    let proof = new.row(service.shared.clock.now())?;
    Ok(Json(service.record(who, Change::Proof(proof)).await?.into()))
}

/// Takes back a proof that was recorded wrongly: one equal in every field.
#[utoipa::path(post, path = "/v1/proofs/void", tag = "registers", request_body = ProofIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn void_proof(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(named): Sent<ProofIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    let proof = named.row(service.shared.clock.now())?;
    Ok(Json(service.record(who, Change::ProofVoid(proof)).await?.into()))
}

/// Other names of assets and phases, by what is written.
#[utoipa::path(get, path = "/v1/aliases", tag = "registers", params(RowsQuery),
    responses((status = 200, description = "Aliases.", body = Vec<AliasOut>)))]
pub(super) async fn aliases(
    State(service): State<Arc<Service>>,
    asked: Asked<RowsQuery>,
) -> Result<Page<AliasOut>, Refusal> {
    let when = asked.query.when();
    let rows = service.ask(move |reader| reader.aliases(when)).await?;
    let key = |row: &crate::store::Recorded<crate::model::Alias>| {
        let a = &row.value;
        let from = a.from.map(by_time).unwrap_or_default();
        format!("{}\u{1}{}\u{1}{}\u{1}{from}", a.written, a.phase_written, a.asset)
    };
    Ok(Page::of(&asked.query, &asked.uri, rows, key).map(AliasOut::from))
}

/// Records another name; readings in the tray that it explains leave it.
#[utoipa::path(post, path = "/v1/aliases", tag = "registers", request_body = AliasIn,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn add_alias(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(new): Sent<AliasIn>,
) -> Result<Json<RecordedOut>, Refusal> {
    Ok(Json(service.record(who, Change::Alias(new.row()?)).await?.into()))
}

/// Takes back another name that was recorded wrongly; readings it placed stay where they are.
#[utoipa::path(post, path = "/v1/aliases/void", tag = "registers", request_body = NamedAlias,
    responses((status = 200, description = "Recorded.", body = RecordedOut)))]
pub(super) async fn void_alias(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Sent(named): Sent<NamedAlias>,
) -> Result<Json<RecordedOut>, Refusal> {
    Ok(Json(service.record(who, Change::AliasVoid(named.row()?)).await?.into()))
}

impl Service {
    /// Records one change by a person.
    pub(in crate::web) async fn record(
        self: &Arc<Self>,
        who: Who,
        change: Change,
    ) -> Result<Changed, Refusal> {
        self.change(move |reader, writer, now| {
            registry::record(reader, writer, now, &who.name, &[change])
        })
        .await
    }
}
