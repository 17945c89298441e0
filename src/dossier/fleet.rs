//! Who takes part in the fleet: assets that were merged into others, retired, or are parts to learn
//! on stand apart.

use std::collections::HashMap;

use crate::model::{Alias, Asset, AssetId, Event, EventKind, Mark, Stamp, Text};
use crate::store::{Reader, Recorded, Result, When};

/// How an asset stands to the fleet.
#[derive(Clone, Debug, PartialEq)]
pub enum Standing {
    /// It takes part in everything.
    InService,
    /// Out of the fleet and its findings since then; its history stays.
    Retired {
        /// Since when.
        since: Stamp,
        /// Why.
        why: Text,
        /// Who said so, and when.
        mark: Mark,
    },
    /// It is the same as another asset, which has its history.
    Merged {
        /// Which.
        into: AssetId,
        /// Why.
        why: Text,
        /// Who said so, and when.
        mark: Mark,
    },
    /// A part to learn on: out of the fleet, its findings and its statistics.
    Training,
}

impl Standing {
    /// The word for it.
    pub const fn word(&self) -> &'static str {
        match self {
            Standing::InService => "in service",
            Standing::Retired { .. } => "retired",
            Standing::Merged { .. } => "merged",
            Standing::Training => "training part",
        }
    }

    /// Whether it takes part in everything.
    pub fn is_in_service(&self) -> bool {
        *self == Standing::InService
    }

    /// Whether the fleet learns from its history: a retired asset was one of it until then.
    pub fn teaches(&self) -> bool {
        matches!(self, Standing::InService | Standing::Retired { .. })
    }

    /// It in one sentence for a person; empty for what is in service.
    pub fn sentence(&self) -> String {
        let because = |why: &Text| if why.is_empty() { String::new() } else { format!(": {why}") };
        match self {
            Standing::InService => String::new(),
            Standing::Training => "a training part: out of the fleet and its findings".to_owned(),
            Standing::Retired { since, why, mark } => {
                format!("retired since {} (by {}){}", since.date(), mark.by, because(why))
            }
            Standing::Merged { into, why, mark } => {
                let day = mark.recorded_at.date();
                format!("the same as `{into}` (merged on {day} by {}){}", mark.by, because(why))
            }
        }
    }
}

/// The rows that merge assets into others.
#[derive(Clone, Debug, Default)]
pub(super) struct Mergers {
    by_asset: HashMap<AssetId, Recorded<Alias>>,
}

impl Mergers {
    pub(super) fn read<R: Reader + ?Sized>(reader: &R, when: When) -> Result<Self> {
        let rows = reader.aliases(when)?.into_iter().filter(|row| row.value.merged);
        let by_asset = rows.filter_map(|row| Some((AssetId::new(&row.value.written).ok()?, row)));
        Ok(Mergers { by_asset: by_asset.collect() })
    }

    /// What an asset is the same as, in the end: itself where it was not merged.
    pub(super) fn survivor<'a>(&'a self, id: &'a AssetId) -> &'a AssetId {
        let mut at = id;
        // A ring has no end; each is followed once.
        for _ in 0..self.by_asset.len() {
            match self.by_asset.get(at) {
                Some(row) => at = &row.value.asset,
                None => break,
            }
        }
        at
    }

    /// What was merged into it, whatever the way, by id.
    pub(super) fn parts(&self, id: &AssetId) -> Vec<&Recorded<Alias>> {
        let mut parts: Vec<_> = self
            .by_asset
            .iter()
            .filter(|(part, _)| *part != id && self.survivor(part) == id)
            .map(|(_, row)| row)
            .collect();
        parts.sort_by(|a, b| a.value.written.cmp(&b.value.written));
        parts
    }

    pub(super) fn standing(&self, asset: &Asset, events: &[Recorded<Event>]) -> Standing {
        if let Some(row) = self.by_asset.get(&asset.id) {
            let into = self.survivor(&asset.id).clone();
            let why = row.value.remark.clone();
            return Standing::Merged { into, why, mark: row.mark.clone() };
        }
        if asset.training.is_some() {
            return Standing::Training;
        }
        let told = |row: &&Recorded<Event>| {
            let Event { asset: of, kind, .. } = &row.value;
            *of == asset.id && matches!(kind, EventKind::Retired | EventKind::Returned)
        };
        match events.iter().filter(told).max_by_key(|row| (row.value.at, row.mark.recorded_at)) {
            Some(row) if row.value.kind == EventKind::Retired => Standing::Retired {
                since: row.value.at,
                why: row.value.remark.clone(),
                mark: row.mark.clone(),
            },
            _ => Standing::InService,
        }
    }
}

/// All assets with how they stand to the fleet.
#[derive(Clone, Debug, Default)]
pub struct Fleet {
    /// By id.
    pub assets: Vec<(Asset, Standing)>,
    mergers: Mergers,
}

impl Fleet {
    /// The fleet as it was.
    pub fn read<R: Reader + ?Sized>(reader: &R, when: When) -> Result<Self> {
        let mergers = Mergers::read(reader, when)?;
        let mut events: HashMap<AssetId, Vec<Recorded<Event>>> = HashMap::new();
        for row in reader.events(None, when)? {
            if matches!(row.value.kind, EventKind::Retired | EventKind::Returned) {
                events.entry(row.value.asset.clone()).or_default().push(row);
            }
        }
        let assets = reader.assets(when)?.into_iter().map(|asset| {
            let told = events.get(&asset.id).map_or(&[][..], Vec::as_slice);
            let standing = mergers.standing(&asset, told);
            (asset, standing)
        });
        Ok(Fleet { assets: assets.collect(), mergers })
    }

    /// The assets that take part in everything: fleet list, coverage, findings, reports.
    pub fn in_service(&self) -> impl Iterator<Item = &Asset> {
        self.assets.iter().filter(|(_, standing)| standing.is_in_service()).map(|(asset, _)| asset)
    }

    /// The assets from whose history the fleet learns: those retired since are among them.
    pub fn teaching(&self) -> impl Iterator<Item = &Asset> {
        self.assets.iter().filter(|(_, standing)| standing.teaches()).map(|(asset, _)| asset)
    }

    /// What an asset is the same as, in the end: itself where it was not merged.
    pub fn survivor<'a>(&'a self, id: &'a AssetId) -> &'a AssetId {
        self.mergers.survivor(id)
    }

    /// How an asset stands; none when it is not known.
    pub fn standing(&self, id: &AssetId) -> Option<&Standing> {
        self.assets.iter().find(|(asset, _)| asset.id == *id).map(|(_, standing)| standing)
    }

    /// Whether `into` is the same as an asset already, so that to merge the asset into it would
    /// lead in a ring.
    pub fn is_ring(&self, asset: &AssetId, into: &AssetId) -> bool {
        asset == into || self.survivor(into) == asset
    }
}
