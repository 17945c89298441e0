//! What a request asks: its query, the asset in its path, its body; a wrong one is refused with
//! the name of the field that is wrong.

use std::error::Error;

use axum::Json;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{FromRequest, FromRequestParts, Path, Query, Request};
use axum::http::request::Parts;
use axum::http::{StatusCode, Uri};
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use crate::model::{AssetId, Invalid, ReadingId};
use crate::web::refusal::Refusal;

/// The query of a request, and where it was asked.
pub(super) struct Asked<Q> {
    /// The options.
    pub(super) query: Q,
    /// The path with its query.
    pub(super) uri: Uri,
}

impl<Q: DeserializeOwned, S: Sync> FromRequestParts<S> for Asked<Q> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Refusal> {
        let Query(query) =
            Query::try_from_uri(&parts.uri).map_err(|rejection: QueryRejection| {
                bad(format!("the query of this request: {}", inner(&rejection)))
            })?;
        Ok(Asked { query, uri: parts.uri.clone() })
    }
}

/// The asset that a path names, as one segment.
pub(super) struct NamedAsset(pub(super) AssetId);

impl<S: Send + Sync> FromRequestParts<S> for NamedAsset {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let Path(id) = Path::<String>::from_request_parts(parts, state).await.map_err(misnamed)?;
        Ok(NamedAsset(AssetId::new(&id)?))
    }
}

/// The reading that a path names.
pub(super) struct NamedReading(pub(super) ReadingId);

impl<S: Send + Sync> FromRequestParts<S> for NamedReading {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Refusal> {
        let Path(id) = Path::<String>::from_request_parts(parts, state).await.map_err(misnamed)?;
        Ok(NamedReading(ReadingId::parse(&id)?))
    }
}

/// A JSON body: an object.
pub(super) struct Sent<T>(pub(super) T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Sent<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, state: &S) -> Result<Self, Refusal> {
        // A list would be taken for the fields of an object in their order.
        let object = Json::<Map<String, Value>>::from_request(request, state).await;
        let Json(object) = object.map_err(missent)?;
        let text = Value::Object(object).to_string();
        let Json(value) = Json::<T>::from_bytes(text.as_bytes()).map_err(missent)?;
        Ok(Sent(value))
    }
}

fn missent(rejection: JsonRejection) -> Refusal {
    match &rejection {
        JsonRejection::JsonDataError(e) => bad(format!("the body of this request: {}", inner(e))),
        JsonRejection::JsonSyntaxError(e) => {
            bad(format!("the body of this request is not JSON: {}", inner(e)))
        }
        JsonRejection::MissingJsonContentType(_) => Refusal::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "expected a body of content type `application/json`",
        ),
        other => Refusal::new(other.status(), other.body_text()),
    }
}

fn misnamed(rejection: PathRejection) -> Refusal {
    bad(format!("the path of this request: {}", inner(&rejection)))
}

/// What lies behind a rejection: it names the field.
fn inner(rejection: &dyn Error) -> String {
    rejection.source().unwrap_or(rejection).to_string()
}

fn bad(error: String) -> Refusal {
    Refusal::new(StatusCode::BAD_REQUEST, error)
}

impl From<Invalid> for Refusal {
    fn from(error: Invalid) -> Self {
        bad(error.to_string())
    }
}
