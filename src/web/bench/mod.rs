//! The bench: the stations, and the run sheet that leads a test from the asset to the verdict.
//! Forms and reload do everything; a small script only keeps the countdown and the values moving.

mod form;
mod look;
mod now;
mod page;
mod view;
pub(super) mod wire;

use axum::http::{Method, header};
use axum::response::IntoResponse;
use axum::routing::{get, post};

use super::route::{Needs, Route};
use crate::model::Role;

/// Every route of the bench.
pub(super) fn table() -> Vec<Route> {
    let read = Needs::Role(Role::Read);
    let bench = Needs::Person(Role::Bench);
    vec![
        Route::new(Method::GET, "/bench", read, get(page::stations)),
        Route::new(Method::GET, "/bench/{station}", read, get(page::station)),
        Route::new(Method::POST, "/bench/{station}", bench, post(page::command)),
        Route::new(Method::GET, "/bench/{station}/{opened}", read, get(page::sheet)),
        Route::new(Method::GET, SCRIPT, Needs::Nothing, get(script)),
        Route::new(Method::GET, "/v1/bench", read, get(wire::stations)),
        Route::new(Method::GET, "/v1/bench/{station}", read, get(wire::station)),
        Route::new(Method::GET, "/v1/bench/{station}/live", read, get(wire::live)),
    ]
}

/// Where the script is.
const SCRIPT: &str = "/static/bench.js";

async fn script() -> impl IntoResponse {
    let headers = [
        (header::CONTENT_TYPE, "text/javascript; charset=utf-8"),
        (header::CACHE_CONTROL, "no-cache"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    ];
    (headers, include_str!("static/bench.js"))
}
