//! The daemon's thread for messages: decides what is to be told after each round of the watch, and
//! sends what is due.
//!
//! Each channel has at most one message under way, on a thread of its own: a server that does not
//! answer keeps neither the other channels nor the end of the daemon waiting.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError, sync_channel};
use std::sync::{Arc, PoisonError, RwLock};
use std::thread;
use std::time::{Duration, Instant};

use super::round::Rounds;
use super::untold::holds;
use super::{Addressee, Settings};
use crate::clock::Clock;
use crate::model::{Finding, Stamp, Text};
use crate::notify::{Channel, Outgoing, SendError, backoff};
use crate::sources::{Count, Health, Stop};
use crate::store::sqlite::{SqliteReader, SqliteStore};
use crate::store::{Posted, Reader, Result, Turn, When, Writer};

/// How often it looks for what is due.
const LOOK: Duration = Duration::from_millis(250);

/// How often it decides although the watch told it nothing: quiet hours end, a digest is due,
/// another process has changed findings.
const ANYHOW: Duration = Duration::from_secs(15);

/// How much longer than a round the next one waits, so that deciding takes little of the machine.
const REST: u32 = 10;

/// How long messages under way may take when the daemon ends; one that takes longer is sent again
/// after the next start.
const LAST: Duration = Duration::from_secs(5);

/// How long a message may be under way: a mail server can answer each word in time and never be
/// done. Its thread is then left to itself.
const LONGEST: Duration = Duration::from_secs(60);

/// Failures of a message after which a person is told.
const TROUBLE: u32 = 3;

/// How messages stand, as anybody may look at it.
#[derive(Debug, Default)]
pub struct Standing {
    /// Whether its loop comes round, and what keeps messages from going out.
    pub health: Health,
    /// Messages waiting to be sent.
    pub waiting: AtomicU64,
    /// Messages sent since the start.
    pub sent: Count,
    /// Tries in vain since the start.
    pub failed: Count,
    /// Messages dropped since the start.
    pub dropped: Count,
}

/// The loop of the daemon's messages.
pub struct PostOffice<W> {
    /// The store it reads.
    pub store: SqliteStore,
    /// Where the outbox is written.
    pub writer: W,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// Who is told, and when; may change while it runs.
    pub settings: Arc<RwLock<Settings>>,
    /// When to end.
    pub stop: Stop,
    /// Where it says how it stands.
    pub standing: Arc<Standing>,
}

type Answer = std::result::Result<(), SendError>;

/// A message under way.
struct Flight {
    number: u64,
    tries: u32,
    subject: Text,
    began: Instant,
    coming: Receiver<Answer>,
    /// Here, and not noted yet: a store that is busy must not make the message go out twice.
    answer: Option<Answer>,
}

impl Flight {
    fn has_landed(&mut self) -> bool {
        let failed = |why: String| Some(Err(SendError::Network(why)));
        if self.answer.is_none() {
            self.answer = match self.coming.try_recv() {
                Ok(answer) => Some(answer),
                Err(TryRecvError::Empty) if self.began.elapsed() < LONGEST => None,
                Err(TryRecvError::Empty) => {
                    failed(format!("not done within {} s", LONGEST.as_secs()))
                }
                Err(TryRecvError::Disconnected) => {
                    failed("the thread that sent it failed by a fault of this program".to_owned())
                }
            };
        }
        self.answer.is_some()
    }
}

/// What the loop holds from one round to the next.
#[derive(Default)]
struct Desk {
    reader: Option<SqliteReader>,
    rounds: Rounds,
    flights: BTreeMap<Text, Flight>,
    /// Those of the last round.
    settings: Option<Settings>,
    /// When it may decide again, and when it does anyhow.
    next: Option<(Instant, Instant)>,
    /// The watch has told of something new.
    woken: bool,
}

