//! Refusals as a page where a person asked with a browser; programs get JSON.

use askama::Template;
use axum::extract::Request;
use axum::http::{HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};

use super::numbers::filters;
use super::{Frame, Page};
use crate::web::refusal::Refused;

#[derive(Template)]
#[template(path = "refused.html", config = "src/web/pages/askama.toml")]
struct RefusedPage {
    frame: Frame,
    why: String,
}

/// Turns a refusal into a page for whoever asked for one. Who has to log in is taken there.
pub(in crate::web) async fn for_people(request: Request, next: Next) -> Response {
    let wants_page = is_page(request.headers().get(header::ACCEPT), request.uri());
    let (method, uri) = (request.method().clone(), request.uri().clone());
    let mut response = next.run(request).await;
    let Some(Refused(why)) = response.extensions_mut().remove::<Refused>() else {
        return response;
    };
    if !wants_page {
        return response;
    }
    let status = response.status();
    if status == StatusCode::UNAUTHORIZED && method == Method::GET && uri.path() != "/login" {
        let to = uri.path_and_query().map_or("/", |at| at.as_str());
        let to = askama::filters::urlencode_strict(to).map(|t| t.to_string()).unwrap_or_default();
        return Redirect::to(&format!("/login?to={to}")).into_response();
    }
    let frame = Frame::new(title(status), None, &uri);
    let mut page = Page(status, RefusedPage { frame, why }).into_response();
    // When to ask again, and cookies that were taken back, belong to the refusal as well.
    for name in [header::RETRY_AFTER, header::SET_COOKIE] {
        for value in response.headers().get_all(&name) {
            page.headers_mut().append(&name, value.clone());
        }
    }
    page
}

fn is_page(accept: Option<&HeaderValue>, uri: &Uri) -> bool {
    let html = accept.and_then(|a| a.to_str().ok()).is_some_and(|a| a.contains("text/html"));
    html && !uri.path().starts_with("/v1/")
}

fn title(status: StatusCode) -> &'static str {
    match status {
        StatusCode::NOT_FOUND => "There is nothing here",
        StatusCode::UNAUTHORIZED => "Log in first",
        StatusCode::FORBIDDEN => "That is not for you to do",
        StatusCode::METHOD_NOT_ALLOWED => "That cannot be done here",
        StatusCode::SERVICE_UNAVAILABLE => "Busy: try again in a moment",
        status if status.is_server_error() => "Something failed here",
        _ => "That could not be done",
    }
}
