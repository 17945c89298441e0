//! `GET /metrics`: counters of every source as OpenMetrics text (the standard's version 1.0.0).

use std::fmt::Write;
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;

use super::{Service, Shared};
use crate::sources::{Count, Delays, Standing, Tally};

/// The media type of the standard.
const MEDIA: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

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

pub(super) async fn metrics(State(service): State<Arc<Service>>) -> impl IntoResponse {
    ([(header::CONTENT_TYPE, MEDIA)], text(&service.shared))
}

fn text(shared: &Shared) -> String {
    let mut out = String::new();
    let sources = shared.roster.all();
    for (name, help, counter) in COUNTERS {
        head(&mut out, name, help);
        for source in &sources {
            let (kind, label, value) =
                (source.kind, escaped(&source.name), counter(&source.tally).get());
            line(
                &mut out,
                format_args!("ohmward_{name}_total{{kind=\"{kind}\",source=\"{label}\"}} {value}"),
            );
        }
    }
    delays(&mut out, &sources);
    head(&mut out, "assessments", "Assets assessed.");
    let assessed = shared.assessed.load(Relaxed);
    line(&mut out, format_args!("ohmward_assessments_total {assessed}"));
    messages(&mut out, shared);
    out.push_str("# EOF\n");
    out
}

/// What goes out to people; channels are told apart in the outbox.
fn messages(out: &mut String, shared: &Shared) {
    let standing = &shared.messages;
    for (name, help, count) in [
        ("messages_sent", "Messages taken by a receiver.", &standing.sent),
        ("messages_failed", "Tries in vain to send a message.", &standing.failed),
        ("messages_dropped", "Messages that were not sent any more.", &standing.dropped),
    ] {
        head(out, name, help);
        line(out, format_args!("ohmward_{name}_total {}", count.get()));
    }
    const WAITING: &str = "ohmward_messages_waiting";
    let waiting = standing.waiting.load(Relaxed);
    line(
        out,
        format_args!("# TYPE {WAITING} gauge\n# HELP {WAITING} Messages waiting to be sent."),
    );
    line(out, format_args!("{WAITING} {waiting}"));
}

/// From the arrival of a line to its commit.
fn delays(out: &mut String, sources: &[Arc<Standing>]) {
    const NAME: &str = "ohmward_commit_delay_seconds";
    line(out, format_args!("# TYPE {NAME} histogram\n# UNIT {NAME} seconds"));
    line(out, format_args!("# HELP {NAME} From the arrival of a line to its commit."));
    for source in sources.iter().filter(|source| source.kind == "serial") {
        let labels = format!("kind=\"serial\",source=\"{}\"", escaped(&source.name));
        let upto = Delays::UPTO_MS.iter().map(|ms| (ms / 1e3).to_string());
        let mut total = 0;
        for (upto, count) in upto.chain(["+Inf".to_owned()]).zip(source.delays.counts()) {
            total += count;
            line(out, format_args!("{NAME}_bucket{{{labels},le=\"{upto}\"}} {total}"));
        }
        line(out, format_args!("{NAME}_count{{{labels}}} {total}"));
    }
}

fn head(out: &mut String, name: &str, help: &str) {
    line(out, format_args!("# TYPE ohmward_{name} counter\n# HELP ohmward_{name} {help}"));
}

fn line(out: &mut String, text: std::fmt::Arguments<'_>) {
    // Writing to a text cannot fail.
    writeln!(out, "{text}").unwrap_or_default();
}

/// A label's value: backslash, quote and line end are escaped.
fn escaped(value: &str) -> String {
    value.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}
