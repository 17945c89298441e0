//! Room in memory for bodies: taken as their bytes arrive, and taken back from whoever sends slowly
//! when others wait for it. So nobody holds the service by announcing much and sending little.

use std::pin::pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::http::StatusCode;
use tokio::sync::{Notify, OwnedSemaphorePermit, Semaphore};

use crate::limits;
use crate::web::refusal::Refusal;

/// The room of all bodies together.
pub(in crate::web) struct Room {
    /// Kibibytes that are free.
    free: Arc<Semaphore>,
    /// Who is being read.
    bodies: Mutex<Vec<Arc<Pace>>>,
}

impl Room {
    pub(in crate::web) fn new() -> Arc<Self> {
        let free = Arc::new(Semaphore::new(limits::BODIES_KIB));
        Arc::new(Room { free, bodies: Mutex::default() })
    }

    /// A body that comes; it takes nothing yet.
    pub(super) fn body(self: &Arc<Self>) -> Share {
        let pace = Arc::new(Pace::default());
        self.bodies.lock().unwrap_or_else(PoisonError::into_inner).push(Arc::clone(&pace));
        Share { room: Arc::clone(self), pace, held: None }
    }

    /// Waits for room, at the cost of those who are slow: the one that holds most is cut off, and
    /// the next one at the next look.
    async fn take(&self, kib: u32) -> Result<OwnedSemaphorePermit, Refusal> {
        if let Ok(taken) = Arc::clone(&self.free).try_acquire_many_owned(kib) {
            return Ok(taken);
        }
        let free = Arc::clone(&self.free).acquire_many_owned(kib);
        let mut free = pin!(tokio::time::timeout(limits::ROOM_WAIT, free));
        loop {
            self.cut_slow();
            tokio::select! {
                taken = &mut free => return match taken {
                    Ok(Ok(taken)) => Ok(taken),
                    Ok(Err(_)) | Err(_) => Err(full()),
                },
                () = tokio::time::sleep(LOOK) => {}
            }
        }
    }

    fn cut_slow(&self) {
        let now = Instant::now();
        let bodies = self.bodies.lock().unwrap_or_else(PoisonError::into_inner);
        let slow = bodies.iter().filter_map(|pace| Some((pace.slow(now)?, pace)));
        if let Some((_, pace)) = slow.max_by_key(|(kib, _)| *kib) {
            pace.cut();
        }
    }
}

/// How often somebody who waits looks for a slow one.
const LOOK: Duration = Duration::from_millis(250);

fn full() -> Refusal {
    Refusal::busy(1, "too much is waiting to be stored (send it again a little later)")
}

/// What one body has of the room; given back when this is dropped.
pub(super) struct Share {
    room: Arc<Room>,
    pace: Arc<Pace>,
    held: Option<OwnedSemaphorePermit>,
}

impl Share {
    /// Room for so many bytes in all.
    ///
    /// # Errors
    /// When there is none, although it was waited for.
    pub(super) async fn grow(&mut self, bytes: u64) -> Result<(), Refusal> {
        let wanted = u32::try_from(bytes.div_ceil(1024)).unwrap_or(u32::MAX);
        let held = self.held.as_ref().map_or(0, OwnedSemaphorePermit::num_permits) as u32;
        if wanted > held {
            let more = self.room.take(wanted - held).await?;
            match &mut self.held {
                Some(held) => held.merge(more),
                None => self.held = Some(more),
            }
            self.pace.state().kib = wanted;
        }
        Ok(())
    }

    /// The room itself, for whoever goes on holding it.
    pub(super) fn hand_over(&mut self) -> Option<OwnedSemaphorePermit> {
        self.held.take()
    }

    /// Waits for the client: for what `next` gives, and how many bytes that are.
    ///
    /// # Errors
    /// When others wait for room and this client is too slow for that.
    pub(super) async fn wait<T>(
        &self,
        next: impl Future<Output = T>,
        bytes: impl FnOnce(&T) -> usize,
    ) -> Result<T, Refusal> {
        self.pace.state().waits(Instant::now());
        let next = tokio::select! {
            next = next => next,
            () = self.pace.cut.notified() => {
                let why = "the body came slowly while others waited (send all of it again)";
                return Err(Refusal::new(StatusCode::REQUEST_TIMEOUT, why));
            }
        };
        self.pace.state().came(bytes(&next), Instant::now());
        Ok(next)
    }
}

impl Drop for Share {
    fn drop(&mut self) {
        let mut bodies = self.room.bodies.lock().unwrap_or_else(PoisonError::into_inner);
        bodies.retain(|pace| !Arc::ptr_eq(pace, &self.pace));
    }
}

/// How well a client keeps up.
#[derive(Default)]
struct Pace {
    state: Mutex<State>,
    cut: Notify,
}

impl Pace {
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The kibibytes that it holds, where it is too slow.
    fn slow(&self, now: Instant) -> Option<u32> {
        let state = self.state();
        (!state.cut && state.kib > 0 && state.left(now).is_zero()).then_some(state.kib)
    }

    fn cut(&self) {
        self.state().cut = true;
        self.cut.notify_one();
    }
}

/// A leaky measure: waiting for the client uses it up, bytes fill it again, and never above where
/// it began. So neither a quick beginning nor a byte now and then makes up for a stop. Where it is
/// the store that is slow, the client loses nothing.
struct State {
    left: Duration,
    /// Since when the client is waited for.
    since: Option<Instant>,
    kib: u32,
    cut: bool,
}

impl Default for State {
    fn default() -> Self {
        State { left: limits::BODY_SLACK, since: None, kib: 0, cut: false }
    }
}

impl State {
    fn left(&self, now: Instant) -> Duration {
        let waited =
            self.since.map_or(Duration::ZERO, |since| now.saturating_duration_since(since));
        self.left.saturating_sub(waited)
    }

    fn waits(&mut self, now: Instant) {
        self.since = Some(now);
    }

    fn came(&mut self, bytes: usize, now: Instant) {
        let earned = Duration::from_secs_f64(bytes as f64 / limits::BODY_RATE as f64);
        self.left = (self.left(now) + earned).min(limits::BODY_SLACK);
        self.since = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether a client that sends so many bytes after each pause of so many milliseconds is slow
    /// after a minute.
    fn is_slow(bytes: usize, pause: u64, first: usize) -> bool {
        let pace = Pace::default();
        let mut now = Instant::now();
        pace.state().kib = 1;
        pace.state().came(first, now);
        for _ in 0..60_000 / pause {
            pace.state().waits(now);
            now += Duration::from_millis(pause);
            if pace.slow(now).is_some() {
                return true;
            }
            pace.state().came(bytes, now);
        }
        false
    }

    #[test]
    fn a_pace_is_what_comes_now_and_not_what_came_once() {
        assert!(is_slow(1, 100, 0));
        assert!(is_slow(1, 100, limits::BODY_BYTES));
        assert!(is_slow(limits::BODY_BYTES, 5_000, 0));
        assert!(!is_slow(limits::BODY_RATE as usize, 1_000, 0));
        assert!(!is_slow(64 * 1024, 100, 0));
    }

    #[test]
    fn a_slow_store_is_not_the_fault_of_the_client() {
        let pace = Pace::default();
        let now = Instant::now();
        pace.state().kib = 1;
        pace.state().waits(now);
        pace.state().came(1, now);
        assert_eq!(pace.slow(now + Duration::from_secs(60)), None);
    }
}
