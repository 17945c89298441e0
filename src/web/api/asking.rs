//! How handlers ask the store and change it: on a thread that may wait.

use std::sync::Arc;

use axum::http::StatusCode;

use crate::dossier::{Desk, DossierError};
use crate::model::Stamp;
use crate::registry::HandError;
use crate::store::sqlite::{SqliteReader, WriterHandle};
use crate::store::{StoreError, When};
use crate::trend::Assessor;
use crate::web::Service;
use crate::web::refusal::Refusal;

impl Service {
    /// Asks the store.
    pub(in crate::web) async fn ask<T: Send + 'static>(
        self: &Arc<Self>,
        question: impl FnOnce(&SqliteReader) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, Refusal> {
        let service = Arc::clone(self);
        aside(move || Ok(question(&service.shared.store.reader()?)?)).await
    }

    /// Asks for a dossier, or a part of one.
    pub(in crate::web) async fn ask_desk<T: Send + 'static>(
        self: &Arc<Self>,
        when: When,
        question: impl FnOnce(&SqliteReader, &Desk<'_, SqliteReader>) -> Result<T, DossierError>
        + Send
        + 'static,
    ) -> Result<T, Refusal> {
        let service = Arc::clone(self);
        aside(move || {
            let settings = service.shared.settings();
            let assessor = Assessor::new(settings.trend.clone());
            let reader = service.shared.store.reader()?;
            let desk = Desk::new(&reader, when, &settings, &assessor)?;
            Ok(question(&reader, &desk)?)
        })
        .await
    }

    /// Changes the store; what that touches is assessed soon after.
    pub(in crate::web) async fn change<T, E>(
        self: &Arc<Self>,
        change: impl FnOnce(&SqliteReader, &mut WriterHandle, Stamp) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Refusal>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        Refusal: From<E>,
    {
        let service = Arc::clone(self);
        aside(move || {
            let shared = &service.shared;
            let now = shared.clock.now();
            let mut writer = shared.writer.clone();
            let done = change(&shared.store.reader()?, &mut writer, now)?;
            shared.wake.wake();
            Ok(done)
        })
        .await
    }
}

/// Does something on a thread that may wait.
pub(in crate::web) async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Refusal> + Send + 'static,
) -> Result<T, Refusal> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|_| {
        let failed = "the request failed by a fault of this program";
        Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, failed))
    })
}

impl From<DossierError> for Refusal {
    fn from(error: DossierError) -> Self {
        match error {
            DossierError::NoAsset(id) => no_asset(&id),
            DossierError::Store(error) => error.into(),
        }
    }
}

impl From<HandError> for Refusal {
    fn from(error: HandError) -> Self {
        match error {
            HandError::Store(error) => error.into(),
            HandError::NoAsset(id) => no_asset(&id),
            HandError::NotThere(_) => Refusal::new(StatusCode::NOT_FOUND, error.to_string()),
            HandError::Invalid(_)
            | HandError::Missing(_)
            | HandError::NoClass { .. }
            | HandError::NoPhase(_) => Refusal::new(StatusCode::BAD_REQUEST, error.to_string()),
        }
    }
}

/// There is no such asset.
pub(in crate::web) fn no_asset(id: impl std::fmt::Display) -> Refusal {
    let error = format!("there is no asset `{id}` (GET /v1/assets lists all)");
    Refusal::new(StatusCode::NOT_FOUND, error)
}
