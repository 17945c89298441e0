//! Who calls, and in whose name something is changed.

use axum::extract::Request;
use axum::http::StatusCode;

use super::Service;
use super::refusal::Refusal;
use super::route::Needs;
use crate::model::Text;
use crate::registry;

/// The header in which a program says in whose name it changes something.
pub(super) const OPERATOR: &str = "ohmward-operator";

/// Whoever calls; in the extensions of every request that a handler sees.
#[derive(Clone, Debug)]
pub(super) struct Who {
    /// The name that stands on what is changed; empty where none was needed or given.
    pub(super) name: Text,
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
        Ok(Who { name })
    }
}
