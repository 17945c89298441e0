//! The fleet: what needs attention, why and by when, the most urgent first; then all the others.

use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;

use super::asked::Asked;
use super::numbers::{bounded, date, filters};
use super::{Frame, Mark, Page, Section};
use crate::dossier::{Ranked, expected_false, ranked};
use crate::model::{Asset, Finding, FindingKind};
use crate::store::{Reader, Result as StoreResult, When};
use crate::trend::words::ohms;
use crate::web::Service;
use crate::web::refusal::Refusal;

/// Rows on one page: what two screens show.
const ROWS: usize = 50;

/// What is looked for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    /// In ids, kinds, sites and remarks.
    q: String,
    /// A kind of finding, `due` (whatever needs attention) or `none` (no finding).
    show: String,
    site: String,
    page: usize,
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    asked: Asked<Ask>,
) -> Result<Page<FleetPage>, Refusal> {
    let Asked { who, uri, query: ask } = asked;
    let (findings, assets) = service
        .ask(|reader| -> StoreResult<_> {
            Ok((reader.findings(None, When::ALWAYS)?, reader.assets(When::ALWAYS)?))
        })
        .await?;
    let frame = Frame::of(Section::Fleet, who, &uri);
    Ok(Page(StatusCode::OK, FleetPage { fleet: Fleet::of(findings, assets, &ask), ask, frame }))
}

#[derive(Template)]
#[template(path = "fleet.html", config = "src/web/pages/askama.toml")]
pub(super) struct FleetPage {
    frame: Frame,
    ask: Ask,
    fleet: Fleet,
}

/// One page of the fleet.
struct Fleet {
    /// Findings that need attention, in the whole fleet.
    findings_due: usize,
    /// Assets that they are on.
    assets_due: usize,
    /// Assets in the fleet.
    assets: usize,
    sites: BTreeSet<String>,
    /// What needs attention, of this page.
    due: Vec<Row>,
    /// What is only to be watched.
    watch: Vec<Row>,
    /// Assets with no finding.
    rest: Vec<Quiet>,
    /// How many of the findings shown are to be expected to be false.
    expected_false: f64,
    /// The rows shown, counted from 1, and how many there are.
    shown: (usize, usize),
    found: usize,
    page: usize,
    pages: usize,
}

/// One finding.
struct Row {
    mark: Mark,
    asset: String,
    of_asset: bool,
    phase: String,
    site: String,
    why: String,
    now: String,
    limit: String,
    when: String,
    since: String,
    state: &'static str,
}

/// An asset with no finding.
struct Quiet {
    id: String,
    kind: String,
    site: String,
    limit: String,
    remark: String,
}

impl Quiet {
    fn of(asset: &Asset) -> Quiet {
        Quiet {
            id: asset.id.to_string(),
            kind: asset.kind.to_string(),
            site: asset.site.to_string(),
            limit: asset.limit_ohm.map(|l| format!("{} at 40 °C", ohms(l))).unwrap_or_default(),
            remark: asset.remark.to_string(),
        }
    }
}

