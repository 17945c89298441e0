//! `GET /metrics`: what the service counts, as OpenMetrics text.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;

use super::api::aside;
use super::exposition::{Exposition, MEDIA};
use super::refusal::Refusal;
use super::{Service, Shared};
use crate::model::{Finding, FindingKind, FindingState};
use crate::sources::{Count, Standing, Tally};
use crate::store::{Reader, When};

/// Name, help, counter. Sources are labels; assets never are: there may be thousands.
type Row = (&'static str, &'static str, fn(&Tally) -> &Count);

const COUNTERS: &[Row] = &[
    ("bytes", "Bytes read.", |t| &t.bytes),
    ("records", "Lines cut from a stream.", |t| &t.records),
    ("files", "Files taken in.", |t| &t.files),
    ("files_refused", "Files refused as a whole.", |t| &t.refused),
    ("readings_accepted", "Readings stored.", |t| &t.accepted),
    ("readings_duplicate", "Readings that were there already.", |t| &t.duplicate),
    ("readings_tray", "Readings put in the tray.", |t| &t.tray),
    ("records_rejected", "Records that could not be read.", |t| &t.rejected),
    ("openings", "Openings of a connection.", |t| &t.openings),
    ("gaps", "Places where bytes are missing.", |t| &t.gaps),
    ("dropped_bytes", "Bytes dropped because the store did not keep up.", |t| &t.dropped_bytes),
    ("noise_bytes", "Bytes that were noise.", |t| &t.noise_bytes),
    ("torn_lines", "Lines without their beginning or end.", |t| &t.torn_lines),
];

/// What the service counts, as OpenMetrics text.
#[utoipa::path(get, path = "/metrics", tag = "service",
    responses((status = 200, description = "OpenMetrics text 1.0.0.",
        content_type = "application/openmetrics-text; version=1.0.0; charset=utf-8",
        body = String)))]
pub(super) async fn metrics(
    State(service): State<Arc<Service>>,
) -> Result<impl IntoResponse, Refusal> {
    let store = service.shared.store.clone();
    let sizes = aside(move || Ok(store.sizes())).await?;
    // A store that cannot be read is no reason to say nothing of all the rest.
    let findings = service.ask(|reader| reader.findings(None, When::ALWAYS)).await.ok();
    let mut out = Exposition::default();
    let sources = service.shared.roster.all();
    counters(&mut out, &sources);
    delays(&mut out, &sources);
    watch(&mut out, &service.shared, findings.as_deref());
    messages(&mut out, &service.shared);
    out.gauge("store_bytes", "Bytes on the disk.");
    for (part, bytes) in sizes {
        out.level("store_bytes", &[("part", part)], bytes);
    }
    if let Some(bytes) = resident() {
        out.gauge("resident_memory_bytes", "Memory of this process that is in use.");
        out.level("resident_memory_bytes", &[], bytes);
    }
    service.traffic.write(&mut out);
    Ok(([(header::CONTENT_TYPE, MEDIA)], out.finish()))
}

fn counters(out: &mut Exposition, sources: &[Arc<Standing>]) {
    for (name, help, counter) in COUNTERS {
        out.counter(name, help);
        for source in sources {
            let labels = [("kind", source.kind), ("source", source.name.as_str())];
            out.count(name, &labels, counter(&source.tally).get());
        }
    }
}

fn delays(out: &mut Exposition, sources: &[Arc<Standing>]) {
    const NAME: &str = "commit_delay_seconds";
    out.histogram(NAME, "From the arrival of a line to its commit.");
    for source in sources.iter().filter(|source| source.kind == "serial") {
        let labels = [("kind", "serial"), ("source", source.name.as_str())];
        out.delays(NAME, &labels, &source.delays);
    }
}

fn watch(out: &mut Exposition, shared: &Shared, findings: Option<&[Finding]>) {
    out.counter("assessments", "Assets assessed.");
    out.count("assessments", &[], shared.assessed.load(Relaxed));
    out.gauge("assessments_pending", "Assets that wait to be assessed.");
    out.level("assessments_pending", &[], shared.backlog.waiting().0 as u64);
    let Some(findings) = findings else { return };
    out.gauge("findings", "Findings that stand, by kind.");
    for kind in FindingKind::ALL {
        for state in [FindingState::Open, FindingState::Acknowledged] {
            let count = findings.iter().filter(|f| (f.kind, f.state) == (*kind, state)).count();
            let labels = [("kind", kind.word()), ("state", state.word())];
            out.level("findings", &labels, count as u64);
        }
    }
}

/// What goes out to people; channels are told apart in the outbox.
fn messages(out: &mut Exposition, shared: &Shared) {
    let standing = &shared.messages;
    for (name, help, count) in [
        ("messages_sent", "Messages taken by a receiver.", &standing.sent),
        ("messages_failed", "Tries in vain to send a message.", &standing.failed),
        ("messages_dropped", "Messages that were not sent any more.", &standing.dropped),
    ] {
        out.counter(name, help);
        out.count(name, &[], count.get());
    }
    out.gauge("messages_waiting", "Messages waiting to be sent.");
    out.level("messages_waiting", &[], standing.waiting.load(Relaxed));
}

/// Bytes of memory in use, by proc(5); none where the system does not tell.
fn resident() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmRSS:"))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}
