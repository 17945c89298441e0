//! Findings with their life, and the answers of people.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Redirect;
use serde::Deserialize;

use super::asked::{Asked, Filled, Wrongs, apart, on_to, segment, wrongs};
use super::numbers::filters;
use super::{Frame, Mark, Page, Section};
use crate::dossier::{FindingStatement, told};
use crate::model::{AssetId, FindingKind};
use crate::registry;
use crate::store::{Act, When};
use crate::web::Service;
use crate::web::refusal::Refusal;

/// Rows on one page.
const ROWS: usize = 50;

/// What is looked for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    /// In what they stand under.
    q: String,
    /// `standing` (open or acknowledged; also when empty), `all`, or one state.
    state: String,
    page: usize,
    done: String,
}

#[derive(Template)]
#[template(path = "findings.html", config = "src/web/pages/askama.toml")]
pub(super) struct FindingsPage {
    frame: Frame,
    ask: Ask,
    rows: Vec<FindingStatement>,
    found: usize,
    page: usize,
    pages: usize,
    wrong: Wrongs,
    /// What the wrong answer was about: asset and kind.
    about: (String, String),
    remark: String,
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    asked: Asked<Ask>,
) -> Result<Page<FindingsPage>, Refusal> {
    show(&service, asked, Wrongs::default(), Default::default()).await
}

async fn show(
    service: &Arc<Service>,
    asked: Asked<Ask>,
    wrong: Wrongs,
    (about, remark): ((String, String), String),
) -> Result<Page<FindingsPage>, Refusal> {
    let Asked { who, uri, query: ask } = asked;
    let frame = Frame::of(Section::Findings, who, &uri).having_done(&ask.done);
    let mut rows = service.ask(|reader| told(reader, None, When::ALWAYS)).await?;
    rows.retain(|row| ask.wants(row));
    let (found, pages) = (rows.len(), rows.len().div_ceil(ROWS).max(1));
    let page = ask.page.clamp(1, pages);
    let rows = rows.into_iter().skip((page - 1) * ROWS).take(ROWS).collect();
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let shown = FindingsPage { frame, ask, rows, found, page, pages, wrong, about, remark };
    Ok(Page(status, shown))
}

/// Acknowledges a finding, or says that it is done with.
pub(super) async fn answer(
    State(service): State<Arc<Service>>,
    Query(ask): Query<Ask>,
    filled: Filled,
) -> Result<Result<Redirect, Page<FindingsPage>>, Refusal> {
    let Filled { who, uri, fields } = filled;
    let about = (fields.get("asset").to_owned(), fields.get("finding").to_owned());
    let (act, done) = match fields.get("act") {
        "close" => (Act::Close, "closed"),
        _ => (Act::Acknowledge, "acknowledged"),
    };
    let (asset, kind) = (AssetId::new(&about.0)?, FindingKind::parse(&about.1)?);
    let (by, remark) = (who.name.clone(), fields.get("remark").to_owned());
    let given = remark.clone();
    let answered = service
        .change(move |reader, writer, now| {
            apart(registry::answer(reader, writer, (now, &by), (&asset, kind), act, &given))
        })
        .await?;
    match answered {
        Ok(_) => Ok(Ok(on_to(&ask.here(), done))),
        Err(error) => {
            let asked = Asked { who, uri, query: ask };
            Ok(Err(show(&service, asked, wrongs(error)?, (about, remark)).await?))
        }
    }
}

impl Ask {
    fn wants(&self, row: &FindingStatement) -> bool {
        let state = match self.state.as_str() {
            "all" => true,
            "" | "standing" => matches!(row.state, "open" | "acknowledged"),
            state => row.state == state,
        };
        let words = self.q.to_lowercase();
        let text = format!("{} {}", row.asset, row.finding).to_lowercase();
        state && words.split_whitespace().all(|word| text.contains(word))
    }

    fn here(&self) -> String {
        self.at(self.page)
    }

    /// The same question for another page of its answer.
    fn at(&self, page: usize) -> String {
        let mut out = format!("/findings?page={}", page.max(1));
        for (name, value) in [("q", &self.q), ("state", &self.state)] {
            if !value.is_empty() {
                out.push_str(&format!("&{name}={}", segment(value)));
            }
        }
        out
    }
}

impl FindingsPage {
    /// Whether a person can still answer it.
    fn stands(row: &FindingStatement) -> bool {
        row.until.is_none() && matches!(row.state, "open" | "acknowledged")
    }

    fn is_about(&self, row: &FindingStatement) -> bool {
        !self.wrong.is_empty() && self.about.0 == row.asset && self.about.1 == row.finding
    }

    fn of_asset(row: &FindingStatement) -> bool {
        let of_others = [FindingKind::CommonCause.word(), FindingKind::Tester.word()];
        !of_others.contains(&row.finding)
    }
}
