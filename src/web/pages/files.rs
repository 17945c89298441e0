//! The files that pages ask for: compiled in, named by their digest, so that they may be kept for
//! ever and a new version is a new name.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use crate::report::svg;
use crate::web::refusal::Refusal;

/// A file with its name in addresses.
pub(super) struct File {
    /// The path that a page names it by.
    pub(super) path: String,
    media: &'static str,
    bytes: Vec<u8>,
}

impl File {
    fn new(stem: &str, ending: &str, media: &'static str, bytes: impl Into<Vec<u8>>) -> Self {
        let bytes = bytes.into();
        let digest = blake3::hash(&bytes).to_hex();
        File { path: format!("/static/{stem}.{}.{ending}", &digest[..16]), media, bytes }
    }
}

/// The look of the pages and of the charts in them.
pub(super) static STYLE: LazyLock<File> = LazyLock::new(|| {
    let style = include_str!("static/ohmward.css").to_owned() + &svg::stylesheet();
    File::new("ohmward", "css", "text/css; charset=utf-8", style)
});
pub(super) static LIVE: LazyLock<File> = LazyLock::new(|| {
    File::new("live", "js", "text/javascript; charset=utf-8", include_str!("static/live.js"))
});
pub(super) static ICON: LazyLock<File> =
    LazyLock::new(|| File::new("icon", "svg", "image/svg+xml", include_str!("static/icon.svg")));

/// Every file there is.
static ALL: [&LazyLock<File>; 3] = [&STYLE, &LIVE, &ICON];

/// A year: the longest that HTTP's caches are asked to keep anything.
const FOR_EVER: &str = "public, max-age=31536000, immutable";

pub(super) async fn file(Path(name): Path<String>) -> Response {
    let found = ALL.iter().find(|file| file.path.strip_prefix("/static/") == Some(&name));
    match found {
        Some(file) => {
            let file: &'static File = file;
            let headers = [(header::CONTENT_TYPE, file.media), (header::CACHE_CONTROL, FOR_EVER)];
            (headers, file.bytes.as_slice()).into_response()
        }
        None => Refusal::new(StatusCode::NOT_FOUND, "there is no such file").into_response(),
    }
}
