//! The fleet: what needs attention, why and by when, the most urgent first; then all the others.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;

use super::asked::{Asked, segment};
use super::numbers::{bounded, date, filters};
use super::{Frame, Mark, Page, Section};
use crate::dossier::{DossierError, Ranked, Records, Settings, expected_false, ranked};
use crate::model::{Asset, AssetId, Finding, FindingKind, FindingState, Stamp};
use crate::store::sqlite::SqliteReader;
use crate::store::{Reader, When};
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
    let (question, settings) = (ask.clone(), service.shared.settings());
    let fleet = service.ask(move |reader| Ok(read(reader, &question, &settings))).await??;
    let frame = Frame::of(Section::Fleet, who, &uri);
    Ok(Page(StatusCode::OK, FleetPage { fleet, ask, frame }))
}

/// Reads what stands, and assesses nothing anew.
fn read(reader: &SqliteReader, ask: &Ask, settings: &Settings) -> Result<Fleet, DossierError> {
    let findings = reader.findings(None, When::ALWAYS)?;
    // None that is retired, merged into another, or a part to learn on.
    let known = crate::dossier::Fleet::read(reader, When::ALWAYS)?;
    let assets = known.in_service().cloned().collect();
    let mut fleet = Fleet::of(findings, assets, ask);
    // Looked up for those that are shown: for ten thousand it takes longer than the page may.
    let records = Records::new(reader, When::ALWAYS, settings)?;
    for quiet in &mut fleet.rest {
        quiet.tested = records.last_tested(&quiet.id)?.map(Stamp::date);
    }
    Ok(fleet)
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
    /// What needs attention, of this page: an asset, tester or day a row.
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

/// What stands on one asset, tester or day; the most urgent finding first.
struct Row {
    findings: Vec<Part>,
    subject: String,
    of_asset: bool,
    site: String,
    now: String,
    limit: String,
    when: String,
}

/// One finding of a row.
struct Part {
    mark: Mark,
    phase: String,
    why: String,
    since: String,
    acknowledged: bool,
}

/// An asset with no finding.
struct Quiet {
    id: AssetId,
    kind: String,
    site: String,
    limit: String,
    /// The date of its last test.
    tested: Option<String>,
}

/// The findings on one asset, tester or day.
type Standing<'r> = Vec<&'r Ranked>;

fn is_watch(row: &Ranked) -> bool {
    row.finding == FindingKind::Watch.word()
}

/// Findings by what they stand on, in the order of the most urgent of each.
fn by_subject(standing: &[Ranked]) -> Vec<Standing<'_>> {
    let mut places: HashMap<&str, usize> = HashMap::new();
    let mut out: Vec<Standing<'_>> = Vec::new();
    for row in standing {
        let place = *places.entry(&row.asset).or_insert(out.len());
        match out.get_mut(place) {
            Some(others) => others.push(row),
            None => out.push(vec![row]),
        }
    }
    out
}

