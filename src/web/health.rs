//! `GET /healthz`: whether everything works, and what is wrong.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Serialize;

use super::{Service, Shared};
use crate::limits;
use crate::sources::{Health, Standing};
use crate::watch::messages;

/// How everything stands.
#[derive(Debug, Serialize)]
pub(super) struct HealthOut {
    /// `ok`; `troubled`: something waits for a person; `stuck`: a part does not answer.
    status: &'static str,
    version: &'static str,
    uptime_s: u64,
    writer: PartOut,
    watch: PartOut,
    messages: MessagesOut,
    assessed: u64,
    sources: Vec<SourceOut>,
}

#[derive(Debug, Serialize)]
struct PartOut {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    trouble: Option<String>,
}

#[derive(Debug, Serialize)]
struct MessagesOut {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    trouble: Option<String>,
    waiting: u64,
    sent: u64,
    failed: u64,
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
}

/// A source as it stands.
#[derive(Debug, Serialize)]
pub(super) struct SourceOut {
    pub(super) kind: &'static str,
    pub(super) name: String,
    pub(super) state: &'static str,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) trouble: Vec<String>,
    pub(super) bytes: u64,
    pub(super) records: u64,
    pub(super) files: u64,
    pub(super) refused: u64,
    pub(super) accepted: u64,
    pub(super) duplicate: u64,
    pub(super) tray: u64,
    pub(super) rejected: u64,
    pub(super) openings: u64,
    pub(super) gaps: u64,
    pub(super) dropped_bytes: u64,
    pub(super) noise_bytes: u64,
    pub(super) torn_lines: u64,
}

/// Answers 200 while it works at all: a source without its adapter is no reason to start the
/// daemon again. 503 when a part is stuck.
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
        let watch = PartOut::of(&shared.watching);
        let sources: Vec<SourceOut> =
            shared.roster.all().iter().map(|s| SourceOut::of(s)).collect();
        let messages = MessagesOut::of(&shared.messages);
        let mut states = vec![writer.state, watch.state, messages.state];
        states.extend(sources.iter().map(|s| s.state));
        let worst = ["stuck", "troubled"].into_iter().find(|s| states.contains(s));
        HealthOut {
            status: worst.unwrap_or("ok"),
            version: env!("CARGO_PKG_VERSION"),
            uptime_s: shared.started.elapsed().as_secs(),
            assessed: shared.assessed.load(Relaxed),
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
}

impl SourceOut {
    pub(super) fn of(standing: &Standing) -> Self {
        let tally = &standing.tally;
        let sides = match standing.kind {
            // Requests have no loop of their own that could be stuck.
            "http" => vec![],
            "folder" => vec![&standing.reading],
            _ => vec![&standing.reading, &standing.intake],
        };
        let states: Vec<_> = sides.iter().map(|side| state(side)).collect();
        let worst = ["stuck", "troubled"].into_iter().find(|s| states.contains(s));
        SourceOut {
            kind: standing.kind,
            name: standing.name.to_string(),
            state: worst.unwrap_or("ok"),
            trouble: sides.iter().filter_map(|side| side.trouble()).collect(),
            bytes: tally.bytes.get(),
            records: tally.records.get(),
            files: tally.files.get(),
            refused: tally.refused.get(),
            accepted: tally.accepted.get(),
            duplicate: tally.duplicate.get(),
            tray: tally.tray.get(),
            rejected: tally.rejected.get(),
            openings: tally.openings.get(),
            gaps: tally.gaps.get(),
            dropped_bytes: tally.dropped_bytes.get(),
            noise_bytes: tally.noise_bytes.get(),
            torn_lines: tally.torn_lines.get(),
        }
    }
}

fn state(health: &Health) -> &'static str {
    if health.age() > limits::STUCK {
        "stuck"
    } else if health.trouble().is_some() {
        "troubled"
    } else {
        "ok"
    }
}
