//! The HTTP side: readings in, questions answered, health told. Wire types stay in this room.

mod access;
mod api;
mod bench;
mod exposition;
mod health;
mod metrics;
mod news;
mod offered;
mod pages;
mod refusal;
mod route;
mod shared;
mod standing;
mod traffic;
mod who;

use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::http::Method;
use axum::routing::get;
use axum::{Router, middleware};
use tokio::sync::Semaphore;

use crate::limits;
use crate::model::Role;
use crate::sources::Standing;
use crate::store::Result;
use access::Access;
pub use access::Reach;
pub use news::News;
pub use route::Needs;
use route::Route;
pub use shared::{Roster, Shared};
use traffic::Traffic;

/// What the routes work with.
pub(crate) struct Service {
    shared: Arc<Shared>,
    standing: Arc<Standing>,
    /// Where bodies are in memory.
    room: Arc<api::Room>,
    /// Turns for questions about the past of the whole fleet.
    fleet_questions: Arc<Semaphore>,
    access: Access,
    traffic: Traffic,
}

/// Everything that is served; `standing` is the HTTP source's own, and `reach` says who can ask.
///
/// # Errors
/// When the store cannot be read.
pub fn routes(shared: Arc<Shared>, standing: Arc<Standing>, reach: Reach) -> Result<Router> {
    let service = Service {
        standing,
        room: api::Room::new(),
        fleet_questions: Arc::new(Semaphore::new(limits::FLEET_QUESTIONS)),
        access: Access::new(reach, shared.store.reader()?),
        traffic: Traffic::default(),
        shared,
    };
    let service = Arc::new(service);
    Ok(route::router(&service, table())
        .fallback(refusal::no_route)
        .method_not_allowed_fallback(refusal::no_method)
        .layer(DefaultBodyLimit::max(limits::FORM_BYTES))
        .layer(middleware::from_fn(pages::for_people))
        .layer(middleware::from_fn_with_state(Arc::clone(&service), traffic::count))
        .layer(middleware::map_response_with_state(Arc::clone(&service), access::harden))
        .with_state(service))
}

/// Every route with its method and what it needs: what an access test walks.
pub fn access() -> Vec<(Method, &'static str, Needs)> {
    table().into_iter().map(|route| (route.method, route.path, route.needs)).collect()
}

/// Every route there is.
fn table() -> Vec<Route> {
    let mut table = vec![
        Route::new(Method::GET, "/healthz", Needs::Nothing, get(health::healthz)),
        Route::new(Method::GET, "/metrics", Needs::Role(Role::Read), get(metrics::metrics)),
    ];
    table.extend(access::table());
    table.extend(api::table());
    table.extend(pages::table());
    table.extend(bench::table());
    table
}
