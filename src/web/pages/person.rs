//! Who acts: the log-in page, and the question for a name where there are no accounts.

use askama::Template;
use axum::Extension;
use axum::extract::Query;
use axum::http::{StatusCode, Uri};
use serde::Deserialize;

use super::{Frame, Page};
use crate::web::who::Who;

/// Where to go on, and whether it was tried in vain.
#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    to: String,
    wrong: Option<String>,
}

impl Ask {
    /// A path of this service; anything else would lead away from it.
    fn on(&self) -> String {
        let within = self.to.starts_with('/') && !self.to.starts_with("//");
        if within && !self.to.contains('\\') { self.to.clone() } else { "/".to_owned() }
    }
}

#[derive(Template)]
#[template(path = "login.html", config = "src/web/pages/askama.toml")]
pub(super) struct LoginPage {
    frame: Frame,
    to: String,
    wrong: bool,
}

pub(super) async fn login(uri: Uri, Query(ask): Query<Ask>) -> Page<LoginPage> {
    let frame = Frame::new("Log in", None, &uri);
    Page(StatusCode::OK, LoginPage { frame, to: ask.on(), wrong: ask.wrong.is_some() })
}

#[derive(Template)]
#[template(path = "who.html", config = "src/web/pages/askama.toml")]
pub(super) struct WhoPage {
    frame: Frame,
    to: String,
    name: String,
}

pub(super) async fn who(
    uri: Uri,
    Extension(who): Extension<Who>,
    Query(ask): Query<Ask>,
) -> Page<WhoPage> {
    let name = who.name.to_string();
    let frame = Frame::new("Who are you?", Some(who), &uri);
    Page(StatusCode::OK, WhoPage { frame, to: ask.on(), name })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_never_led_away_from_the_service() {
        let on = |to: &str| Ask { to: to.to_owned(), wrong: None }.on();
        assert_eq!(on("/asset/YT-1?as_of=2026-01-01"), "/asset/YT-1?as_of=2026-01-01");
        for to in ["", "https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example"] {
            assert_eq!(on(to), "/", "{to}");
        }
    }
}
