//! The API under `/v1`: what other programs lean on.

mod ingest;
mod queries;
mod wire;

use axum::extract::DefaultBodyLimit;
use axum::http::Method;
use axum::routing::{get, post};

use crate::limits;
use crate::model::Role;
use crate::web::route::{Needs, Route};

/// Every route of the API.
pub(super) fn table() -> Vec<Route> {
    let ingest = post(ingest::readings).layer(DefaultBodyLimit::max(limits::BODY_BYTES));
    let read = Needs::Role(Role::Read);
    vec![
        Route::new(Method::POST, "/v1/readings", Needs::Role(Role::Ingest), ingest),
        Route::new(Method::GET, "/v1/readings", read, get(queries::readings)),
        Route::new(Method::GET, "/v1/declining", read, get(queries::declining)),
        Route::new(Method::GET, "/v1/assets", read, get(queries::assets)),
    ]
}
