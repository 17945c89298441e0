//! Answers that go on for hours: they end when who asked for them may no more.

use std::sync::Arc;
use std::time::Instant;

use axum::body::Body;
use axum::http::{HeaderMap, header};
use axum::response::Response;
use tokio_stream::StreamExt;

use super::{cookie, login};
use crate::model::Role;
use crate::web::Service;

/// What a request showed of who sends it.
#[derive(Clone)]
pub(in crate::web) struct Shown {
    headers: HeaderMap,
    needed: Role,
}

impl Shown {
    pub(in crate::web) fn of(headers: &HeaderMap, needed: Role) -> Self {
        let mut kept = HeaderMap::new();
        for name in [header::AUTHORIZATION, header::COOKIE] {
            for value in headers.get_all(&name) {
                kept.append(&name, value.clone());
            }
        }
        Shown { headers: kept, needed }
    }

    /// Whether that still lets somebody in. It counts as no sign of life of a session, and is noted
    /// nowhere. While the store cannot be asked nobody is let in.
    async fn still_counts(&self, service: &Arc<Service>) -> bool {
        let access = &service.access;
        let Ok(keys) = service.keys().await else {
            return false;
        };
        let role = match self.headers.get(header::AUTHORIZATION) {
            Some(shown) => {
                let token = shown.to_str().ok().and_then(|shown| shown.split_once(' '));
                let now = service.shared.clock.now();
                token.and_then(|(_, token)| keys.token(token.trim(), now)).map(|token| token.role)
            }
            None if access.is_open(&keys) => return true,
            None => cookie(&self.headers, login::session_cookie(access.reach))
                .and_then(|secret| access.sessions.role(&secret, &keys, Instant::now())),
        };
        role.is_some_and(|role| role.may(self.needed))
    }
}

/// A stream of events asks with each of them, its signs of life included, whether it may go on;
/// other answers are left as they are.
pub(in crate::web) fn lasting(service: &Arc<Service>, shown: &Shown, answer: Response) -> Response {
    let media = answer.headers().get(header::CONTENT_TYPE).and_then(|media| media.to_str().ok());
    if !media.is_some_and(|media| media.starts_with("text/event-stream")) {
        return answer;
    }
    let (service, shown) = (Arc::clone(service), shown.clone());
    answer.map(|body| {
        let parts = body.into_data_stream().then(move |part| {
            let (service, shown) = (Arc::clone(&service), shown.clone());
            async move { shown.still_counts(&service).await.then_some(part) }
        });
        Body::from_stream(parts.map_while(|part| part))
    })
}
