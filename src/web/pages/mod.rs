//! The pages: what a browser is shown. Written on the server, of use without a script.

mod files;
mod fleet;
mod frame;
mod marks;
mod numbers;
mod person;
mod refused;

use axum::http::Method;
use axum::routing::get;

pub(super) use frame::{Frame, Page, Section};
pub(super) use marks::Mark;
pub(super) use refused::for_people;

use super::route::{Needs, Route};
use crate::model::Role;

/// Every page and the files they ask for.
pub(super) fn table() -> Vec<Route> {
    let read = Needs::Role(Role::Read);
    vec![
        Route::new(Method::GET, "/", read, get(fleet::page)),
        Route::new(Method::GET, "/login", Needs::Nothing, get(person::login)),
        Route::new(Method::GET, "/who", read, get(person::who)),
        Route::new(Method::GET, "/static/{file}", Needs::Nothing, get(files::file)),
    ]
}
