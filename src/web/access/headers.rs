//! Headers of every answer: what a browser may do with it, and that nobody keeps it.

use std::sync::Arc;

use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::Response;

use crate::web::Service;

/// Scripts, styles and pictures come from this service alone, nothing stands in a page itself, and
/// no page stands in another site's frame (Content Security Policy Level 3).
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Names and values. With `same-origin` the service's own forms still tell where they come from,
/// which `no-referrer` would hide (Fetch Standard, section 3.1).
const HEADERS: &[(&str, &str)] = &[
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "same-origin"),
    ("cache-control", "no-store"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
];

/// Browsers that came by TLS once come by TLS alone for a week (RFC 6797): somebody who types the
/// bare name of the machine is not led astray by whoever answers without TLS. A week is short
/// enough for a site that has to go back, and other machines of the domain are left alone.
const TLS_ALONE: HeaderValue = HeaderValue::from_static("max-age=604800");

/// Adds what the handler did not set itself.
pub(in crate::web) async fn harden(
    State(service): State<Arc<Service>>,
    mut response: Response,
) -> Response {
    if service.access.reach.tls_alone {
        response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, TLS_ALONE);
    }
    for (name, value) in HEADERS {
        response.headers_mut().entry(*name).or_insert(HeaderValue::from_static(value));
    }
    response
}
