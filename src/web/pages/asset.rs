//! One asset: its verdict with the evidence, the chart, its visits with every reading and what was
//! done with it, what was done to the asset, and the gear behind the numbers.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Redirect;
use serde::Deserialize;

use super::asked::{Asked, Fields, Filled, Wrongs, apart, on_to, segment, wrongs};
use super::charts::{ChartView, LineView};
use super::numbers::{filters, utc};
use super::visit::VisitView;
use super::{Frame, Mark, Page, Section};
use crate::dossier::words::limit_words;
use crate::dossier::{Dossier, FindingStatement, Quality, RatioStatement, TesterUse, told};
use crate::model::{AssetId, Event, EventKind, Stamp, text};
use crate::registry;
use crate::store::{Change, When};
use crate::trend::words::ASSUMPTIONS;
use crate::web::Service;
use crate::web::refusal::Refusal;

/// Visits that are shown unless all are asked for.
const VISITS: usize = 12;

/// Options of the page.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    /// Up to when it was measured, and up to when it was known.
    as_of: String,
    known_at: String,
    /// `all`: every visit.
    visits: String,
    done: String,
}

#[derive(Template)]
#[template(path = "asset.html", config = "src/web/pages/askama.toml")]
pub(super) struct AssetPage {
    frame: Frame,
    ask: Ask,
    is_past: bool,
    /// What was wrong with the times asked for, or with an event to be added.
    wrong: Wrongs,
    event: Fields,
    view: View,
}

/// A dossier as the page shows it.
struct View {
    id: AssetId,
    kind: String,
    site: String,
    remark: String,
    insulation: &'static str,
    phases: &'static str,
    limits: Vec<String>,
    class: String,
    interval_days: Option<u32>,
    /// How it stands to the fleet, and what was merged into it.
    standing: Vec<String>,
    /// The assets that were merged into it.
    merged: Vec<String>,
    verdict: Mark,
    charts: Vec<ChartView>,
    notices: Vec<String>,
    ratios: Vec<String>,
    findings: Vec<FindingStatement>,
    quality: Vec<Quality>,
    testers: Vec<TesterView>,
    events: Vec<EventView>,
    visits: Vec<VisitView>,
    visits_in_all: usize,
    readings: usize,
    left_out: usize,
}

struct TesterView {
    id: String,
    readings: usize,
    span: String,
    rating: String,
    due: Option<String>,
    proof: String,
    against: Vec<String>,
}

struct EventView {
    at: String,
    date: String,
    kind: String,
    remark: String,
    by: String,
    starts_epoch: bool,
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    asked: Asked<Ask>,
) -> Result<Page<AssetPage>, Refusal> {
    show(&service, &id, asked, Wrongs::default(), Default::default()).await
}

async fn show(
    service: &Arc<Service>,
    id: &str,
    asked: Asked<Ask>,
    mut wrong: Wrongs,
    event: Fields,
) -> Result<Page<AssetPage>, Refusal> {
    let id = AssetId::new(id)?;
    let Asked { who, uri, query: ask } = asked;
    let mut time = |field, written: &str| match written.trim() {
        "" => Stamp::MAX,
        written => Stamp::until(written).unwrap_or_else(|why| {
            wrong.add(field, why);
            Stamp::MAX
        }),
    };
    let when = When { as_of: time("as_of", &ask.as_of), known_at: time("known_at", &ask.known_at) };
    let most = if ask.visits == "all" { usize::MAX } else { VISITS };
    let asset = id.clone();
    let view = service
        .ask_desk(when, move |reader, desk| {
            let dossier = desk.open(&asset)?;
            let testers = desk.testers(&dossier)?;
            let findings = told(reader, Some(&asset), when)?;
            let visits = VisitView::of(&dossier, most);
            Ok(View::of(&dossier, testers, findings, visits))
        })
        .await?;
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let frame = Frame::new(id.to_string(), Some(who), &uri).under(Section::Fleet);
    let frame = frame.having_done(&ask.done);
    let is_past = when != When::ALWAYS;
    Ok(Page(status, AssetPage { frame, ask, is_past, wrong, event, view }))
}