impl<W: Writer> PostOffice<W> {
    /// Runs until it is stopped. What waits then waits in the store.
    pub fn run(&mut self, woken: &Receiver<()>) {
        let mut desk = Desk::default();
        while !self.stop.is_set() {
            self.standing.health.tick();
            match woken.recv_timeout(LOOK) {
                Ok(()) => desk.woken = true,
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    self.stop.wait(LOOK);
                }
            }
            let trouble = match self.turn(&mut desk) {
                Ok(trouble) => trouble,
                Err(e) => {
                    desk.reader = None;
                    Some(e.to_string())
                }
            };
            self.say(trouble);
        }
        self.land(&mut desk);
    }

    fn say(&self, trouble: Option<String>) {
        if self.standing.health.troubled(trouble.clone()) {
            match trouble {
                Some(why) => tracing::error!("messages do not go out: {why}; trying again"),
                None => tracing::info!("messages go out again"),
            }
        }
    }

    /// Decides, sends, notes; answers what a person should know.
    fn turn(&mut self, desk: &mut Desk) -> Result<Option<String>> {
        let settings = self.settings.read().unwrap_or_else(PoisonError::into_inner).clone();
        // Who is new is told of what stands.
        let changed = desk.settings.as_ref() != Some(&settings);
        let reader = match desk.reader.take() {
            Some(reader) => reader,
            None => self.store.reader()?,
        };
        self.collect(desk)?;
        let began = Instant::now();
        let may = |(may, must)| (desk.woken && began >= may) || began >= must;
        let decide = changed || desk.next.is_none_or(may);
        if decide && !settings.addressees.is_empty() {
            let now = self.clock.now();
            desk.rounds.round(&reader, &mut self.writer, now, &settings)?;
            desk.woken = false;
            let took = began.elapsed();
            let end = Instant::now();
            desk.next = Some((end + took * REST, end + ANYHOW.max(took * REST)));
            desk.settings = Some(settings.clone());
        }
        let waiting = reader.outbox(true)?;
        self.standing.waiting.store(waiting.len() as u64, Relaxed);
        let trouble = trouble(&waiting);
        if !waiting.is_empty() {
            self.launch(desk, &reader, &settings, waiting)?;
        }
        desk.reader = Some(reader);
        Ok(trouble)
    }

    /// Sends what is due on every channel that is free.
    fn launch(
        &mut self,
        desk: &mut Desk,
        reader: &SqliteReader,
        settings: &Settings,
        waiting: Vec<Posted>,
    ) -> Result<()> {
        let now = self.clock.now();
        let quiet = settings.hours.is_quiet(now);
        let mut findings = None;
        for posted in waiting {
            let name = &posted.message.channel;
            let under_way = desk.flights.contains_key(name);
            if under_way || posted.due_at > now || (quiet && !posted.message.urgent) {
                continue;
            }
            let to = settings.addressees.iter().find(|a| a.channel.name() == name);
            let Some(Addressee { channel, .. }) = to else {
                self.dropped(&posted, format!("there is no channel `{name}` any more"))?;
                continue;
            };
            let findings = match &findings {
                Some(findings) => findings,
                None => findings.insert(numbered(reader)?),
            };
            let tells = &posted.message.tells;
            if !tells.is_empty() && !tells.iter().any(|t| holds(*t, findings.get(&t.finding))) {
                self.dropped(&posted, "what it tells stands no longer".to_owned())?;
                continue;
            }
            let flight = fly(channel.clone(), &posted, now)?;
            desk.flights.insert(name.clone(), flight);
        }
        Ok(())
    }

    fn dropped(&mut self, posted: &Posted, why: String) -> Result<()> {
        self.standing.dropped.add(1);
        self.writer.turn(self.clock.now(), posted.number, &Turn::Dropped { why: why.into() })
    }

    /// Notes what became of the messages under way.
    fn collect(&mut self, desk: &mut Desk) -> Result<()> {
        let flights = desk.flights.iter_mut();
        let landed: Vec<Text> =
            flights.filter_map(|(name, f)| f.has_landed().then(|| name.clone())).collect();
        for name in landed {
            if let Some(flight) = desk.flights.get(&name)
                && let Some(answer) = &flight.answer
            {
                self.note(&name, flight, answer)?;
            }
            desk.flights.remove(&name);
        }
        Ok(())
    }

    fn note(&mut self, name: &str, flight: &Flight, answer: &Answer) -> Result<()> {
        let now = self.clock.now();
        let turn = match answer {
            Ok(()) => Turn::Sent,
            Err(e) => {
                let wait = backoff(flight.tries + 1, dice());
                let again_at = Stamp::from_micros(
                    now.micros().saturating_add(wait.as_micros().min(i64::MAX as u128) as i64),
                );
                Turn::Failed { why: e.to_string().into(), again_at }
            }
        };
        self.writer.turn(now, flight.number, &turn)?;
        match answer {
            Ok(()) => {
                self.standing.sent.add(1);
                tracing::info!("told `{name}`: {}", flight.subject);
            }
            Err(e) => {
                self.standing.failed.add(1);
                tracing::warn!("`{name}` could not be told, trying again: {e}");
            }
        }
        Ok(())
    }

    /// Gives messages under way a little time, and notes what became of them.
    fn land(&mut self, desk: &mut Desk) {
        let until = Instant::now() + LAST;
        loop {
            if let Err(e) = self.collect(desk) {
                tracing::warn!("what became of a message is not noted, it is sent again: {e}");
                return;
            }
            if desk.flights.is_empty() || Instant::now() > until {
                return;
            }
            thread::sleep(Duration::from_millis(10));
        }
    }
}

fn numbered(reader: &SqliteReader) -> Result<BTreeMap<u64, Finding>> {
    Ok(reader.numbered_findings(When::ALWAYS)?.into_iter().collect())
}

/// Sends a message on a thread of its own.
fn fly(channel: Channel, posted: &Posted, at: Stamp) -> Result<Flight> {
    let (answering, coming) = sync_channel(1);
    let message = posted.message.clone();
    let send = move || {
        let outgoing = Outgoing {
            key: &message.key,
            subject: &message.subject,
            content: &message.content,
            at,
        };
        // At the end of the daemon nobody may wait for the answer any more.
        drop(answering.send(channel.send(&outgoing)));
    };
    thread::Builder::new()
        .name(format!("tell {}", posted.message.channel))
        .spawn(send)
        .map_err(|e| crate::store::StoreError::Other(format!("cannot start a thread: {e}")))?;
    let subject = posted.message.subject.clone();
    let (number, tries) = (posted.number, posted.tries);
    Ok(Flight { number, tries, subject, began: Instant::now(), coming, answer: None })
}

/// What keeps messages from going out, by channel.
fn trouble(waiting: &[Posted]) -> Option<String> {
    let mut by_channel: BTreeMap<&str, &str> = BTreeMap::new();
    for posted in waiting.iter().filter(|p| p.tries >= TROUBLE) {
        by_channel.insert(&posted.message.channel, &posted.error);
    }
    let told: Vec<String> =
        by_channel.iter().map(|(channel, error)| format!("`{channel}`: {error}")).collect();
    (!told.is_empty()).then(|| told.join("; "))
}

/// From 0 to 1; a half where the system has no random numbers.
fn dice() -> f64 {
    getrandom::u32().map_or(0.5, |n| f64::from(n) / f64::from(u32::MAX))
}