impl Fleet {
    fn of(findings: Vec<Finding>, assets: Vec<Asset>, ask: &Ask) -> Fleet {
        let standing: Vec<Ranked> = ranked(findings, true);
        let subjects = by_subject(&standing);
        let named: HashSet<&str> = standing.iter().map(|r| r.asset.as_str()).collect();
        let due = || standing.iter().filter(|row| !is_watch(row));
        let on: HashSet<&str> = due().filter(|r| r.of_asset).map(|r| r.asset.as_str()).collect();
        let (findings_due, assets_due, all) = (due().count(), on.len(), assets.len());
        let sites = assets.iter().map(|a| a.site.to_string()).filter(|s| !s.is_empty()).collect();
        let place = |id: &str| assets.binary_search_by(|a| a.id.as_str().cmp(id)).ok();
        let silent = assets.iter().filter(|a| !named.contains(a.id.as_str()));
        let found: Vec<(Option<&Asset>, Standing<'_>)> = subjects
            .into_iter()
            .map(|rows| (place(&rows[0].asset).map(|i| &assets[i]), rows))
            .chain(silent.map(|asset| (Some(asset), vec![])))
            .filter(|(asset, rows)| ask.wants(*asset, rows))
            .collect();
        let pages = found.len().div_ceil(ROWS).max(1);
        let page = ask.page.clamp(1, pages);
        let first = (page - 1) * ROWS;
        let (mut due, mut watch, mut rest, mut shown) = (vec![], vec![], vec![], vec![]);
        for (asset, rows) in found.iter().skip(first).take(ROWS) {
            match (asset, rows.first()) {
                (_, Some(leading)) => {
                    shown.extend(rows.iter().copied());
                    let list = if is_watch(leading) { &mut watch } else { &mut due };
                    list.push(Row::of(rows, *asset));
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

impl Quiet {
    fn of(asset: &Asset) -> Quiet {
        Quiet {
            id: asset.id.clone(),
            kind: asset.kind.to_string(),
            site: asset.site.to_string(),
            limit: asset.limit_ohm.map(|l| format!("{} at 40 °C", ohms(l))).unwrap_or_default(),
            tested: None,
        }
    }
}

impl Ask {
    fn wants(&self, asset: Option<&Asset>, rows: &[&Ranked]) -> bool {
        let shown = match self.show.as_str() {
            "" => true,
            "none" => rows.is_empty(),
            "due" => rows.iter().any(|row| !is_watch(row)),
            kind => rows.iter().any(|row| row.finding == kind),
        };
        let site = self.site.is_empty() || asset.is_some_and(|a| a.site == self.site);
        shown && site && (self.q.trim().is_empty() || self.finds(asset, rows))
    }

    fn finds(&self, asset: Option<&Asset>, rows: &[&Ranked]) -> bool {
        let words = self.q.to_lowercase();
        let text = match (asset, rows.first()) {
            (Some(a), _) => format!("{}\n{}\n{}\n{}", a.id, a.kind, a.site, a.remark),
            (None, row) => row.map(|row| row.asset.clone()).unwrap_or_default(),
        };
        let text = text.to_lowercase();
        words.split_whitespace().all(|word| text.contains(word))
    }

    /// The same question for another page of its answer.
    fn at(&self, page: usize) -> String {
        let pairs = [("q", &self.q), ("show", &self.show), ("site", &self.site)];
        let mut out = format!("/?page={page}");
        for (name, value) in pairs.iter().filter(|(_, value)| !value.is_empty()) {
            out.push_str(&format!("&{name}={}", segment(value)));
        }
        out
    }
}

impl Row {
    fn of(rows: &[&Ranked], asset: Option<&Asset>) -> Row {
        let leading = rows[0];
        let e = &leading.evidence;
        let now = match (e.r40_ohm, e.last_ohm) {
            (Some(r40), _) => ohms(r40),
            (None, Some(last)) => format!("{} as read", bounded(&e.last_bound, last)),
            (None, None) => String::new(),
        };
        let when = match (&e.reaches_limit_lower, &e.reaches_limit_upper) {
            _ if leading.finding == FindingKind::BelowLimit.word() => "is below it now".to_owned(),
            (Some(a), Some(b)) => format!("{} to {}", date(a), date(b)),
            (Some(a), None) => format!("from {}, end open", date(a)),
            (None, _) => String::new(),
        };
        let part = |row: &&Ranked| Part {
            mark: Mark::named(row.finding),
            phase: row.phase.clone(),
            why: row.reason.clone(),
            since: date(&row.since).to_owned(),
            acknowledged: row.state == FindingState::Acknowledged.word(),
        };
        Row {
            findings: rows.iter().map(part).collect(),
            subject: leading.asset.clone(),
            of_asset: leading.of_asset,
            site: asset.map(|a| a.site.to_string()).unwrap_or_default(),
            now,
            limit: e.limit_ohm.map(ohms).unwrap_or_default(),
            when,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dossier::Evidence;
    use crate::model::Phase;

    fn asset(id: &str, site: &str) -> Asset {
        Asset { site: site.into(), ..Asset::first_met(AssetId::new(id).unwrap()) }
    }

    fn finding(asset: &str, kind: FindingKind, since: i64) -> Finding {
        let evidence = Evidence { probability: Some(0.9), ..Evidence::default() };
        Finding {
            asset: AssetId::new(asset).unwrap(),
            kind,
            phase: Phase::new("V").ok(),
            since: Stamp::from_micros(since),
            until: None,
            state: FindingState::Open,
            reason: "why".into(),
            evidence: serde_json::to_string(&evidence).unwrap(),
        }
    }

    fn ask(q: &str, show: &str, site: &str, page: usize) -> Ask {
        Ask { q: q.into(), show: show.into(), site: site.into(), page }
    }

    fn shown(ask: &Ask) -> String {
        let assets = (0..120).map(|n| asset(&format!("YT-{n:03}"), if n < 60 { "N" } else { "S" }));
        let findings = vec![
            finding("YT-007", FindingKind::Declining, 2),
            finding("YT-007", FindingKind::Imbalance, 3),
            finding("YT-070", FindingKind::BelowLimit, 5),
            finding("YT-090", FindingKind::Watch, 1),
            finding("tester HT-6", FindingKind::Tester, 1),
        ];
        let fleet = Fleet::of(findings, assets.collect(), ask);
        let names = |rows: &[Row]| {
            let rows = rows.iter().map(|r| format!("{}*{}", r.subject, r.findings.len()));
            rows.collect::<Vec<_>>().join(" ")
        };
        let Fleet { rest, found, pages, expected_false, .. } = &fleet;
        format!(
            "{} | {} | {} quiet, {found} in {pages}, {expected_false:.1} false",
            names(&fleet.due),
            names(&fleet.watch),
            rest.len()
        )
    }

    #[test]
    fn the_most_urgent_stands_first_and_each_asset_once() {
        assert_eq!(
            shown(&ask("", "", "", 0)),
            "YT-070*1 YT-007*2 tester HT-6*1 | YT-090*1 | 46 quiet, 121 in 3, 0.5 false"
        );
        assert_eq!(shown(&ask("", "", "", 3)), " |  | 21 quiet, 121 in 3, 0.0 false");
        assert_eq!(shown(&ask("", "", "", 99)), shown(&ask("", "", "", 3)));
    }

    #[test]
    fn it_is_searched_and_filtered() {
        let table = [
            (ask("yt-007", "", "", 0), "YT-007*2 |  | 0 quiet, 1 in 1, 0.2 false"),
            (ask("", "imbalance", "", 0), "YT-007*2 |  | 0 quiet, 1 in 1, 0.2 false"),
            (ask("", "due", "S", 0), "YT-070*1 |  | 0 quiet, 1 in 1, 0.1 false"),
            (ask("", "none", "S", 0), " |  | 50 quiet, 58 in 2, 0.0 false"),
            (ask("machine s", "watch", "", 0), " | YT-090*1 | 0 quiet, 1 in 1, 0.1 false"),
            (ask("HT-6", "", "", 0), "tester HT-6*1 |  | 0 quiet, 1 in 1, 0.1 false"),
            (ask("elsewhere", "", "", 0), " |  | 0 quiet, 0 in 1, 0.0 false"),
        ];
        for (ask, expected) in table {
            assert_eq!(shown(&ask), expected, "{ask:?}");
        }
    }

    #[test]
    fn its_pages_keep_the_question() {
        assert_eq!(ask("a&b", "due", "", 1).at(2), "/?page=2&q=a%26b&show=due");
    }
}
