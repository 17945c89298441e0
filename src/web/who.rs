//! Who calls, and in whose name something is changed.
//!
//! What pages and scripts send with a change:
//!
//! - a form carries the hidden field [`CSRF_FIELD`], a script the header [`CSRF_HEADER`], each with
//!   [`Who::csrf`] of the page it stands on;
//! - where there are no accounts ([`Who::role`] is none) the person's name comes from the header
//!   [`OPERATOR`] or from the cookie [`OPERATOR_COOKIE`] that `POST /who` sets (fields `name` and
//!   `to`, the path to go on with); a change without one is answered by 400;
//! - `POST /login` takes the fields `name`, `password` and `to`; `POST /logout` takes none.

use axum::extract::Request;
use axum::http::StatusCode;

use super::Service;
use super::refusal::Refusal;
use super::route::Needs;
use crate::model::{Role, Text};
use crate::registry;

/// The header in which a program says in whose name it changes something, where there are no
/// accounts.
pub(super) const OPERATOR: &str = "ohmward-operator";

/// The cookie that keeps the person's name at this browser, where there are no accounts;
/// percent-encoded.
#[expect(dead_code, reason = "read once `POST /who` is there")]
pub(super) const OPERATOR_COOKIE: &str = "operator";

/// The hidden field of every form that changes something.
#[expect(dead_code, reason = "read once there are sessions")]
pub(super) const CSRF_FIELD: &str = "csrf";

/// The same for scripts.
#[expect(dead_code, reason = "read once there are sessions")]
pub(super) const CSRF_HEADER: &str = "ohmward-csrf";

/// Whoever calls; in the extensions of every request that a handler sees.
#[derive(Clone, Debug)]
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
    /// Finds out who calls and whether that is enough for what the route needs.
    pub(super) fn of(_service: &Service, needs: Needs, request: &Request) -> Result<Self, Refusal> {
        let given = request.headers().get(OPERATOR).map(|v| String::from_utf8_lossy(v.as_bytes()));
        let refused = |e: registry::HandError| {
            let error = format!("{e} (say who you are in the header `Ohmward-Operator`)");
            Refusal::new(StatusCode::BAD_REQUEST, error)
        };
        let name = match (needs, given) {
            (_, Some(given)) => registry::person(&given).map_err(refused)?,
            (Needs::Person(_), None) => registry::person("").map_err(refused)?,
            (_, None) => Text::default(),
        };
        Ok(Who { name, role: None, csrf: Text::default() })
    }
}
