//! The pages: what a browser is shown. Written on the server, of use without a script.

mod asked;
mod asset;
mod change;
mod charts;
mod enter;
mod files;
mod findings;
mod fleet;
mod frame;
mod gear;
mod marks;
mod numbers;
mod own;
mod person;
mod reading;
mod refused;
mod stations;
mod visit;
mod waiting;

use axum::http::Method;
use axum::routing::{get, post};

pub(super) use frame::{Frame, Page, Section};
pub(super) use marks::Mark;
pub(super) use refused::for_people;

use super::route::{Needs, Route};
use crate::model::Role;

/// Every page and the files they ask for.
pub(super) fn table() -> Vec<Route> {
    let read = Needs::Role(Role::Read);
    let bench = Needs::Person(Role::Bench);
    let manage = Needs::Person(Role::Manage);
    vec![
        Route::new(Method::GET, "/", read, get(fleet::page)),
        Route::new(Method::GET, "/asset/{id}", read, get(asset::page)),
        Route::new(Method::POST, "/asset/{id}/event", bench, post(asset::add_event)),
        Route::new(Method::GET, "/asset/{id}/change", Needs::Role(Role::Manage), get(change::page)),
        Route::new(Method::POST, "/asset/{id}/change", manage, post(change::change)),
        Route::new(Method::POST, "/asset/{id}/standing", manage, post(change::stand)),
        Route::new(Method::GET, "/reading/{id}", read, get(reading::page)),
        Route::new(Method::POST, "/reading/{id}", bench, post(reading::put_right)),
        Route::new(Method::GET, "/findings", read, get(findings::page)),
        Route::new(Method::POST, "/findings", bench, post(findings::answer)),
        Route::new(Method::GET, "/waiting", read, get(waiting::page)),
        Route::new(Method::POST, "/waiting/tray/{id}", bench, post(waiting::assign)),
        Route::new(Method::POST, "/waiting/rejects/again", bench, post(waiting::again)),
        Route::new(Method::POST, "/waiting/rejects/{number}/again", bench, post(waiting::again)),
        Route::new(Method::POST, "/waiting/rejects/{number}/mend", bench, post(waiting::mended)),
        Route::new(Method::GET, "/gear", read, get(gear::page)),
        Route::new(Method::POST, "/gear", manage, post(gear::add)),
        Route::new(Method::POST, "/gear/proof", bench, post(gear::prove)),
        Route::new(Method::GET, "/stations", read, get(stations::page)),
        Route::new(Method::GET, "/enter", read, get(enter::page)),
        Route::new(Method::POST, "/enter", bench, post(enter::take)),
        Route::new(Method::GET, "/login", Needs::Nothing, get(person::login)),
        Route::new(Method::GET, "/who", read, get(person::who)),
        Route::new(Method::GET, "/static/{file}", Needs::Nothing, get(files::file)),
    ]
}
