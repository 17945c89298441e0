//! The daemon looks after itself: is every part alive, and does systemd know.

use std::sync::Arc;
use std::time::{Duration, Instant};

use sd_notify::NotifyState;
use tokio::task::JoinHandle;

use crate::limits;
use crate::store::Writer;
use crate::web::Shared;

/// How often the writer is asked for a sign of life.
const ASK_WRITER: Duration = Duration::from_secs(2);

/// Watches over the parts.
pub(super) struct Pulse {
    shared: Arc<Shared>,
    /// How often systemd wants to hear of us; none: it does not.
    watchdog: Option<Duration>,
    fed: Instant,
    asked: Option<JoinHandle<()>>,
    stuck: Vec<String>,
}

impl Pulse {
    pub(super) fn new(shared: Arc<Shared>) -> Self {
        // Twice within the time that systemd grants.
        let watchdog = sd_notify::watchdog_enabled().map(|time| time / 2);
        Pulse { shared, watchdog, fed: Instant::now(), asked: None, stuck: Vec::new() }
    }

    /// All is started.
    pub(super) fn ready(&self) {
        tell(&[NotifyState::Ready, NotifyState::Status("taking readings in")]);
    }

    /// The configuration is being read again.
    pub(super) fn reloading(&self) {
        match NotifyState::monotonic_usec_now() {
            Ok(now) => tell(&[NotifyState::Reloading, now]),
            Err(_) => tell(&[NotifyState::Reloading]),
        }
    }

    /// All is being ended; those who only listen are told nothing more.
    pub(super) fn stopping(&self) {
        self.shared.news.end();
        tell(&[NotifyState::Stopping, NotifyState::Status("storing what was read")]);
    }

    /// Looks after the parts; feeds the watchdog only while all of them are alive.
    pub(super) fn beat(&mut self) {
        self.ask_writer();
        self.shared.news.look(&self.shared.roster);
        let stuck = self.find_stuck();
        if stuck != self.stuck {
            match stuck.is_empty() {
                false => tracing::error!("no sign of life from: {}", stuck.join(", ")),
                true => tracing::info!("every part gives signs of life again"),
            }
            self.stuck = stuck;
        }
        if let Some(every) = self.watchdog
            && self.stuck.is_empty()
            && self.fed.elapsed() >= every
        {
            self.fed = Instant::now();
            tell(&[NotifyState::Watchdog]);
        }
    }

    /// Asks the writer for nothing: that it answers is all we want to know.
    fn ask_writer(&mut self) {
        if self.asked.as_ref().is_some_and(|asked| !asked.is_finished()) {
            return;
        }
        self.asked = None;
        if self.shared.writing.age() < ASK_WRITER {
            return;
        }
        let shared = Arc::clone(&self.shared);
        self.asked = Some(tokio::task::spawn_blocking(move || {
            let answer = shared.writer.clone().settle_rejects(&[], 0);
            shared.writing.tick();
            let trouble = answer.err().map(|e| e.to_string());
            if shared.writing.troubled(trouble.clone()) {
                match trouble {
                    Some(why) => tracing::error!("the store cannot be written: {why}"),
                    None => tracing::info!("the store can be written again"),
                }
            }
        }));
    }

    fn find_stuck(&self) -> Vec<String> {
        let mut parts = vec![
            ("the writer".to_owned(), self.shared.writing.age()),
            ("the watch".to_owned(), self.shared.watching.age()),
            ("the messages".to_owned(), self.shared.messages.health.age()),
        ];
        for source in self.shared.roster.all() {
            if source.kind != "http" {
                parts.push((format!("source `{}`", source.name), source.reading.age()));
            }
            if source.kind == "serial" {
                parts.push((format!("lines of `{}`", source.name), source.intake.age()));
            }
        }
        parts.into_iter().filter(|(_, age)| *age > limits::STUCK).map(|(name, _)| name).collect()
    }
}

fn tell(state: &[NotifyState<'_>]) {
    if let Err(e) = sd_notify::notify(state) {
        tracing::debug!("systemd was not told: {e}");
    }
}
