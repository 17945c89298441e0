//! Who calls, and in whose name something is changed.
//!
//! What pages and scripts send with a change:
//!
//! - a form carries the hidden field `csrf`, a script (and a form that uploads a file) the header
//!   [`CSRF_HEADER`], each with [`Who::csrf`] of the page it stands on;
//! - where there are no accounts ([`Who::role`] is none) the person's name comes from the header
//!   [`OPERATOR`] or from the cookie [`OPERATOR_COOKIE`] that `POST /who` sets (fields `name` and
//!   `to`, the path to go on with); a change without one is answered by 400;
//! - `POST /login` takes the fields `name`, `password` and `to`; `POST /logout` takes `csrf`.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::Request;
use axum::http::StatusCode;
use axum::http::header::AUTHORIZATION;

use super::Service;
use super::access::{self, cookie, csrf_of_form, decoded, forged, is_safe, is_same};
use super::refusal::Refusal;
use super::route::Needs;
use crate::model::{Role, Text};
use crate::registry;

/// The header in which a program says in whose name it changes something, where there are no
/// accounts.
pub(super) const OPERATOR: &str = "ohmward-operator";

/// The cookie that keeps the person's name at this browser, where there are no accounts;
/// percent-encoded.
pub(super) const OPERATOR_COOKIE: &str = "operator";

/// What scripts send instead of the field `csrf`.
pub(super) const CSRF_HEADER: &str = "ohmward-csrf";

/// Whoever calls; in the extensions of every request that a handler sees.
#[derive(Clone, Debug, Default)]
pub(super) struct Who {
    /// The name that stands on what is changed; empty where none was needed or given.
    pub(super) name: Text,
    /// What they may do; none where there are no accounts: then everybody may do everything, and a
    /// page asks for the person's name.
    pub(super) role: Option<Role>,
    /// What forms and scripts send back with a change; empty where nothing has to be sent.
    pub(super) csrf: Text,
}

impl Who {
    /// Finds out who calls and whether that is enough for what the route needs. The request comes
    /// back as it was.
    pub(super) async fn of(
        service: &Arc<Service>,
        needs: Needs,
        client: IpAddr,
        request: Request,
    ) -> Result<(Self, Request), Refusal> {
        let (Needs::Role(needed) | Needs::Person(needed)) = needs else {
            return Ok((Who::default(), request));
        };
        let keys = service.keys().await?;
        if let Some(shown) = request.headers().get(AUTHORIZATION) {
            let token = service.bearer(&keys, shown, client)?;
            permit(token.role, needed)?;
            let who = Who { name: token.name, role: Some(token.role), csrf: Text::default() };
            return Ok((who, request));
        }
        if service.access.is_open(&keys) {
            return Ok((operator(needs, &request)?, request));
        }
        let session = access::session(service, &keys, &request).ok_or_else(access::nobody)?;
        permit(session.account.role, needed)?;
        let csrf = Text::from(session.csrf);
        let request =
            if is_safe(request.method()) { request } else { sent_back(&csrf, request).await? };
        let who = Who { name: session.account.name, role: Some(session.account.role), csrf };
        Ok((who, request))
    }
}

fn permit(role: Role, needed: Role) -> Result<(), Refusal> {
    if role.may(needed) {
        return Ok(());
    }
    let error = format!("this needs the role `{needed}`, and yours is `{role}`");
    Err(Refusal::new(StatusCode::FORBIDDEN, error))
}

/// The person's own word, where there are no accounts.
fn operator(needs: Needs, request: &Request) -> Result<Who, Refusal> {
    let headers = request.headers();
    let header = headers.get(OPERATOR).map(|v| String::from_utf8_lossy(v.as_bytes()).into_owned());
    let given = header.or_else(|| cookie(headers, OPERATOR_COOKIE).map(|value| decoded(&value)));
    let refused = |e: registry::HandError| {
        let error = format!("{e} (say who you are in the header `Ohmward-Operator`)");
        Refusal::new(StatusCode::BAD_REQUEST, error)
    };
    let name = match (needs, given) {
        (_, Some(given)) => registry::person(&given).map_err(refused)?,
        (Needs::Person(_), None) => registry::person("").map_err(refused)?,
        (_, None) => Text::default(),
    };
    Ok(Who { name, ..Who::default() })
}

/// Whether a change carries what a page of this session would send: the header, or the field.
async fn sent_back(csrf: &str, request: Request) -> Result<Request, Refusal> {
    let header = request.headers().get(CSRF_HEADER).and_then(|value| value.to_str().ok());
    let (given, request) = match header {
        Some(header) => (header.to_owned(), request),
        None => csrf_of_form(request).await?,
    };
    if is_same(&given, csrf) { Ok(request) } else { Err(forged()) }
}
