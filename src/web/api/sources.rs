//! The sources as they stand: stations, folders, requests.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;

use crate::web::Service;
use crate::web::standing::SourceOut;

/// Every source: its state, what it counted since the start, and what came last.
#[utoipa::path(get, path = "/v1/sources", tag = "service",
    responses((status = 200, description = "Sources.", body = Vec<SourceOut>)))]
pub(super) async fn sources(State(service): State<Arc<Service>>) -> Json<Vec<SourceOut>> {
    Json(service.shared.roster.all().iter().map(|s| SourceOut::of(s)).collect())
}
