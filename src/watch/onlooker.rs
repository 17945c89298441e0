//! Who looks on while assets are assessed: a progress bar, those who listen to the service.

use crate::dossier::{Brief, Entry};
use crate::model::AssetId;

/// What was seen of something whose findings were settled.
#[derive(Clone, Debug)]
pub struct Seen {
    /// An asset, or what findings call a tester or a day.
    pub asset: AssetId,
    /// How many readings it has, and the one that came last; none where it has no dossier.
    pub readings: Option<(usize, Option<Entry>)>,
}

impl Seen {
    /// Something of which only the findings are looked at.
    pub fn subject(id: &AssetId) -> Self {
        Seen { asset: id.clone(), readings: None }
    }

    pub(super) fn of(brief: Brief) -> Self {
        Seen { asset: brief.asset.id, readings: Some((brief.readings, brief.newest)) }
    }
}

/// Looks on.
pub trait Onlooker: Sync {
    /// So many assets of so many are done.
    fn progress(&self, _done: usize, _of: usize) {}

    /// The findings of something were settled.
    fn settled(&self, _seen: &Seen) {}
}

impl<F: Fn(usize, usize) + Sync> Onlooker for F {
    fn progress(&self, done: usize, of: usize) {
        self(done, of);
    }
}