/// Adds something that was done to the asset.
pub(super) async fn add_event(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    filled: Filled,
) -> Result<Result<Redirect, Page<AssetPage>>, Refusal> {
    let (asset, fields) = (AssetId::new(&id)?, filled.fields);
    let mut wrong = Wrongs::default();
    let at = Stamp::parse(&utc(fields.get("at"))).map_err(|why| wrong.add("at", why)).ok();
    let kind = wrong.keep(EventKind::parse(fields.get("kind")));
    let remark = wrong.keep(text("remark", fields.get("remark")));
    if let (Some(at), Some(kind), Some(remark)) = (at, kind, remark) {
        let event = Event { at, asset, kind, remark };
        let change = if fields.get("void").is_empty() {
            Change::Event(event)
        } else {
            Change::EventVoid(event)
        };
        let by = filled.who.name.clone();
        let recorded = service
            .change(move |reader, writer, now| {
                apart(registry::record(reader, writer, now, &by, &[change]))
            })
            .await?;
        match recorded {
            Ok(_) => return Ok(Ok(on_to(&format!("/asset/{}#events", segment(&id)), "event"))),
            Err(error) => wrong = wrongs(error)?,
        }
    }
    let asked = Asked { who: filled.who, uri: filled.uri, query: Ask::default() };
    Ok(Err(show(&service, &id, asked, wrong, fields).await?))
}

impl View {
    fn of(
        dossier: &Dossier,
        testers: Vec<TesterUse>,
        findings: Vec<FindingStatement>,
        (visits, visits_in_all): (Vec<VisitView>, usize),
    ) -> View {
        let asset = &dossier.asset;
        let last_ratio = dossier.ratios.last().map(|r| r.at.utc_day());
        View {
            id: asset.id.clone(),
            kind: asset.kind.to_string(),
            site: asset.site.to_string(),
            remark: asset.remark.to_string(),
            insulation: asset.insulation.word(),
            phases: asset.joining.word(),
            limits: asset.limits().map(|limit| limit_words(&limit)).collect(),
            class: asset.class.to_string(),
            interval_days: asset.interval_days,
            standing: dossier.standing_words(),
            merged: dossier.merged.iter().map(|row| row.value.written.to_string()).collect(),
            verdict: dossier.verdict().into(),
            charts: ChartView::of(dossier),
            notices: dossier.groups.iter().flat_map(crate::dossier::words::notices).collect(),
            ratios: dossier
                .ratios
                .iter()
                .filter(|r| Some(r.at.utc_day()) == last_ratio)
                .map(|r| RatioStatement::of(r).words())
                .collect(),
            findings,
            quality: dossier.quality(),
            testers: testers.into_iter().map(TesterView::of).collect(),
            events: dossier.events.iter().rev().map(EventView::of).collect(),
            visits,
            visits_in_all,
            readings: dossier.entries.len(),
            left_out: dossier.left_out().count(),
        }
    }

    fn lines(&self) -> impl Iterator<Item = &LineView> {
        self.charts.iter().flat_map(|chart| &chart.lines)
    }
}

impl AssetPage {
    /// The same question with every visit.
    fn all_visits(&self) -> String {
        let mut out = format!("/asset/{}?visits=all", segment(self.view.id.as_str()));
        for (name, value) in [("as_of", &self.ask.as_of), ("known_at", &self.ask.known_at)] {
            if !value.is_empty() {
                out.push_str(&format!("&{name}={}", segment(value)));
            }
        }
        out + "#visits"
    }
}

impl TesterView {
    fn of(used: TesterUse) -> TesterView {
        let rating = used.gear.as_ref().map(|g| {
            let volts = g.rated_voltage_v.map(|v| format!(" {v} V")).unwrap_or_default();
            format!("{}{volts}", g.category)
        });
        TesterView {
            id: used.id.to_string(),
            readings: used.readings,
            span: match (used.first.date(), used.last.date()) {
                (first, last) if first == last => first,
                (first, last) => format!("{first} to {last}"),
            },
            rating: rating.unwrap_or_default(),
            due: used.gear.as_ref().and_then(|g| g.due).map(Stamp::date),
            proof: match &used.last_proof {
                Some(p) if p.passed => format!("{} passed on {}", p.kind, p.at.date()),
                Some(p) => format!("{} failed on {}", p.kind, p.at.date()),
                None => String::new(),
            },
            against: used.findings.iter().map(|f| f.reason.to_string()).collect(),
        }
    }
}

impl EventView {
    fn of(row: &crate::store::Recorded<Event>) -> EventView {
        let event = &row.value;
        EventView {
            at: event.at.to_string(),
            date: super::numbers::minute(event.at),
            kind: event.kind.word().to_owned(),
            remark: event.remark.to_string(),
            by: row.mark.by.to_string(),
            starts_epoch: event.kind.starts_epoch(),
        }
    }
}
