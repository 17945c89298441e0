//! Stations and other sources as they stand now.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;

use super::asked::Asked;
use super::numbers::filters;
use super::{Frame, Page, Section};
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::standing::SourceOut;

/// No options.
#[derive(Deserialize)]
pub(super) struct Ask {}

#[derive(Template)]
#[template(path = "stations.html", config = "src/web/pages/askama.toml")]
pub(super) struct StationsPage {
    frame: Frame,
    sources: Vec<SourceView>,
    /// Trouble of the parts that are not sources.
    troubles: Vec<String>,
    assessed: u64,
    version: &'static str,
    up: String,
}

struct SourceView {
    out: SourceOut,
    /// What is not nothing of what it counted and lost.
    counters: Vec<(&'static str, u64)>,
    losses: Vec<(&'static str, u64)>,
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    asked: Asked<Ask>,
) -> Result<Page<StationsPage>, Refusal> {
    let shared = &service.shared;
    let mut sources: Vec<SourceView> =
        shared.roster.all().iter().map(|s| SourceView::of(SourceOut::of(s))).collect();
    sources.sort_by(|a, b| (a.out.kind, &a.out.name).cmp(&(b.out.kind, &b.out.name)));
    let parts = [("the store's writer", &shared.writing), ("the watch", &shared.watching)];
    let troubles = parts
        .iter()
        .filter_map(|(part, health)| health.trouble().map(|why| format!("{part}: {why}")))
        .collect();
    let page = StationsPage {
        frame: Frame::of(Section::Stations, asked.who, &asked.uri),
        sources,
        troubles,
        assessed: shared.assessed.load(Relaxed),
        version: env!("CARGO_PKG_VERSION"),
        up: lasting(shared.started.elapsed().as_secs()),
    };
    Ok(Page(StatusCode::OK, page))
}

impl SourceView {
    fn of(out: SourceOut) -> SourceView {
        let some = |rows: &[(&'static str, u64)]| {
            rows.iter().copied().filter(|(_, n)| *n > 0).collect::<Vec<_>>()
        };
        let counters = some(&[
            ("readings stored", out.accepted),
            ("there already", out.duplicate),
            ("to the tray", out.tray),
            ("rejected", out.rejected),
            ("files", out.files),
            ("lines", out.records),
            ("bytes", out.bytes),
            ("openings", out.openings),
        ]);
        let losses = some(&[
            ("files refused", out.refused),
            ("gaps", out.gaps),
            ("bytes dropped", out.dropped_bytes),
            ("bytes of noise", out.noise_bytes),
            ("torn lines", out.torn_lines),
        ]);
        SourceView { out, counters, losses }
    }
}

fn lasting(seconds: u64) -> String {
    match seconds {
        s if s < 120 => format!("{s} s"),
        s if s < 7_200 => format!("{} min", s / 60),
        s if s < 172_800 => format!("{} h", s / 3_600),
        s => format!("{} days", s / 86_400),
    }
}
