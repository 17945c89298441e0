//! What is declining, every finding with its life, and the answers of people.

use std::sync::Arc;

use axum::Extension;
use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;

use super::asked::{Asked, Sent};
use super::asking::aside;
use super::paging::{List, Page, list, newest};
use crate::dossier::{FindingStatement, Ranked, findings_at, ranked, told};
use crate::model::{AssetId, Finding, FindingKind, FindingState, Stamp};
use crate::registry;
use crate::store::{Act, Reader, When};
use crate::watch::{Onlooker, Seen};
use crate::web::Service;
use crate::web::refusal::Refusal;
use crate::web::who::Who;

list! {
    /// Options of `GET /v1/declining`.
    DecliningQuery {
        /// Also what is only to be watched.
        #[serde(default)]
        #[param(value_type = Option<bool>)]
        all: bool,
    }
}

list! {
    /// Options of `GET /v1/findings`.
    FindingsQuery {
        /// Only those of this asset.
        #[param(example = "YT-014/drive")]
        asset: Option<String>,
        /// Only those of this kind.
        #[param(example = "declining")]
        finding: Option<String>,
        /// Only those that stand so: `open`, `acknowledged`, `closed`, `withdrawn`.
        #[param(example = "open")]
        state: Option<String>,
    }
}

/// What needs attention, most urgent first: one row per asset and finding that is due.
///
/// With `as_of` or `known_at` every asset is assessed anew from what was there.
#[utoipa::path(get, path = "/v1/declining", tag = "questions", params(DecliningQuery),
    responses((status = 200, description = "The short list; empty when all is well.",
        body = Vec<Ranked>)))]
pub(super) async fn declining(
    State(service): State<Arc<Service>>,
    asked: Asked<DecliningQuery>,
) -> Result<Page<Ranked>, Refusal> {
    let when = asked.query.when();
    let findings = if when == When::ALWAYS {
        service.ask(move |reader| reader.findings(None, when)).await?
    } else {
        service.fleet_at(when).await?
    };
    let rows = ranked(findings, asked.query.all);
    Ok(Page::of(&asked.query, &asked.uri, rows, |row| row.urgency.clone()))
}

/// Every finding with its life, newest first.
#[utoipa::path(get, path = "/v1/findings", tag = "questions", params(FindingsQuery),
    responses((status = 200, description = "Findings.", body = Vec<FindingStatement>)))]
pub(super) async fn findings(
    State(service): State<Arc<Service>>,
    asked: Asked<FindingsQuery>,
) -> Result<Page<FindingStatement>, Refusal> {
    let query = &asked.query;
    let asset = query.asset.as_deref().map(AssetId::new).transpose()?;
    let kind = query.finding.as_deref().map(FindingKind::parse).transpose()?;
    let state = query.state.as_deref().map(FindingState::parse).transpose()?;
    let when = query.when();
    let mut rows = service.ask(move |reader| told(reader, asset.as_ref(), when)).await?;
    rows.retain(|row| {
        kind.is_none_or(|kind| kind.word() == row.finding)
            && state.is_none_or(|state| state.word() == row.state)
    });
    Ok(Page::of(query, &asked.uri, rows, key))
}

fn key(row: &FindingStatement) -> String {
    let since = Stamp::parse(&row.since).unwrap_or(Stamp::MIN);
    format!("{} {} {} {}", newest(since), row.asset, row.finding, row.phase)
}

/// An answer to a finding.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct AnswerIn {
    /// What was seen or done; not empty.
    #[schema(example = "booked for the dock in March", min_length = 1)]
    remark: String,
}

/// Says that somebody has seen a finding and answers for it.
#[utoipa::path(post, path = "/v1/findings/{asset}/{finding}/acknowledge", tag = "findings",
    params(
        ("asset" = String, Path, description = "What it stands under, as one segment.",
            example = "YT-014/drive"),
        ("finding" = String, Path, description = "Its kind.", example = "declining"),
    ),
    request_body = AnswerIn,
    responses((status = 200, description = "The finding as it stands now.",
        body = FindingStatement)))]
pub(super) async fn acknowledge(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Path((asset, kind)): Path<(String, String)>,
    Sent(answer): Sent<AnswerIn>,
) -> Result<Json<FindingStatement>, Refusal> {
    let found = service.answer(who, (&asset, &kind), Act::Acknowledge, answer.remark).await?;
    Ok(Json(found))
}

/// Says that a finding is done with.
#[utoipa::path(post, path = "/v1/findings/{asset}/{finding}/close", tag = "findings",
    params(
        ("asset" = String, Path, description = "What it stands under, as one segment.",
            example = "YT-014/drive"),
        ("finding" = String, Path, description = "Its kind.", example = "declining"),
    ),
    request_body = AnswerIn,
    responses((status = 200, description = "The finding as it stands now.",
        body = FindingStatement)))]
pub(super) async fn close(
    State(service): State<Arc<Service>>,
    Extension(who): Extension<Who>,
    Path((asset, kind)): Path<(String, String)>,
    Sent(answer): Sent<AnswerIn>,
) -> Result<Json<FindingStatement>, Refusal> {
    let found = service.answer(who, (&asset, &kind), Act::Close, answer.remark).await?;
    Ok(Json(found))
}

impl Service {
    /// Answers the finding of that kind that stands on an asset; returns it as it stands then.
    pub(in crate::web) async fn answer(
        self: &Arc<Self>,
        who: Who,
        (asset, kind): (&str, &str),
        act: Act,
        remark: String,
    ) -> Result<FindingStatement, Refusal> {
        let (asset, kind) = (AssetId::new(asset)?, FindingKind::parse(kind)?);
        let (subject, news) = (asset.clone(), Arc::clone(&self.shared.news));
        let since = self
            .change(move |reader, writer, now| {
                let by = (now, who.name.as_str());
                let since = registry::answer(reader, writer, by, (&subject, kind), act, &remark)?;
                // An answer changes no assessment, so nobody else would tell it.
                news.settled(&Seen::subject(&subject));
                Ok::<_, registry::HandError>(since)
            })
            .await?;
        let all = self.ask(move |reader| told(reader, Some(&asset), When::ALWAYS)).await?;
        let since = since.to_string();
        // It may be assessed anew in this very moment.
        let gone = || Refusal::new(StatusCode::NOT_FOUND, "recorded; the finding moved meanwhile");
        let mut same = all.into_iter().filter(|f| f.finding == kind.word() && f.since == since);
        same.next().ok_or_else(gone)
    }

    /// The findings of the whole fleet as they would have been; one such question at a time.
    pub(in crate::web) async fn fleet_at(
        self: &Arc<Self>,
        when: When,
    ) -> Result<Vec<Finding>, Refusal> {
        let turn = Arc::clone(&self.fleet_questions).try_acquire_owned().map_err(|_| {
            Refusal::busy(5, "another question about the past of the fleet is being worked on")
        })?;
        let (service, settings) = (Arc::clone(self), self.shared.settings());
        aside(move || {
            let reader = service.shared.store.reader()?;
            let found = findings_at(&reader, when, &settings, &|_, _| true)?;
            drop(turn);
            Ok(found)
        })
        .await
    }
}
