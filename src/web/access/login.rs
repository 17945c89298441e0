//! Logging in and out, and the name of the person where there are no accounts.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Instant;

use axum::Form;
use axum::body::{Body, Bytes};
use axum::extract::rejection::FormRejection;
use axum::extract::{ConnectInfo, FromRequest, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use percent_encoding::{NON_ALPHANUMERIC, percent_decode_str, utf8_percent_encode};
use serde::Deserialize;
use subtle::ConstantTimeEq;

use super::{Reach, slow_down, wants_page};
use crate::limits;
use crate::model::{AccessKind, account_name};
use crate::registry;
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::who::OPERATOR_COOKIE;

/// The cookie of a session. Under TLS its name binds it to this very host and to TLS (RFC 6265bis,
/// section 4.1.3.2).
pub(super) fn session_cookie(reach: Reach) -> &'static str {
    if reach.is_secure() { "__Host-ohmward" } else { "ohmward" }
}

#[derive(Deserialize)]
pub(super) struct LoginForm {
    name: String,
    password: String,
    #[serde(default)]
    to: String,
}

pub(super) async fn log_in(
    State(service): State<Arc<Service>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    form: Result<Form<LoginForm>, FormRejection>,
) -> Result<Response, Refusal> {
    let Form(LoginForm { name, password, to }) = form.map_err(misfilled)?;
    let (client, to) = (client.ip(), local(&to).to_owned());
    // A name that none can have costs no memory, and tells nobody anything new.
    let known = account_name(&name).unwrap_or_default();
    let access = &service.access;
    access.throttle.of_name(client, &known, Instant::now()).map_err(slow_down)?;
    let keys = service.keys().await?;
    let turn = access.hashing.acquire();
    let Ok(Ok(_turn)) = tokio::time::timeout(limits::HASH_WAIT, turn).await else {
        return Err(Refusal::busy(1, "too many are logging in (try again in a moment)"));
    };
    let password = if password.len() > limits::PASSWORD_BYTES { String::new() } else { password };
    let asked = known.clone();
    let check = move || keys.log_in(&asked, &password).cloned();
    let Ok(account) = tokio::task::spawn_blocking(check).await else {
        return Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, "the request failed"));
    };
    let Some(account) = account else {
        service.note(AccessKind::LoginRefused, &known, client);
        if wants_page(&headers) {
            let to = utf8_percent_encode(&to, NON_ALPHANUMERIC);
            return Ok(Redirect::to(&format!("/login?wrong=1&to={to}")).into_response());
        }
        let error = "that name and password do not belong together";
        return Err(Refusal::new(StatusCode::UNAUTHORIZED, error));
    };
    access.throttle.forgive(client, &known);
    service.note(AccessKind::LoggedIn, &account.name, client);
    let cookie_name = session_cookie(access.reach);
    if let Some(before) = cookie(&headers, cookie_name) {
        access.sessions.end(&before);
    }
    let secret = access.sessions.begin(account, Instant::now()).map_err(|e| {
        tracing::error!("{e}");
        Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, e.to_string())
    })?;
    Ok(with_cookie(Redirect::to(&to), &set_cookie(access.reach, cookie_name, &secret, "")))
}

#[derive(Deserialize)]
pub(super) struct LogoutForm {
    #[serde(default)]
    csrf: String,
}

pub(super) async fn log_out(
    State(service): State<Arc<Service>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    form: Result<Form<LogoutForm>, FormRejection>,
) -> Result<Response, Refusal> {
    let Form(form) = form.map_err(misfilled)?;
    let access = &service.access;
    let name = session_cookie(access.reach);
    if let Some(secret) = cookie(&headers, name) {
        let keys = service.keys().await?;
        if let Some(session) = access.sessions.find(&secret, &keys, Instant::now()) {
            if !is_same(&form.csrf, &session.csrf) {
                return Err(forged());
            }
            access.sessions.end(&secret);
            service.note(AccessKind::LoggedOut, &session.account.name, client.ip());
        }
    }
    let gone = set_cookie(access.reach, name, "", "; Max-Age=0");
    Ok(with_cookie(Redirect::to("/login"), &gone))
}

#[derive(Deserialize)]
pub(super) struct WhoForm {
    name: String,
    #[serde(default)]
    to: String,
}

