//! What is noted of coming and going, for the audit: every login, and refusals without letting a
//! flood of them fill the disk.

use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use crate::limits::{self, NOTED_REFUSALS};
use crate::model::{Access, AccessKind, Text};
use crate::store::{Change, Writer};
use crate::web::Service;

/// Whose name stands on a note: the service itself saw it.
const SERVICE: &str = "service";

/// Refusals: how many notes may still be written, and how many were only counted.
#[derive(Default)]
pub(super) struct Notes(Mutex<Budget>);

#[derive(Default)]
struct Budget {
    used: f64,
    at: Option<Instant>,
    uncounted: u32,
}

impl Notes {
    /// Whether another refusal is noted, and then for how many it stands.
    fn refused(&self, now: Instant) -> Option<u32> {
        let mut budget = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let gone = budget.at.map_or(0.0, |at| now.saturating_duration_since(at).as_secs_f64());
        budget.used = (budget.used - gone / NOTED_REFUSALS.one_each.as_secs_f64()).max(0.0);
        budget.at = Some(now);
        if budget.used + 1.0 > f64::from(NOTED_REFUSALS.at_once) {
            budget.uncounted = budget.uncounted.saturating_add(1);
            return None;
        }
        budget.used += 1.0;
        Some(std::mem::take(&mut budget.uncounted).saturating_add(1))
    }
}

impl Service {
    /// Notes that somebody came or was refused, soon and without making anybody wait.
    pub(super) fn note(self: &Arc<Self>, kind: AccessKind, name: &str, client: IpAddr) {
        let times = match kind {
            AccessKind::LoggedIn | AccessKind::LoggedOut => 1,
            AccessKind::LoginRefused | AccessKind::TokenRefused => {
                tracing::info!(%client, name, "{kind}");
                match self.access.notes.refused(Instant::now()) {
                    Some(times) => times,
                    None => return,
                }
            }
        };
        let name: Text =
            name.chars().filter(|c| !c.is_control()).take(limits::NOTED_NAME).collect();
        let by = match kind {
            AccessKind::LoggedIn | AccessKind::LoggedOut => name.clone(),
            AccessKind::LoginRefused | AccessKind::TokenRefused => SERVICE.into(),
        };
        let access = Access { kind, name, client: client.to_string().into(), times };
        let service = Arc::clone(self);
        tokio::task::spawn_blocking(move || {
            let shared = &service.shared;
            let noted =
                shared.writer.clone().record(shared.clock.now(), &by, &[Change::Access(access)]);
            if let Err(why) = noted {
                tracing::error!("`{kind}` could not be noted: {why}");
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_flood_of_refusals_is_counted_in_few_notes() {
        let (notes, start) = (Notes::default(), Instant::now());
        let most = NOTED_REFUSALS.at_once;
        let noted = (0..10 * most).filter(|_| notes.refused(start).is_some()).count();
        assert_eq!(noted, most as usize);
        assert_eq!(notes.refused(start + NOTED_REFUSALS.one_each), Some(9 * most + 1));
    }
}
