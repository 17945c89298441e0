//! The report of the fleet: what needs attention, what was not tested in time, how it went by month.
//!
//! It rests on stored findings: nothing is assessed again unless another time is asked for.

mod attention;
mod coverage;
mod history;

use std::collections::{BTreeSet, HashMap};

use super::about::About;
use super::document::{Block, Data, Report, Section};
use crate::dossier::{DossierError, Fleet, Ranked, Settings, expected_false, findings_at, ranked};
use crate::model::{Asset, AssetId, Finding, FindingKind, Gear, Stamp, Verdict};
use crate::store::{Reader, Recorded, When};

/// Days within which an asset is to be tested unless somebody says otherwise. The project's own
/// choice: six weeks, since workshops test every few weeks; no published source.
pub const TESTED_WITHIN_DAYS: f64 = 42.0;

/// What the report is made of.
pub(super) struct Parts {
    /// Those in service: retired, merged and training ones are no part of the fleet.
    pub(super) assets: Vec<Asset>,
    /// How many others there are.
    pub(super) others: usize,
    pub(super) last: HashMap<AssetId, Stamp>,
    /// Due findings about assets, the most urgent first, what is only to be watched last.
    pub(super) due: Vec<Ranked>,
    /// Due findings about testers, stations and days.
    pub(super) shared: Vec<Ranked>,
    /// All findings that were ever made and not withdrawn.
    pub(super) findings: Vec<Finding>,
    pub(super) gear: Vec<Recorded<Gear>>,
    pub(super) waiting: usize,
    pub(super) within_days: f64,
}

/// The report of the whole fleet. `within_days` is how often each asset is to be tested; `progress`
/// is told how many assets are done when another time makes it necessary to assess them again.
pub fn fleet<R: Reader + ?Sized>(
    reader: &R,
    about: &About<'_>,
    within_days: f64,
    progress: &dyn Fn(usize, usize),
) -> Result<Report, DossierError> {
    let when = about.when();
    let findings = findings(reader, about, progress)?;
    let fleet = Fleet::read(reader, when)?;
    let assets: Vec<Asset> = fleet.in_service().cloned().collect();
    let mut last: HashMap<AssetId, Stamp> = HashMap::new();
    for (asset, at) in reader.last_taken(when)? {
        let newest = last.entry(fleet.survivor(&asset).clone()).or_insert(at);
        *newest = at.max(*newest);
    }
    // What was not tested in time stands under coverage.
    let stated = findings.iter().filter(|f| f.kind != FindingKind::Overdue).cloned();
    let due = ranked(stated.collect(), true);
    let (due, shared): (Vec<_>, Vec<_>) = due.into_iter().partition(|row| row.of_asset);
    let parts = Parts {
        others: fleet.assets.len() - assets.len(),
        assets,
        last,
        due,
        shared,
        findings,
        gear: reader.gear(when)?,
        waiting: reader.pending()?.len(),
        within_days,
    };
    let small = attention::small_charts(reader, about, &parts)?;
    Ok(written(&parts, small, about))
}

/// The stored findings where they answer for the asked-for time, else those of an assessment anew.
fn findings<R: Reader + ?Sized>(
    reader: &R,
    about: &About<'_>,
    progress: &dyn Fn(usize, usize),
) -> Result<Vec<Finding>, DossierError> {
    if about.known_at == Stamp::MAX && newest(reader)? <= about.as_of {
        return Ok(reader.findings(None, When::ALWAYS)?);
    }
    let settings: &Settings = about.settings;
    findings_at(reader, about.when(), settings, &|done, of| {
        progress(done, of);
        true
    })
}

/// The last instant of anything that an assessment looks at.
fn newest<R: Reader + ?Sized>(reader: &R) -> Result<Stamp, DossierError> {
    let readings = reader.last_taken(When::ALWAYS)?.into_iter().map(|(_, at)| at).max();
    let events = reader.events(None, When::ALWAYS)?.into_iter().map(|e| e.value.at).max();
    let proofs = reader.proofs(None, When::ALWAYS)?.into_iter().map(|p| p.value.at).max();
    Ok(readings.max(events).max(proofs).unwrap_or(Stamp::MIN))
}

fn written(parts: &Parts, small: attention::Small, about: &About<'_>) -> Report {
    let mut sections = vec![glance(parts, about)];
    sections.extend(attention::sections(parts, small));
    sections.push(coverage::coverage(parts, about));
    sections.extend(coverage::gear(parts, about));
    sections.push(history::by_month(parts, about));
    sections.push(method(about));
    sections.push(about.assumptions());
    sections.push(about.cautions());
    Report {
        title: "Insulation report: the fleet".into(),
        subtitle: about.subtitle(),
        as_of: about.as_of,
        foot: about.foot("the fleet"),
        sections,
        data: data(parts, about),
    }
}

/// How many due findings are of a kind.
fn count(rows: &[Ranked], kind: FindingKind) -> usize {
    rows.iter().filter(|row| row.finding == kind.word()).count()
}

