//! Answers that are no answer: a status, and in words what is wrong and what to do.

use axum::Json;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::ToSchema;

use crate::intake::IntakeError;
use crate::store::StoreError;

/// Why a request was not done.
#[derive(Debug)]
pub(super) struct Refusal {
    status: StatusCode,
    /// Seconds after which it is worth trying again.
    again: Option<u16>,
    error: String,
}

/// Why a request was not done.
#[derive(Serialize, ToSchema)]
pub(super) struct RefusalOut {
    /// What was expected and found, and what to do.
    #[schema(example = "there is no asset `YT-999` (GET /v1/assets lists all)")]
    error: String,
}

impl Refusal {
    pub(super) fn new(status: StatusCode, error: impl Into<String>) -> Self {
        Refusal { status, again: None, error: error.into() }
    }

    /// Tried too often; worth trying again after some seconds.
    pub(super) fn slow_down(again: u16, error: impl Into<String>) -> Self {
        let status = StatusCode::TOO_MANY_REQUESTS;
        Refusal { status, again: Some(again), error: error.into() }
    }

    /// The status it is answered with.
    pub(super) fn status(&self) -> StatusCode {
        self.status
    }

    /// What is wrong.
    pub(super) fn words(&self) -> &str {
        &self.error
    }

    /// Nothing was done, and the same request may be sent again after some seconds.
    pub(super) fn busy(again: u16, error: impl Into<String>) -> Self {
        let status = StatusCode::SERVICE_UNAVAILABLE;
        Refusal { status, again: Some(again), error: error.into() }
    }
}

/// The words of a refusal, in the extensions of its answer: for who writes it in another form.
#[derive(Clone, Debug)]
pub(super) struct Refused(pub(super) String);

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let refused = Refused(self.error.clone());
        let mut response = (self.status, Json(RefusalOut { error: self.error })).into_response();
        response.extensions_mut().insert(refused);
        if let Some(seconds) = self.again {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        if self.status == StatusCode::UNAUTHORIZED {
            let bearer = HeaderValue::from_static("Bearer realm=\"ohmward\"");
            response.headers_mut().insert(header::WWW_AUTHENTICATE, bearer);
        }
        response
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        match &error {
            StoreError::Busy => Refusal::busy(5, error.to_string()),
            StoreError::Full => Refusal::busy(60, error.to_string()),
            StoreError::NoReading(_) | StoreError::NoFinding { .. } => {
                Refusal::new(StatusCode::NOT_FOUND, error.to_string())
            }
            _ => {
                tracing::error!("a request failed: {error}");
                Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string())
            }
        }
    }
}

impl From<IntakeError> for Refusal {
    fn from(error: IntakeError) -> Self {
        match error {
            IntakeError::Store(error) => error.into(),
            other => Refusal::new(StatusCode::BAD_REQUEST, other.to_string()),
        }
    }
}

/// There is nothing at this path.
pub(super) async fn no_route() -> Refusal {
    Refusal::new(StatusCode::NOT_FOUND, "there is nothing at this path (see /v1/declining)")
}

/// The path is right and the method is not.
pub(super) async fn no_method() -> Refusal {
    Refusal::new(StatusCode::METHOD_NOT_ALLOWED, "this path does not take this method")
}