impl Fleet {
    fn of(findings: Vec<Finding>, assets: Vec<Asset>, ask: &Ask) -> Fleet {
        let standing: Vec<Ranked> = ranked(findings, true);
        let is_watch = |row: &Ranked| row.finding == FindingKind::Watch.word();
        let due_rows = || standing.iter().filter(|row| !is_watch(row));
        let on: BTreeSet<&str> =
            due_rows().filter(|r| r.of_asset).map(|r| r.asset.as_str()).collect();
        let named: BTreeSet<&str> = standing.iter().map(|r| r.asset.as_str()).collect();
        let (findings_due, assets_due, all) = (due_rows().count(), on.len(), assets.len());
        let sites = assets.iter().map(|a| a.site.to_string()).filter(|s| !s.is_empty()).collect();
        let place = |id: &str| assets.binary_search_by(|a| a.id.as_str().cmp(id)).ok();
        let found: Vec<(Option<&Asset>, Option<&Ranked>)> = standing
            .iter()
            .map(|row| (place(&row.asset).map(|i| &assets[i]), Some(row)))
            .chain(
                assets
                    .iter()
                    .filter(|a| !named.contains(a.id.as_str()))
                    .map(|asset| (Some(asset), None)),
            )
            .filter(|(asset, row)| ask.wants(*asset, *row))
            .collect();
        let pages = found.len().div_ceil(ROWS).max(1);
        let page = ask.page.clamp(1, pages);
        let first = (page - 1) * ROWS;
        let on_page = found.iter().skip(first).take(ROWS);
        let (mut due, mut watch, mut rest, mut shown) = (vec![], vec![], vec![], vec![]);
        for (asset, row) in on_page {
            match (asset, row) {
                (asset, Some(row)) => {
                    shown.push(*row);
                    let list = if is_watch(row) { &mut watch } else { &mut due };
                    list.push(Row::of(row, *asset));
                }
                (Some(asset), None) => rest.push(Quiet::of(asset)),
                (None, None) => {}
            }
        }
        let last = first + due.len() + watch.len() + rest.len();
        Fleet {
            findings_due,
            assets_due,
            assets: all,
            sites,
            expected_false: expected_false(shown),
            due,
            watch,
            rest,
            shown: (if last > first { first + 1 } else { 0 }, last),
            found: found.len(),
            page,
            pages,
        }
    }
}

impl Ask {
    fn wants(&self, asset: Option<&Asset>, row: Option<&Ranked>) -> bool {
        let shown = match (self.show.as_str(), row) {
            ("", _) => true,
            ("none", row) => row.is_none(),
            ("due", Some(row)) => row.finding != FindingKind::Watch.word(),
            (kind, Some(row)) => row.finding == kind,
            (_, None) => false,
        };
        let site = self.site.is_empty() || asset.is_some_and(|a| a.site == self.site);
        shown && site && (self.q.trim().is_empty() || self.finds(asset, row))
    }

    fn finds(&self, asset: Option<&Asset>, row: Option<&Ranked>) -> bool {
        let words = self.q.to_lowercase();
        let mut text = row.map(|r| r.asset.to_lowercase()).unwrap_or_default();
        if let Some(a) = asset {
            text = format!("{}\n{}\n{}\n{}", a.id, a.kind, a.site, a.remark).to_lowercase();
        }
        words.split_whitespace().all(|word| text.contains(word))
    }

    /// The same question for another page of its answer.
    fn at(&self, page: usize) -> String {
        let pairs = [("q", &self.q), ("show", &self.show), ("site", &self.site)];
        let mut out = format!("/?page={page}");
        for (name, value) in pairs.iter().filter(|(_, value)| !value.is_empty()) {
            let value = askama::filters::urlencode_strict(value.as_str())
                .map(|v| v.to_string())
                .unwrap_or_default();
            out.push_str(&format!("&{name}={value}"));
        }
        out
    }
}

impl Row {
    fn of(row: &Ranked, asset: Option<&Asset>) -> Row {
        let e = &row.evidence;
        let now = match (e.r40_ohm, e.last_ohm) {
            (Some(r40), _) => ohms(r40),
            (None, Some(last)) => format!("{} as read", bounded(&e.last_bound, last)),
            (None, None) => String::new(),
        };
        let when = match (&e.reaches_limit_lower, &e.reaches_limit_upper) {
            _ if row.finding == FindingKind::BelowLimit.word() => "now".to_owned(),
            (Some(a), Some(b)) => format!("{} to {}", date(a), date(b)),
            (Some(a), None) => format!("from {}, end open", date(a)),
            (None, _) => String::new(),
        };
        Row {
            mark: Mark::named(row.finding),
            asset: row.asset.clone(),
            of_asset: row.of_asset,
            phase: row.phase.clone(),
            site: asset.map(|a| a.site.to_string()).unwrap_or_default(),
            why: row.reason.clone(),
            now,
            limit: e.limit_ohm.map(ohms).unwrap_or_default(),
            when,
            since: date(&row.since).to_owned(),
            state: row.state,
        }
    }
}
