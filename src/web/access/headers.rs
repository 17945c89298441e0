//! Headers of every answer: what a browser may do with it, and that nobody keeps it.

use axum::http::HeaderValue;
use axum::response::Response;

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

/// Adds what the handler did not set itself.
pub(in crate::web) async fn harden(mut response: Response) -> Response {
    for (name, value) in HEADERS {
        response.headers_mut().entry(*name).or_insert(HeaderValue::from_static(value));
    }
    response
}
