//! The API under `/v1`: what other programs lean on.

mod asked;
mod asking;
mod assets;
mod audit;
mod coming;
mod document;
mod findings;
mod ingest;
mod paging;
mod readings;
mod registers;
mod room;
mod rows;
mod sources;
mod stream;
mod waiting;
mod wire;

use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::http::Method;
use axum::routing::{MethodRouter, get, patch, post};

use crate::limits;
use crate::model::Role;
use crate::web::Service;
use crate::web::route::{Needs, Route};
pub(super) use asking::{aside, no_asset};
pub(super) use room::Room;

/// Every route of the API.
pub(super) fn table() -> Vec<Route> {
    let ask = |path, handler| Route::new(Method::GET, path, Needs::Role(Role::Read), handler);
    let bench = |path, handler| changes(Method::POST, path, Role::Bench, handler);
    let manage = |path, handler| changes(Method::POST, path, Role::Manage, handler);
    vec![
        Route::new(
            Method::POST,
            "/v1/readings",
            Needs::Role(Role::Ingest),
            post(ingest::send_readings),
        ),
        ask("/v1/declining", get(findings::declining)),
        ask("/v1/findings", get(findings::findings)),
        bench("/v1/findings/{asset}/{finding}/acknowledge", post(findings::acknowledge)),
        bench("/v1/findings/{asset}/{finding}/close", post(findings::close)),
        ask("/v1/assets", get(assets::assets)),
        manage("/v1/assets", post(assets::add_asset)),
        ask("/v1/assets/{id}", get(assets::asset)),
        changes(Method::PATCH, "/v1/assets/{id}", Role::Manage, patch(assets::change_asset)),
        ask("/v1/readings", get(readings::readings)),
        bench("/v1/readings/{id}/void", post(readings::void_reading)),
        bench("/v1/readings/{id}/restore", post(readings::restore_reading)),
        bench("/v1/readings/{id}/overrule", post(readings::overrule_reading)),
        bench("/v1/readings/{id}/move", post(readings::move_reading)),
        ask("/v1/tray", get(waiting::tray)),
        bench("/v1/tray/{id}/assign", post(readings::assign_reading)),
        ask("/v1/rejects", get(waiting::rejects)),
        ask("/v1/rejects/{number}", get(waiting::reject)),
        manage("/v1/rejects/retry", post(waiting::retry_rejects)),
        ask("/v1/events", get(registers::events)),
        bench("/v1/events", post(registers::add_event)),
        bench("/v1/events/void", post(registers::void_event)),
        ask("/v1/gear", get(registers::gear)),
        manage("/v1/gear", post(registers::add_gear)),
        ask("/v1/proofs", get(registers::proofs)),
        bench("/v1/proofs", post(registers::add_proof)),
        bench("/v1/proofs/void", post(registers::void_proof)),
        ask("/v1/aliases", get(registers::aliases)),
        manage("/v1/aliases", post(registers::add_alias)),
        manage("/v1/aliases/void", post(registers::void_alias)),
        ask("/v1/sources", get(sources::sources)),
        ask("/v1/stream", get(stream::stream)),
        Route::new(Method::GET, "/v1/openapi.json", Needs::Nothing, get(document::openapi)),
        Route::new(Method::GET, "/v1/audit", Needs::Role(Role::Manage), get(audit::audit)),
    ]
}

/// A route that changes something, in the name of a person.
fn changes(
    method: Method,
    path: &'static str,
    role: Role,
    handler: MethodRouter<Arc<Service>>,
) -> Route {
    let limited = handler.layer(DefaultBodyLimit::max(limits::CHANGE_BYTES));
    Route::new(method, path, Needs::Person(role), limited)
}