fn glance(parts: &Parts, about: &About<'_>) -> Section {
    let below = count(&parts.due, FindingKind::BelowLimit);
    let declining = count(&parts.due, FindingKind::Declining);
    // An asset below its limit usually declines as well: it is told once.
    let assets_of = |kind: FindingKind| -> BTreeSet<&str> {
        let of = parts.due.iter().filter(|row| row.finding == kind.word());
        of.map(|row| row.asset.as_str()).collect()
    };
    let low = assets_of(FindingKind::BelowLimit);
    let falling = assets_of(FindingKind::Declining).difference(&low).count();
    let watch = count(&parts.due, FindingKind::Watch);
    let urgent = parts.due.len() - watch;
    let plural =
        |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    let (verdict, words) = match (low.len(), falling, urgent) {
        (0, 0, 0) if parts.last.is_empty() => {
            (Verdict::TooFew, "nothing was ever tested, so nothing can be said".to_owned())
        }
        (0, 0, 0) => (Verdict::Steady, "no finding asks for anybody".to_owned()),
        (0, 0, n) => {
            (Verdict::Watch, plural(n, "finding asks for somebody", "findings ask for somebody"))
        }
        (0, d, _) => (Verdict::Declining, plural(d, "asset declines", "assets decline")),
        (b, d, _) => (
            Verdict::BelowLimit,
            format!(
                "{} below the limit, {}",
                plural(b, "asset is", "assets are"),
                plural(d, "more declines", "more decline")
            ),
        ),
    };
    let tested = parts.assets.iter().filter(|a| parts.last.contains_key(&a.id)).count();
    let in_time = parts.assets.iter().filter(|a| coverage::in_time(parts, about, a)).count();
    let expected =
        expected_false(parts.due.iter().filter(|r| r.finding != FindingKind::Watch.word()));
    let facts = [
        (
            "assets",
            format!(
                "{} in service, {tested} of them tested at least once; {} retired, merged or for \
                 training",
                parts.assets.len(),
                parts.others
            ),
        ),
        (
            "tested in time",
            format!("{in_time} of {}, by the intervals under “Coverage”", parts.assets.len()),
        ),
        (
            "findings that ask for somebody",
            format!(
                "{urgent}: {below} below limit, {declining} declining, {} step, {} imbalance",
                count(&parts.due, FindingKind::Step),
                count(&parts.due, FindingKind::Imbalance)
            ),
        ),
        (
            "expected to be false",
            format!("about {expected:.1} of these {urgent}, by the model's own account"),
        ),
        ("tests to be repeated", watch.to_string()),
        ("about testers, stations or days", parts.shared.len().to_string()),
    ];
    let facts = facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
    let mut blocks = vec![Block::Verdict(verdict, format!("{words}.")), Block::Facts(facts)];
    if parts.waiting > 0 {
        blocks.push(Block::Text(format!(
            "{} assets changed and wait to be assessed: what this says of them is older.",
            parts.waiting
        )));
    }
    Section::new("At a glance", blocks)
}

fn method(about: &About<'_>) -> Section {
    let mut facts = vec![
        ("program".to_owned(), format!("ohmward {}", env!("CARGO_PKG_VERSION"))),
        ("installation".to_owned(), about.origin.clone()),
    ];
    facts.extend(about.settings());
    facts.push(("this report again".into(), format!("ohmward report {}", about.options())));
    facts.push(("the evidence for one asset".into(), "ohmward report ASSET".into()));
    let words = "Every finding follows from the readings of one asset by the same method, which the \
                 report of an asset describes step by step; more series and more assets make an \
                 alarm harder to raise, so that looking often at many does not raise false ones.";
    Section::new("Method and settings", vec![Block::Text(words.into()), Block::Facts(facts)])
}

/// One row for each due finding, then one for each asset without any.
fn data(parts: &Parts, about: &About<'_>) -> Data {
    let header = vec![
        "asset",
        "kind",
        "site",
        "last_tested",
        "tested_in_time",
        "finding",
        "phase",
        "state",
        "since",
        "r40_ohm",
        "r40_lower_ohm",
        "r40_upper_ohm",
        "limit_ohm",
        "decades_per_year",
        "reaches_limit_lower",
        "reaches_limit",
        "reaches_limit_upper",
        "probability",
        "reason",
    ];
    let by_id: HashMap<&str, &Asset> = parts.assets.iter().map(|a| (a.id.as_str(), a)).collect();
    let number = |v: Option<f64>| v.map(|v| v.to_string()).unwrap_or_default();
    let start = |id: &str| {
        let asset = by_id.get(id);
        let last = asset.and_then(|a| parts.last.get(&a.id));
        let in_time = asset.map(|a| if coverage::in_time(parts, about, a) { "yes" } else { "no" });
        vec![
            id.to_owned(),
            asset.map(|a| a.kind.to_string()).unwrap_or_default(),
            asset.map(|a| a.site.to_string()).unwrap_or_default(),
            last.map(Stamp::to_string).unwrap_or_default(),
            in_time.unwrap_or_default().to_owned(),
        ]
    };
    let mut rows = Vec::with_capacity(parts.assets.len() + parts.due.len());
    for row in parts.due.iter().chain(&parts.shared) {
        let e = &row.evidence;
        let mut cells = start(&row.asset);
        cells.extend([
            row.finding.to_owned(),
            row.phase.clone(),
            row.state.to_owned(),
            row.since.clone(),
            number(e.r40_ohm),
            number(e.r40_lower_ohm),
            number(e.r40_upper_ohm),
            number(e.limit_ohm),
            number(e.decades_per_year),
            e.reaches_limit_lower.clone().unwrap_or_default(),
            e.reaches_limit.clone().unwrap_or_default(),
            e.reaches_limit_upper.clone().unwrap_or_default(),
            number(e.probability),
            row.reason.clone(),
        ]);
        rows.push(cells);
    }
    let found: std::collections::HashSet<&str> =
        parts.due.iter().map(|r| r.asset.as_str()).collect();
    for asset in parts.assets.iter().filter(|a| !found.contains(a.id.as_str())) {
        let mut cells = start(asset.id.as_str());
        cells.resize(header.len(), String::new());
        rows.push(cells);
    }
    Data { header, rows }
}
