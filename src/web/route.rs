//! The table of routes: method, path, who may, what answers. Nothing is served that is not in it.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use axum::Router;
use axum::extract::{ConnectInfo, MatchedPath, Request, State};
use axum::http::{Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::MethodRouter;

use super::access::Shown;
use super::refusal::Refusal;
use super::who::Who;
use super::{Service, access};
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
    let reach = service.access.reach;
    let client = access::client(reach, &request);
    request.extensions_mut().insert(ConnectInfo(client));
    let path = request.extensions().get::<MatchedPath>().map(|path| path.as_str().to_owned());
    if let Err(refusal) = access::admit(reach, &request) {
        return refusal.into_response();
    }
    let shown = match needs {
        Needs::Nothing => None,
        Needs::Role(role) | Needs::Person(role) => Some(Shown::of(request.headers(), role)),
    };
    let (request, slow) = access::timed(request);
    let response = match Who::of(&service, needs, client.ip(), request).await {
        Ok((who, mut request)) => {
            tracing::trace!(name = %who.name, "a request");
            request.extensions_mut().insert(who);
            next.run(request).await
        }
        Err(refusal) => {
            tracing::debug!("refused a request of {path:?}");
            refusal.into_response()
        }
    };
    if slow.load(Relaxed) && response.status().is_client_error() {
        let error = "the body did not come in time (send it again, in smaller parts)";
        return Refusal::new(StatusCode::REQUEST_TIMEOUT, error).into_response();
    }
    match shown {
        Some(shown) => access::lasting(&service, &shown, response),
        None => response,
    }
}
