//! Aliases with validity dates: which asset and phase a written name means at a given time.

use rustc_hash::FxHashMap;

use crate::model::{Alias, Phase, Stamp, Text};

/// The aliases, looked up by the name that is written.
#[derive(Clone, Debug, Default)]
pub struct AliasBook {
    by_name: FxHashMap<Text, Vec<Alias>>,
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
        AliasBook { by_name }
    }

    /// Whether any alias could touch records written under this name.
    pub fn may_touch(&self, written: &str) -> bool {
        !self.by_name.is_empty() && self.by_name.contains_key(written)
    }

    /// Resolves a name and a label as they were written at an instant. First the name finds its
    /// asset, then the asset's own label aliases apply.
    pub fn resolve(&self, asset: &str, phase: &str, at: Stamp) -> Resolved {
        let mut resolved = Resolved { asset: asset.into(), phase: None };
        if let Some(alias) = self.holding(asset, phase, at).filter(|a| !a.written.is_empty()) {
            resolved.asset = alias.asset.as_str().into();
            resolved.phase = alias.phase.clone();
        }
        if resolved.phase.is_none()
            && let Some(alias) =
                self.holding(&resolved.asset, phase, at).filter(|a| a.written.is_empty())
        {
            resolved.phase = alias.phase.clone();
        }
        resolved
    }

    fn holding(&self, name: &str, phase: &str, at: Stamp) -> Option<&Alias> {
        self.by_name.get(name)?.iter().rev().find(|a| {
            a.from.is_none_or(|from| at >= from)
                && a.until.is_none_or(|until| at < until)
                && (a.phase_written.is_empty()
                    || a.phase_written.eq_ignore_ascii_case(phase.trim()))
        })
    }
}