/// Keeps the person's name at their browser; with accounts it is looked at by nobody.
pub(super) async fn say_who(
    State(service): State<Arc<Service>>,
    form: Result<Form<WhoForm>, FormRejection>,
) -> Result<Response, Refusal> {
    let Form(form) = form.map_err(misfilled)?;
    let bad = |e: String| Refusal::new(StatusCode::BAD_REQUEST, e);
    registry::person(&form.name).map_err(|e| bad(e.to_string()))?;
    let name = account_name(&form.name).map_err(|e| bad(e.to_string()))?;
    let value = utf8_percent_encode(&name, NON_ALPHANUMERIC).to_string();
    let cookie = set_cookie(service.access.reach, OPERATOR_COOKIE, &value, "");
    Ok(with_cookie(Redirect::to(local(&form.to)), &cookie))
}

fn misfilled(rejection: FormRejection) -> Refusal {
    Refusal::new(rejection.status(), rejection.body_text())
}

/// Where to go on: a path of this service, or else its first page.
fn local(to: &str) -> &str {
    let plain = to.bytes().all(|b| b.is_ascii_graphic() && b != b'\\');
    let path = to.strip_prefix('/').is_some_and(|rest| !rest.starts_with('/'));
    if plain && path { to } else { "/" }
}

fn set_cookie(reach: Reach, name: &str, value: &str, more: &str) -> String {
    let secure = if reach.is_secure() { "; Secure" } else { "" };
    format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{secure}{more}")
}

fn with_cookie(response: impl IntoResponse, cookie: &str) -> Response {
    let mut response = response.into_response();
    // Names and values are made here, of letters and digits alone.
    if let Ok(value) = HeaderValue::from_str(cookie) {
        response.headers_mut().append(header::SET_COOKIE, value);
    }
    response
}

/// A cookie of a request by its name.
pub(in crate::web) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let lines = headers.get_all(header::COOKIE).iter().filter_map(|line| line.to_str().ok());
    let mut pairs = lines.flat_map(|line| line.split(';')).filter_map(|pair| pair.split_once('='));
    pairs.find(|(n, _)| n.trim() == name).map(|(_, value)| value.trim().to_owned())
}

/// A percent-encoded value as it was meant.
pub(in crate::web) fn decoded(value: &str) -> String {
    percent_decode_str(value).decode_utf8_lossy().into_owned()
}

/// Compares without telling by the time how much was right.
pub(in crate::web) fn is_same(given: &str, expected: &str) -> bool {
    given.as_bytes().ct_eq(expected.as_bytes()).into()
}

/// A change without what the page would have sent back.
pub(in crate::web) fn forged() -> Refusal {
    Refusal::new(
        StatusCode::FORBIDDEN,
        "expected the field `csrf` (or the header `Ohmward-Csrf`) of a page of this session (load \
         the page again)",
    )
}

#[derive(Deserialize)]
struct CsrfForm {
    #[serde(default)]
    csrf: String,
}

/// The field of a form, and the request as it was. Other bodies have none.
pub(in crate::web) async fn csrf_of_form(request: Request) -> Result<(String, Request), Refusal> {
    let (parts, body) = request.into_parts();
    let form = "application/x-www-form-urlencoded";
    let media = parts.headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok());
    if !media.is_some_and(|media| media.to_ascii_lowercase().starts_with(form)) {
        return Ok((String::new(), Request::from_parts(parts, body)));
    }
    let bytes: Bytes = axum::body::to_bytes(body, limits::FORM_BYTES).await.map_err(|_| {
        let most = limits::FORM_BYTES;
        let error = format!("expected a form of at most {most} bytes, whole and in time");
        Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, error)
    })?;
    let copy = Request::from_parts(parts.clone(), Body::from(bytes.clone()));
    let csrf = Form::<CsrfForm>::from_request(copy, &()).await.map(|Form(form)| form.csrf);
    Ok((csrf.unwrap_or_default(), Request::from_parts(parts, Body::from(bytes))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_goes_on_within_the_service() {
        for to in ["/", "/asset/YT-014%2Fdrive?as_of=2026-01-31"] {
            assert_eq!(local(to), to);
        }
        for to in ["", "x", "//e.example", "/\\e.example", "https://e.example", "/a\r\nX: y", "/ä"]
        {
            assert_eq!(local(to), "/", "{to:?}");
        }
    }

    #[test]
    fn cookies_are_told_apart() {
        let mut headers = HeaderMap::new();
        headers.append("cookie", "a=1; operator=R.%20Hale;b=".parse().unwrap());
        headers.append("cookie", "ohmward=77".parse().unwrap());
        assert_eq!(cookie(&headers, "ohmward").as_deref(), Some("77"));
        assert_eq!(decoded(&cookie(&headers, "operator").unwrap()), "R. Hale");
        assert_eq!(cookie(&headers, "b").as_deref(), Some(""));
        assert_eq!(cookie(&headers, "hmward"), None);
        assert!(is_same("abc", "abc") && !is_same("abc", "abd") && !is_same("", "abc"));
    }
}
