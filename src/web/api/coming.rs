//! The body of a request as it comes: counted, bounded, and with no more room than has arrived.

use std::sync::Arc;

use axum::body::{BodyDataStream, Bytes};
use axum::extract::Request;
use axum::http::{HeaderMap, StatusCode, header};
use tokio::sync::OwnedSemaphorePermit;
use tokio_stream::StreamExt;

use super::room::Share;
use crate::limits;
use crate::web::Service;
use crate::web::refusal::Refusal;

/// A body on its way.
pub(super) struct Coming {
    service: Arc<Service>,
    bytes: BodyDataStream,
    share: Share,
    read: u64,
    most: u64,
    /// Whether all of it is here.
    pub(super) ended: bool,
}

impl Coming {
    /// Nothing of it is read yet.
    ///
    /// # Errors
    /// When it is announced to be too long.
    pub(super) fn new(
        service: &Arc<Service>,
        request: Request,
        most: u64,
    ) -> Result<Self, Refusal> {
        if announced(request.headers()).is_some_and(|length| length > most) {
            return Err(too_long(most));
        }
        let bytes = request.into_body().into_data_stream();
        let (service, share) = (Arc::clone(service), service.room.body());
        Ok(Coming { service, bytes, share, read: 0, most, ended: false })
    }

    /// Its next bytes; none at its end.
    ///
    /// # Errors
    /// When it breaks off, is too long or comes too slowly, and when the service ends.
    pub(super) async fn next(&mut self) -> Result<Option<Bytes>, Refusal> {
        let next = self.share.wait(self.bytes.next(), |next| match next {
            Some(Ok(bytes)) => bytes.len(),
            Some(Err(_)) | None => 0,
        });
        let next = tokio::select! {
            next = next => next?,
            () = self.service.shared.news.ended() => {
                return Err(Refusal::busy(5, "the service is ending (send all of it again)"));
            }
        };
        let Some(bytes) = next else {
            self.ended = true;
            return Ok(None);
        };
        let bytes = bytes.map_err(|e| {
            let why = format!("the body broke off: {e} (send all of it again)");
            Refusal::new(StatusCode::BAD_REQUEST, why)
        })?;
        self.read += bytes.len() as u64;
        self.service.standing.tally.bytes.add(bytes.len() as u64);
        if self.read > self.most {
            return Err(too_long(self.most));
        }
        Ok(Some(bytes))
    }

    /// Its bytes to the end, or until there are more than so many.
    ///
    /// # Errors
    /// As [`Coming::next`], and when there is no room.
    pub(super) async fn collect(&mut self, upto: u64) -> Result<Vec<u8>, Refusal> {
        let mut all = Vec::new();
        while self.read <= upto
            && let Some(bytes) = self.next().await?
        {
            self.share.grow(self.read).await?;
            all.extend_from_slice(&bytes);
        }
        Ok(all)
    }

    /// Takes the room that a flow of lines has, however long it is; the rest takes no more of it.
    ///
    /// # Errors
    /// When there is none.
    pub(super) async fn flow(&mut self) -> Result<Option<OwnedSemaphorePermit>, Refusal> {
        self.share.grow(u64::from(limits::LINES_KIB) * 1024).await?;
        Ok(self.share.hand_over())
    }
}

fn too_long(most: u64) -> Refusal {
    let error = format!("expected at most {most} bytes (send it in parts)");
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, error)
}

/// The length that a client announces.
fn announced(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok())?.parse().ok()
}
