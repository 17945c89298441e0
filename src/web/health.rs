//! `GET /healthz`: whether everything works, and what is wrong, in words.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Serialize;
use utoipa::ToSchema;

use super::standing::{SourceOut, state};
use super::{Service, Shared};
use crate::limits;
use crate::sources::Health;
use crate::watch::messages;

/// How everything stands.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct HealthOut {
    /// `ok`; `troubled`: something waits for a person; `stuck`: a part does not answer.
    #[schema(example = "ok")]
    status: &'static str,
    /// What is wrong, in words, and what to do; empty when all is well.
    wrong: Vec<String>,
    /// The version of the program.
    version: &'static str,
    /// Seconds since the start.
    uptime_s: u64,
    /// The writer of the store.
    writer: PartOut,
    /// What assesses changed assets.
    watch: PartOut,
    /// Messages to people.
    messages: MessagesOut,
    /// Assets assessed since the start.
    assessed: u64,
    /// Assets that wait to be assessed.
    pending: usize,
    /// Every source.
    sources: Vec<SourceOut>,
}

/// A part of the service.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PartOut {
    /// `ok`, `troubled` or `stuck`.
    state: &'static str,
    /// What keeps it from its work, and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    trouble: Option<String>,
}

/// Messages to people.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct MessagesOut {
    /// `ok`, `troubled` or `stuck`.
    state: &'static str,
    /// What keeps them from being sent, and what to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    trouble: Option<String>,
    /// Those that wait.
    waiting: u64,
    /// Those sent since the start.
    sent: u64,
    /// Attempts that failed.
    failed: u64,
    /// Those given up.
    dropped: u64,
}

impl MessagesOut {
    fn of(standing: &messages::Standing) -> Self {
        MessagesOut {
            state: state(&standing.health),
            trouble: standing.health.trouble(),
            waiting: standing.waiting.load(Relaxed),
            sent: standing.sent.get(),
            failed: standing.failed.get(),
            dropped: standing.dropped.get(),
        }
    }

    fn wrong(&self) -> Option<String> {
        match (&self.trouble, self.state) {
            (_, "stuck") => Some("what sends messages gives no sign of life".to_owned()),
            (Some(why), _) => Some(format!("messages are not sent: {why}")),
            (None, _) => None,
        }
    }
}

/// Whether everything works, and what is wrong.
///
/// Answers 200 while it works at all: a source without its adapter is no reason to start the
/// service again. 503 when a part is stuck.
#[utoipa::path(get, path = "/healthz", tag = "service",
    responses(
        (status = 200, description = "It works, perhaps with a part that is troubled.",
            body = HealthOut),
        (status = 503, description = "A part is stuck.", body = HealthOut),
    ))]
pub(super) async fn healthz(State(service): State<Arc<Service>>) -> (StatusCode, Json<HealthOut>) {
    let out = HealthOut::of(&service.shared);
    let status = match out.status {
        "stuck" => StatusCode::SERVICE_UNAVAILABLE,
        _ => StatusCode::OK,
    };
    (status, Json(out))
}

impl HealthOut {
    fn of(shared: &Shared) -> Self {
        let writer = PartOut::of(&shared.writing);
        let (pending, waited) = shared.backlog.waiting();
        let watch = PartOut::of(&shared.watching);
        let sources: Vec<SourceOut> =
            shared.roster.all().iter().map(|s| SourceOut::of(s)).collect();
        let messages = MessagesOut::of(&shared.messages);
        let mut wrong = Vec::new();
        wrong.extend(writer.wrong("the store cannot be written", "the writer of the store"));
        wrong.extend(watch.wrong("assets cannot be assessed", "the watch"));
        if waited > limits::BEHIND {
            wrong.push(format!(
                "the watch is behind: {pending} assets wait to be assessed, the first for {} s \
                 (what is declining may be out of date)",
                waited.as_secs()
            ));
        }
        wrong.extend(sources.iter().flat_map(SourceOut::wrong));
        wrong.extend(messages.wrong());
        let mut states = vec![writer.state, watch.state, messages.state];
        states.extend(sources.iter().map(|s| s.state));
        let status = match (states.contains(&"stuck"), wrong.is_empty()) {
            (true, _) => "stuck",
            (false, true) => "ok",
            (false, false) => "troubled",
        };
        HealthOut {
            status,
            wrong,
            version: env!("CARGO_PKG_VERSION"),
            uptime_s: shared.started.elapsed().as_secs(),
            assessed: shared.assessed.load(Relaxed),
            pending,
            writer,
            watch,
            messages,
            sources,
        }
    }
}

impl PartOut {
    fn of(health: &Health) -> Self {
        PartOut { state: state(health), trouble: health.trouble() }
    }

    fn wrong(&self, what: &str, part: &str) -> Option<String> {
        match (&self.trouble, self.state) {
            (_, "stuck") => Some(format!("{part} gives no sign of life (restart the service)")),
            (Some(why), _) => Some(format!("{what}: {why}")),
            (None, _) => None,
        }
    }
}
