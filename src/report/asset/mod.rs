//! The report of one asset: what is said of it, and everything that this rests on.

mod method;
mod quality;
mod readings;
mod verdict;

use super::about::About;
use super::chart::{self, WIDE};
use super::document::{Block, Report, Section};
use crate::dossier::words::limit_words;
use crate::dossier::{Desk, Dossier, DossierError, TesterUse};
use crate::model::{AssetId, Correction, Proof};
use crate::store::{FindingAct, Reader, Recorded};

/// What the report is made of.
pub(super) struct Parts {
    pub(super) dossier: Dossier,
    pub(super) testers: Vec<TesterUse>,
    pub(super) proofs: Vec<Recorded<Proof>>,
    pub(super) corrections: Vec<Recorded<Correction>>,
    pub(super) acts: Vec<Recorded<FindingAct>>,
}

/// The report of one asset; `desk` was opened with the times of `about`.
pub fn asset<R: Reader + ?Sized>(
    reader: &R,
    desk: &Desk<'_, R>,
    id: &AssetId,
    about: &About<'_>,
) -> Result<Report, DossierError> {
    let dossier = desk.open(id)?;
    let testers = desk.testers(&dossier)?;
    let when = about.when();
    let mut proofs = Vec::new();
    for tester in testers.iter().filter(|t| !t.id.is_empty()) {
        proofs.extend(reader.proofs(Some(&tester.id), when)?);
    }
    proofs.sort_by_key(|p| p.value.at);
    let corrections = reader.corrections(id, when)?;
    let acts = reader.acts(Some(id), when)?;
    Ok(written(&Parts { dossier, testers, proofs, corrections, acts }, about))
}

fn written(parts: &Parts, about: &About<'_>) -> Report {
    let dossier = &parts.dossier;
    let mut sections = vec![identity(dossier), verdict::verdict(dossier), drawings(dossier)];
    sections.push(verdict::projection(dossier));
    sections.push(readings::last_visit(dossier));
    sections.push(readings::visits(dossier));
    sections.extend(quality::sections(parts, about));
    sections.push(method::method(dossier, about));
    sections.push(about.assumptions());
    sections.push(about.cautions());
    Report {
        title: format!("Insulation report: {}", dossier.asset.id),
        subtitle: about.subtitle(),
        as_of: about.as_of,
        foot: about.foot(dossier.asset.id.as_str()),
        sections,
        data: readings::data(dossier),
    }
}

fn identity(dossier: &Dossier) -> Section {
    let asset = &dossier.asset;
    let limits: Vec<String> = asset.limits().map(|l| limit_words(&l)).collect();
    let said = |text: &str| if text.is_empty() { "not stated".to_owned() } else { text.to_owned() };
    let interval = asset
        .interval_days
        .map_or("no interval stated".to_owned(), |days| format!("every {days} days"));
    let facts = [
        ("asset", asset.id.to_string()),
        ("kind", said(&asset.kind)),
        ("rated voltage", asset.rated_voltage_v.map_or("not stated".into(), |v| format!("{v} V"))),
        ("insulation", asset.insulation.word().to_owned()),
        ("phases", joining_words(asset.joining).to_owned()),
        ("limits", if limits.is_empty() { "none".into() } else { limits.join("; ") }),
        ("site", said(&asset.site)),
        ("standing", dossier.standing.sentence()),
        ("to be tested", interval),
        ("remark", asset.remark.to_string()),
    ];
    let shown = facts.into_iter().filter(|(_, value)| !value.is_empty());
    let facts = shown.map(|(name, value)| (name.to_owned(), value)).collect();
    Section::new("What was tested", vec![Block::Facts(facts)])
}

fn joining_words(joining: crate::model::Joining) -> &'static str {
    use crate::model::Joining;
    match joining {
        Joining::Tied => {
            "tied: joined inside, one node for direct current; all leads see the same insulation \
             and are judged as one"
        }
        Joining::Separable => "separable: each is judged by itself",
        Joining::Unknown => {
            "unknown whether joined inside: shown one by one, findings worded for the asset"
        }
    }
}

fn drawings(dossier: &Dossier) -> Section {
    let mut blocks = Vec::new();
    for (group, scene) in dossier.groups.iter().zip(chart::asset(dossier, WIDE)) {
        let words = format!(
            "Resistance {}, as read, on a logarithmic scale; dates in UTC. Where visits lie close \
             together a mark stands for several, with a bar from the lowest to the highest.",
            chart::group_words(group)
        );
        blocks.push(Block::Drawing(scene, words));
    }
    if blocks.is_empty() {
        blocks.push(Block::Text("No reading counts yet, so there is nothing to draw.".into()));
    }
    Section::new("Readings over time", blocks)
}
