//! Findings about testers: a proof that failed, until the next good one.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::dossier::{DossierError, Settings};
use crate::model::{AssetId, Finding, FindingKind, FindingState, Proof, ProofKind, Stamp};
use crate::store::{Reader, When};
use crate::visits::{Suspicion, suspicions};

/// The numbers behind a failed proof; stored as JSON text.
#[derive(Serialize)]
struct ProofEvidence<'a> {
    tester: &'a str,
    /// What was checked.
    proof: &'static str,
    /// When the proof failed, each time.
    failed_at: Vec<String>,
    /// First and last instant of the readings in doubt.
    from: String,
    to: String,
    /// The assets measured in that time.
    assets: Vec<String>,
}

/// The findings about one tester, and what they stand under; none where no id can be made of its
/// name, or an asset is called that.
pub(super) fn judge<R: Reader + ?Sized>(
    reader: &R,
    settings: &Settings,
    tester: &str,
) -> Result<Option<(AssetId, Vec<Finding>)>, DossierError> {
    let Ok(id) = AssetId::of_tester(tester) else { return Ok(None) };
    if reader.asset(&id, When::ALWAYS)?.is_some() {
        return Ok(None);
    }
    let proofs = reader.proofs(Some(tester), When::ALWAYS)?;
    // Contact is a matter of one part, not of the tester.
    let mut proofs: Vec<Proof> = proofs.into_iter().map(|row| row.value).collect();
    proofs.retain(|proof| proof.kind != ProofKind::Contact);
    // Failures up to one good proof are one finding.
    let mut runs: BTreeMap<(bool, Option<Stamp>), Vec<Suspicion>> = BTreeMap::new();
    for suspicion in suspicions(&proofs, &settings.visits) {
        let of_voltage = suspicion.proof.kind == ProofKind::KnownSource;
        runs.entry((of_voltage, suspicion.proved)).or_default().push(suspicion);
    }
    let findings = runs.into_values().map(|run| failed(reader, &id, tester, &run));
    Ok(Some((id.clone(), findings.collect::<Result<_, _>>()?)))
}

fn failed<R: Reader + ?Sized>(
    reader: &R,
    id: &AssetId,
    tester: &str,
    run: &[Suspicion],
) -> Result<Finding, DossierError> {
    let mut assets = BTreeSet::new();
    for suspicion in run {
        let uses = reader.uses_of_tester(tester, suspicion.from, suspicion.to)?;
        assets.extend(uses.into_iter().map(|(asset, _)| asset.to_string()));
    }
    let first = &run[0].proof;
    let evidence = ProofEvidence {
        tester,
        proof: first.kind.word(),
        failed_at: run.iter().map(|s| s.proof.at.to_string()).collect(),
        from: run.iter().map(|s| s.from).min().unwrap_or(first.at).to_string(),
        to: run.iter().map(|s| s.to).max().unwrap_or(first.at).to_string(),
        assets: assets.into_iter().collect(),
    };
    let reason = match evidence.assets.len() {
        0 => format!("its proof `{}` failed; no readings are in doubt", evidence.proof),
        n => format!(
            "its proof `{}` failed; readings of {n} assets are left out of the trend",
            evidence.proof
        ),
    };
    let until = run[0].proved;
    Ok(Finding {
        asset: id.clone(),
        kind: FindingKind::Tester,
        phase: None,
        since: first.at,
        until,
        state: until.map_or(FindingState::Open, |_| FindingState::Closed),
        reason: reason.into(),
        evidence: serde_json::to_string(&evidence).unwrap_or_default(),
    })
}
