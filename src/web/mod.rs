//! The HTTP side: readings in, questions answered, health told. Wire types stay in this room.

mod health;
mod ingest;
mod metrics;
mod pool;
mod queries;
mod refusal;
mod shared;
mod wire;

use std::sync::{Arc, Mutex};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::routing::{get, post};
use tokio::sync::Semaphore;

use crate::intake::RegisterWatch;
use crate::limits;
use crate::sources::Standing;
use crate::store::Result;
use pool::Readers;
pub use shared::{Roster, Shared};

/// What the routes work with.
pub(crate) struct Service {
    shared: Arc<Shared>,
    standing: Arc<Standing>,
    readers: Readers,
    registers: Mutex<RegisterWatch>,
    /// Kibibytes of bodies that may be in memory at once.
    room: Arc<Semaphore>,
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
        shared,
    };
    let ingest = post(ingest::readings).layer(DefaultBodyLimit::max(limits::BODY_BYTES));
    Ok(Router::new()
        .route("/v1/readings", ingest.get(queries::readings))
        .route("/v1/declining", get(queries::declining))
        .route("/v1/assets", get(queries::assets))
        .route("/healthz", get(health::healthz))
        .route("/metrics", get(metrics::metrics))
        .fallback(refusal::no_route)
        .method_not_allowed_fallback(refusal::no_method)
        .with_state(Arc::new(service)))
}
