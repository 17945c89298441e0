//! The table of routes: method, path, who may, what answers. Nothing is served that is not in it.

use std::sync::Arc;

use axum::Router;
use axum::extract::{MatchedPath, Request, State};
use axum::http::Method;
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::MethodRouter;

use super::Service;
use super::who::Who;
use crate::model::Role;

/// What a route asks of whoever calls it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needs {
    /// Nothing: it is open to all who reach the service.
    Nothing,
    /// A role.
    Role(Role),
    /// A role, and on a service without accounts the name of the person: it changes something.
    Person(Role),
}

/// One row.
pub(super) struct Route {
    pub(super) method: Method,
    pub(super) path: &'static str,
    pub(super) needs: Needs,
    pub(super) handler: MethodRouter<Arc<Service>>,
}

impl Route {
    pub(super) fn new(
        method: Method,
        path: &'static str,
        needs: Needs,
        handler: MethodRouter<Arc<Service>>,
    ) -> Self {
        Route { method, path, needs, handler }
    }
}

/// The router of a table. Who calls is found out before the handler runs, and handed to it as
/// [`Who`]; what the route needs is checked here and nowhere else.
pub(super) fn router(service: &Arc<Service>, table: Vec<Route>) -> Router<Arc<Service>> {
    table.into_iter().fold(Router::new(), |router, route| {
        let needs = route.needs;
        let guard = middleware::from_fn_with_state(
            Arc::clone(service),
            move |State(service): State<Arc<Service>>, request: Request, next: Next| {
                guarded(service, needs, request, next)
            },
        );
        router.route(route.path, route.handler.layer(guard))
    })
}

async fn guarded(
    service: Arc<Service>,
    needs: Needs,
    mut request: Request,
    next: Next,
) -> Response {
    match Who::of(&service, needs, &request) {
        Ok(who) => {
            tracing::trace!(name = %who.name, "a request");
            request.extensions_mut().insert(who);
            next.run(request).await
        }
        Err(refusal) => {
            let path = request.extensions().get::<MatchedPath>().map(MatchedPath::as_str);
            tracing::debug!("refused a request of {path:?}");
            refusal.into_response()
        }
    }
}
