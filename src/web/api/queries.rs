//! Questions: what is declining, which assets there are, the readings of one.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use serde::Deserialize;

use super::wire::{AssetOut, ReadingOut};
use crate::dossier::{Ranked, ranked};
use crate::model::AssetId;
use crate::store::{Reader, When};
use crate::web::Service;
use crate::web::refusal::{Refusal, misasked};

/// Options of `GET /v1/declining`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DecliningQuery {
    /// Also what is only to be watched.
    #[serde(default)]
    all: bool,
}

/// Options of `GET /v1/readings`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ReadingsQuery {
    asset: String,
}

pub(super) async fn declining(
    State(service): State<Arc<Service>>,
    query: Result<Query<DecliningQuery>, QueryRejection>,
) -> Result<Json<Vec<Ranked>>, Refusal> {
    let Query(query) = query.map_err(misasked)?;
    let findings = service.ask(|reader| reader.findings(None, When::ALWAYS)).await?;
    Ok(Json(ranked(findings, query.all)))
}

pub(super) async fn assets(
    State(service): State<Arc<Service>>,
) -> Result<Json<Vec<AssetOut>>, Refusal> {
    let assets = service.ask(|reader| reader.assets(When::ALWAYS)).await?;
    Ok(Json(assets.into_iter().map(AssetOut::from).collect()))
}

pub(super) async fn readings(
    State(service): State<Arc<Service>>,
    query: Result<Query<ReadingsQuery>, QueryRejection>,
) -> Result<Json<Vec<ReadingOut>>, Refusal> {
    let Query(query) = query.map_err(misasked)?;
    let id = AssetId::new(&query.asset)
        .map_err(|e| Refusal::new(StatusCode::BAD_REQUEST, e.to_string()))?;
    let asked = id.clone();
    let found = service
        .ask(move |reader| match reader.asset(&asked, When::ALWAYS)? {
            None => Ok(None),
            Some(_) => reader.readings(&asked, When::ALWAYS).map(Some),
        })
        .await?;
    match found {
        Some(readings) => Ok(Json(readings.into_iter().map(ReadingOut::from).collect())),
        None => Err(Refusal::new(
            StatusCode::NOT_FOUND,
            format!("there is no asset `{id}` (GET /v1/assets lists all)"),
        )),
    }
}
