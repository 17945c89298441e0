//! Who changed what, when, and what it was before and after.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::State;
use serde::Serialize;
use utoipa::ToSchema;

use super::asked::Asked;
use super::paging::{List, Page, list, newest};
use crate::model::Stamp;
use crate::registry::{Audited, audit as audited};
use crate::web::Service;
use crate::web::refusal::Refusal;

list! {
    /// Options of `GET /v1/audit`. What is audited has no measuring time: `as_of` changes nothing.
    AuditQuery {
        /// Only what was recorded from this time on (RFC 3339, or a date).
        #[param(value_type = Option<String>, example = "2026-03-01")]
        since: Option<Since>,
    }
}

/// A time from which something is asked.
#[derive(Clone, Copy, Debug)]
pub(super) struct Since(Stamp);

impl<'de> serde::Deserialize<'de> for Since {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Stamp::parse(&text).map(Since).map_err(serde::de::Error::custom)
    }
}

/// One thing that somebody did.
#[derive(Serialize, ToSchema)]
pub(super) struct AuditOut {
    /// When it was recorded.
    at: String,
    /// Who did it; `service` for what the service itself noted.
    #[schema(example = "R. Hale")]
    who: String,
    /// What was changed, or what happened.
    #[schema(example = "asset")]
    what: &'static str,
    /// Which one.
    #[schema(example = "YT-014/drive")]
    subject: String,
    /// What was different before.
    before: BTreeMap<&'static str, String>,
    /// What is different after.
    after: BTreeMap<&'static str, String>,
}

/// Everything that people did, and who came or was refused; the newest first.
#[utoipa::path(get, path = "/v1/audit", tag = "accounts", params(AuditQuery),
    responses((status = 200, description = "What people did.", body = Vec<AuditOut>)))]
pub(super) async fn audit(
    State(service): State<Arc<Service>>,
    asked: Asked<AuditQuery>,
) -> Result<Page<AuditOut>, Refusal> {
    let since = asked.query.since.map_or(Stamp::MIN, |since| since.0);
    let known_at = asked.query.when().known_at;
    let rows = service.ask(move |reader| audited(reader, since, known_at)).await?;
    let page = Page::of(&asked.query, &asked.uri, rows, |row: &Audited| newest(row.at));
    Ok(page.map(|row| AuditOut {
        at: row.at.to_string(),
        who: row.who.into(),
        what: row.what,
        subject: row.subject,
        before: row.before.into_iter().collect(),
        after: row.after.into_iter().collect(),
    }))
}
