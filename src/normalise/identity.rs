//! Aliases with validity dates: which asset and phase a written name means at a given time.

use rustc_hash::FxHashMap;

use crate::model::{Alias, Phase, Stamp, Text};

/// The aliases, looked up by the name that is written.
#[derive(Clone, Debug, Default)]
pub struct AliasBook {
    by_name: FxHashMap<Text, Vec<Alias>>,
    /// How many of them are mergers.
    mergers: usize,
}

/// What aliases make of a written name and label.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Resolved {
    /// The asset meant: the written one where no alias holds.
    pub asset: Text,
    /// The phase meant, where an alias says so.
    pub phase: Option<Phase>,
}

impl AliasBook {
    /// From the register; of two that hold at once the later one in the list counts.
    pub fn new(aliases: &[Alias]) -> Self {
        let mut by_name: FxHashMap<Text, Vec<Alias>> = FxHashMap::default();
        for alias in aliases {
            let name: Text = if alias.written.is_empty() {
                alias.asset.as_str().into()
            } else {
                alias.written.clone()
            };
            by_name.entry(name).or_default().push(alias.clone());
        }
        let mergers = aliases.iter().filter(|a| a.merged).count();
        AliasBook { by_name, mergers }
    }

    /// Whether any alias could touch records written under this name.
    pub fn may_touch(&self, written: &str) -> bool {
        !self.by_name.is_empty() && self.by_name.contains_key(written)
    }

    /// Resolves a name and a label as they were written at an instant. First the name finds its
    /// asset, then that asset's own label aliases apply, then those that the name itself had before
    /// it was merged into that asset.
    pub fn resolve(&self, asset: &str, phase: &str, at: Stamp) -> Resolved {
        let mut resolved = Resolved { asset: asset.into(), phase: None };
        let mut named = self.holding(asset, phase, at).filter(|a| !a.written.is_empty());
        if let Some(alias) = named.next() {
            resolved.asset = alias.asset.as_str().into();
            resolved.phase = alias.phase.clone();
        }
        // What it means may have been merged into another, and that one in turn.
        for _ in 0..self.mergers {
            let Some(merger) = self.holding(&resolved.asset, "", at).find(|a| a.merged) else {
                break;
            };
            resolved.asset = merger.asset.as_str().into();
        }
        let label = |name: &str| {
            let own = self.holding(name, phase, at).find(|a| a.written.is_empty());
            own.and_then(|a| a.phase.clone())
        };
        resolved.phase = resolved.phase.or_else(|| label(&resolved.asset));
        resolved.phase = resolved.phase.or_else(|| label(asset));
        resolved
    }

    fn holding(&self, name: &str, phase: &str, at: Stamp) -> impl Iterator<Item = &Alias> {
        let all = self.by_name.get(name).map_or(&[][..], Vec::as_slice);
        all.iter().rev().filter(move |a| {
            a.from.is_none_or(|from| at >= from)
                && a.until.is_none_or(|until| at < until)
                && (a.phase_written.is_empty()
                    || a.phase_written.eq_ignore_ascii_case(phase.trim()))
        })
    }
}
