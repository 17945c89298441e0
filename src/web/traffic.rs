//! Requests as they are answered: how many of each route and status, and how long they took.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use axum::extract::{MatchedPath, Request, State};
use axum::middleware::Next;
use axum::response::Response;

use super::Service;
use super::exposition::Exposition;
use crate::sources::Delays;

/// Requests since the start, by method and route as it stands in the table.
#[derive(Default)]
pub(super) struct Traffic(Mutex<BTreeMap<(String, String), Answered>>);

#[derive(Default)]
struct Answered {
    by_status: BTreeMap<u16, u64>,
    delays: Delays,
}

/// Counts a request when its answer begins.
pub(super) async fn count(
    State(service): State<Arc<Service>>,
    request: Request,
    next: Next,
) -> Response {
    let began = Instant::now();
    // A path that is in no table would be a label of its own for every typing error.
    let path = request.extensions().get::<MatchedPath>().map_or("none", MatchedPath::as_str);
    let key = (path.to_owned(), request.method().as_str().to_owned());
    let response = next.run(request).await;
    service.traffic.add(key, response.status().as_u16(), began);
    response
}

impl Traffic {
    fn add(&self, (path, mut method): (String, String), status: u16, began: Instant) {
        if !matches!(method.as_str(), "GET" | "HEAD" | "POST" | "PUT" | "PATCH" | "DELETE") {
            method = "other".to_owned();
        }
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let answered = all.entry((path, method)).or_default();
        *answered.by_status.entry(status).or_default() += 1;
        answered.delays.add(began.elapsed());
    }

    /// Writes the counts and the histogram.
    pub(super) fn write(&self, out: &mut Exposition) {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        out.counter("requests", "Requests answered, by route and status.");
        for ((path, method), answered) in &*all {
            for (status, count) in &answered.by_status {
                let status = status.to_string();
                let labels = [("route", path.as_str()), ("method", method), ("status", &status)];
                out.count("requests", &labels, *count);
            }
        }
        const NAME: &str = "request_duration_seconds";
        out.histogram(NAME, "From the head of a request to the head of its answer.");
        for ((path, method), answered) in &*all {
            out.delays(NAME, &[("route", path), ("method", method)], &answered.delays);
        }
    }
}
