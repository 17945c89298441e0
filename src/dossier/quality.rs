//! How good the data behind a dossier is: what is in doubt, what that did, and which testers the
//! readings hang on.

use std::collections::BTreeMap;

use super::{Desk, Dossier, DossierError};
use crate::model::{AssetId, Finding, FindingKind, Gear, Proof, Stamp, Text};
use crate::store::Reader;
use crate::visits::{Doubt, Role};

/// One doubt over all readings that stand for a visit or were left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quality {
    /// What is in doubt; [`Doubt::effect`] says what that did.
    pub doubt: Doubt,
    /// Readings concerned.
    pub readings: usize,
    /// Readings that stand for a visit or were left out, voided ones aside.
    pub of: usize,
}

/// A tester as this asset's readings met it.
#[derive(Clone, Debug, PartialEq)]
pub struct TesterUse {
    /// Its id; empty: readings that name none.
    pub id: Text,
    /// Readings made with it.
    pub readings: usize,
    /// The first of them.
    pub first: Stamp,
    /// The last of them.
    pub last: Stamp,
    /// Its row in the register of gear.
    pub gear: Option<Gear>,
    /// Its newest proof.
    pub last_proof: Option<Proof>,
    /// What stands against it: a failed proof, an offset against its peers.
    pub findings: Vec<Finding>,
}

impl Dossier {
    /// What is in doubt, in the order of the words; empty when nothing is.
    pub fn quality(&self) -> Vec<Quality> {
        let mut counts: BTreeMap<Doubt, usize> = BTreeMap::new();
        let mut of = 0;
        for entry in &self.entries {
            if matches!(entry.judged.role, Role::Timed | Role::Retested)
                || entry.judged.corrected.voided.is_some()
            {
                continue;
            }
            of += 1;
            for doubt in &entry.doubts {
                *counts.entry(*doubt).or_default() += 1;
            }
        }
        counts.into_iter().map(|(doubt, readings)| Quality { doubt, readings, of }).collect()
    }
}

impl<R: Reader + ?Sized> Desk<'_, R> {
    /// The testers that an asset was measured with, by id.
    pub fn testers(&self, dossier: &Dossier) -> Result<Vec<TesterUse>, DossierError> {
        let (reader, when) = (self.records.reader, dossier.when);
        let mut uses: BTreeMap<Text, TesterUse> = BTreeMap::new();
        for entry in &dossier.entries {
            let reading = &entry.judged.corrected.reading;
            let used = uses.entry(reading.tester.clone()).or_insert_with(|| TesterUse {
                id: reading.tester.clone(),
                readings: 0,
                first: reading.taken_at,
                last: reading.taken_at,
                gear: None,
                last_proof: None,
                findings: Vec::new(),
            });
            used.readings += 1;
            used.last = used.last.max(reading.taken_at);
        }
        for row in reader.gear(when)? {
            if let Some(used) = uses.get_mut(&row.value.id) {
                used.gear = Some(row.value);
            }
        }
        for finding in reader.findings_of(FindingKind::Tester, when)? {
            let of = |tester: &Text| {
                let ids = [AssetId::of_tester(tester), AssetId::of_offset(tester)];
                ids.into_iter().flatten().any(|id| id == finding.asset)
            };
            if let Some(used) = uses.values_mut().find(|used| of(&used.id) && finding.is_due()) {
                used.findings.push(finding);
            }
        }
        for used in uses.values_mut() {
            let record = self.records.testers.get(&used.id);
            used.last_proof = record.and_then(|record| record.proofs.last().cloned());
        }
        Ok(uses.into_values().collect())
    }
}
