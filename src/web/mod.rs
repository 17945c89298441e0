//! The HTTP side: readings in, questions answered, health told. Wire types stay in this room.

mod api;
mod health;
mod metrics;
mod pages;
mod pool;
mod refusal;
mod route;
mod shared;
mod who;

use std::sync::{Arc, Mutex};

use axum::Router;
use axum::http::Method;
use axum::routing::get;
use tokio::sync::Semaphore;

use crate::intake::RegisterWatch;
use crate::limits;
use crate::model::Role;
use crate::sources::Standing;
use crate::store::Result;
use pool::Readers;
pub use route::Needs;
use route::Route;
pub use shared::{Roster, Shared};

/// What the routes work with.
pub(crate) struct Service {
    shared: Arc<Shared>,
    standing: Arc<Standing>,
    readers: Readers,
    registers: Mutex<RegisterWatch>,
    /// Kibibytes of bodies that may be in memory at once.
    room: Arc<Semaphore>,
    /// Turns for questions about the past of the whole fleet.
    fleet_questions: Arc<Semaphore>,
}

/// The routes under `/v1`, `/healthz` and `/metrics`; `standing` is the HTTP source's own.
///
/// # Errors
/// When the store cannot be read.
pub fn routes(shared: Arc<Shared>, standing: Arc<Standing>) -> Result<Router> {
    let service = Service {
        standing,
        readers: Readers::new(shared.store.clone()),
        registers: Mutex::new(RegisterWatch::new(shared.store.reader()?)),
        room: Arc::new(Semaphore::new(limits::BODIES_KIB)),
        fleet_questions: Arc::new(Semaphore::new(limits::FLEET_QUESTIONS)),
        shared,
    };
    let service = Arc::new(service);
    Ok(route::router(&service, table())
        .fallback(refusal::no_route)
        .method_not_allowed_fallback(refusal::no_method)
        .layer(axum::middleware::from_fn(pages::for_people))
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
    table.extend(api::table());
    table.extend(pages::table());
    table
}
