//! The daemon: what is started in which order, how it is told to change, and how it ends.
//!
//! Start: lock, store, writer, watch, messages, HTTP, sources, ready. Stop: sources stop reading
//! and what they read is stored, requests are answered, watch and messages end, the store is
//! closed.

mod crew;
mod door;
mod end;
mod files;
mod lines;
mod listener;
mod plan;
mod pulse;
mod reports;

use std::net::{SocketAddr, TcpListener};
use std::path::PathBuf;
use std::sync::{Arc, PoisonError, RwLock};
use std::time::{Duration, Instant};

use ohmward_parsers::Profiles;
use tokio::signal::unix::{SignalKind, signal};

use crate::bench::Stations;
use crate::clock::Clock;
use crate::intake::RegisterWatch;
use crate::registry::Keys;
use crate::report::Schedule;
use crate::sources::{Standing, Stop};
use crate::store::StoreError;
use crate::store::sqlite::{SqliteStore, WriterThread};
use crate::watch::{self, messages};
use crate::web::{self, News, Roster, Shared};
use crew::Crew;
use end::{Ending, Thread};
use pulse::Pulse;

pub use listener::{certificate_problems, reach};
pub use plan::{Plan, PlanError, problems};

/// Where HTTP is served unless something else is said: this machine only.
pub const LISTEN: SocketAddr =
    SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST), 8040);

/// How often the daemon looks after itself.
const BEAT: Duration = Duration::from_millis(100);

/// Why the daemon did not start, or did not end well.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The configuration cannot be carried out.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// The store cannot be used.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The address cannot be listened on.
    #[error(
        "cannot listen on `{address}`: {why} (is another program there? name one with --listen)"
    )]
    Listen {
        /// Where.
        address: SocketAddr,
        /// What the system says.
        why: std::io::Error,
    },
    /// The service would be open to whoever reaches it.
    #[error("`{address}` is reached from other machines: it is served only with {missing}")]
    Exposed {
        /// Where.
        address: SocketAddr,
        /// What has to be there.
        missing: String,
    },
    /// The certificate cannot be used.
    #[error("the certificate `{}` with the key `{}` cannot be used: {why}", cert.display(), key.display())]
    Certificate {
        /// The certificate's file.
        cert: PathBuf,
        /// The key's file.
        key: PathBuf,
        /// What is wrong.
        why: std::io::Error,
    },
    /// The system refused threads or signals.
    #[error("cannot start: {0}")]
    System(#[from] std::io::Error),
    /// The writer failed by a fault of this program.
    #[error("the store's writer has ended by a fault of this program (start again)")]
    WriterEnded,
    /// The time for ending ran out.
    #[error(
        "ended before everything was done: {0} (what a source had not acknowledged comes again)"
    )]
    NotDrained(String),
}

/// What is to be served.
pub struct Serve {
    /// The data folder.
    pub data: PathBuf,
    /// The configuration file to read, also again on SIGHUP; none: no file.
    pub config: Option<PathBuf>,
    /// Where HTTP is served, over what the configuration says.
    pub listen: Option<SocketAddr>,
    /// Folders to watch beside those of the configuration.
    pub watch: Vec<PathBuf>,
    /// What time it is.
    pub clock: Arc<dyn Clock>,
    /// Ends the daemon as SIGTERM does.
    pub stop: Stop,
}

impl Serve {
    /// Serves until SIGTERM, SIGINT or `stop`; `ready` is told the address once all is started.
    pub fn run(&self, ready: &mut dyn FnMut(SocketAddr)) -> Result<(), DaemonError> {
        let plan = self.plan()?;
        let store = SqliteStore::open(&self.data)?;
        let lock = store.lock_daemon()?;
        let (writer, writing) = store.writer()?.on_a_thread()?;
        let (wake, woken) = watch::wake();
        let shared = Arc::new(Shared {
            profiles: Profiles::builtin().map_err(PlanError::from)?,
            all_profiles: RwLock::new(Arc::clone(&plan.profiles)),
            assess: Arc::new(RwLock::new(plan.assess.clone())),
            class: plan.class.clone(),
            registers: RegisterWatch::new(store.clone()),
            clock: Arc::clone(&self.clock),
            bench: Stations::new(plan.bench.clone()),
            roster: Roster::default(),
            writing: Arc::default(),
            watching: Arc::default(),
            assessed: Arc::default(),
            backlog: Arc::default(),
            news: Arc::new(News::new(self.clock.now(), store.clone())?),
            messages: Arc::default(),
            started: Instant::now(),
            store,
            writer,
            wake,
        });
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .max_blocking_threads(64)
            .enable_all()
            .build()?;
        let told = Arc::new(RwLock::new(plan.messages.clone()));
        let (settled, to_tell) = watch::wake();
        let watch = watching(&shared, woken, settled)?;
        let notify = telling(&shared, Arc::clone(&told), to_tell)?;
        let calendar = Arc::new(RwLock::new(plan.reports.clone()));
        let reports = reporting(&shared, self.data.clone(), Arc::clone(&calendar))?;
        let served =
            runtime.block_on(self.serve(plan, &shared, &writing, (&told, &calendar), ready));
        // Even after a failed start nothing may be left running.
        let mut ending = served.unwrap_or_else(Ending::failed);
        ending.add(watch);
        ending.add(reports);
        // What is under way to people gets its time beside the others.
        notify.ask();
        ending.add(notify);
        let ended = ending.finish();
        runtime.shutdown_timeout(Duration::from_secs(1));
        drop(shared);
        let closed = end::close(writing);
        drop(lock);
        ended.and(closed)
    }

    /// What the configuration and the command line ask for.
    fn plan(&self) -> Result<Plan, PlanError> {
        Plan::read(&self.data, self.config.as_deref(), &self.watch)
    }

    async fn serve(
        &self,
        plan: Plan,
        shared: &Arc<Shared>,
        writing: &WriterThread,
        later: Later<'_>,
        ready: &mut dyn FnMut(SocketAddr),
    ) -> Result<Ending, DaemonError> {
        let mut terminate = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut hangup = signal(SignalKind::hangup())?;
        let address = self.listen.or(plan.http.listen).unwrap_or(LISTEN);
        let listening = |why| DaemonError::Listen { address, why };
        let reach = reach(address, &plan.http, &Keys::read(&shared.store.reader()?)?)?;
        let listener = TcpListener::bind(address).map_err(listening)?;
        let standing = Arc::new(Standing::new("http", "http".into()));
        shared.roster.add(Arc::clone(&standing));
        let routes = web::routes(Arc::clone(shared), standing, reach)?;
        let http =
            listener::Serving::start(listener, &plan.http, &self.data, reach, routes).await?;
        let address = http.address;
        let mut crew = Crew::new(Arc::clone(shared));
        let started = crew.change_to(plan.jobs);
        let mut pulse = Pulse::new(Arc::clone(shared));
        if started.is_ok() {
            tracing::info!("listening on {}://{address}", http.scheme());
            pulse.ready();
            ready(address);
            let mut beat = tokio::time::interval(BEAT);
            loop {
                tokio::select! {
                    _ = terminate.recv() => break,
                    _ = interrupt.recv() => break,
                    _ = hangup.recv() => {
                        self.reload(&mut crew, shared, later, &mut pulse, &http).await;
                    }
                    _ = beat.tick() => pulse.beat(),
                }
                if self.stop.is_set() || writing.has_ended() {
                    break;
                }
            }
            tracing::info!("ending: what was read is being stored");
        }
        pulse.stopping();
        let http = http.close();
        let mut ending = crew.end();
        ending.http(http).await;
        if let Err(e) = started {
            ending.fail(e.into());
        }
        if writing.has_ended() {
            ending.fail(DaemonError::WriterEnded);
        }
        Ok(ending)
    }

    /// Reads the configuration again; a wrong one changes nothing.
    async fn reload(
        &self,
        crew: &mut Crew,
        shared: &Shared,
        (messages, calendar): Later<'_>,
        pulse: &mut Pulse,
        http: &listener::Serving,
    ) {
        pulse.reloading();
        match self.plan() {
            Err(e) => tracing::error!("the configuration is kept as it was: {e}"),
            Ok(plan) => {
                if let Some(listen) = plan.http.listen.filter(|_| self.listen.is_none()) {
                    tracing::debug!("`http.listen` = {listen} counts from the next start");
                }
                http.renew(&plan.http, &self.data).await;
                // Joining a source that ends takes a moment; the runtime may go on meanwhile.
                let changed = tokio::task::block_in_place(|| crew.change_to(plan.jobs));
                match changed {
                    Ok(()) => tracing::info!("the configuration was read again"),
                    Err(e) => tracing::error!("a source could not be started: {e}"),
                }
                set(&shared.assess, plan.assess);
                set(&shared.all_profiles, plan.profiles);
                set(messages, plan.messages);
                set(calendar, plan.reports);
                shared.bench.set(plan.bench);
            }
        }
        pulse.ready();
    }
}

/// What may change while the daemon runs: who is told of findings, and which reports come.
type Later<'a> = (&'a RwLock<messages::Settings>, &'a RwLock<Vec<Schedule>>);

fn set<T>(to: &RwLock<T>, value: T) {
    *to.write().unwrap_or_else(PoisonError::into_inner) = value;
}

fn watching(
    shared: &Arc<Shared>,
    woken: std::sync::mpsc::Receiver<()>,
    settled: watch::Wake,
) -> std::io::Result<Thread> {
    let (shared, stop) = (Arc::clone(shared), Stop::default());
    let stopped = stop.clone();
    let mut task = watch::Task {
        store: shared.store.clone(),
        writer: shared.writer.clone(),
        clock: Arc::clone(&shared.clock),
        settings: Arc::clone(&shared.assess),
        stop: stop.clone(),
        health: Arc::clone(&shared.watching),
        assessed: Arc::clone(&shared.assessed),
        backlog: Arc::clone(&shared.backlog),
        onlooker: shared.news.clone(),
        settled,
    };
    Thread::start("watch", stop, Stop::default(), move || {
        end::enduring("watch", &stopped, || task.run(&woken))
    })
}

fn telling(
    shared: &Arc<Shared>,
    settings: Arc<RwLock<messages::Settings>>,
    woken: std::sync::mpsc::Receiver<()>,
) -> std::io::Result<Thread> {
    let stop = Stop::default();
    let stopped = stop.clone();
    let mut office = messages::PostOffice {
        store: shared.store.clone(),
        writer: shared.writer.clone(),
        clock: Arc::clone(&shared.clock),
        settings,
        stop: stop.clone(),
        standing: Arc::clone(&shared.messages),
    };
    Thread::start("notify", stop, Stop::default(), move || {
        end::enduring("notify", &stopped, || office.run(&woken))
    })
}

fn reporting(
    shared: &Arc<Shared>,
    data: PathBuf,
    schedules: Arc<RwLock<Vec<Schedule>>>,
) -> std::io::Result<Thread> {
    let stop = Stop::default();
    let stopped = stop.clone();
    let mut clerk =
        reports::Clerk { shared: Arc::clone(shared), data, schedules, stop: stop.clone() };
    Thread::start("reports", stop, Stop::default(), move || {
        end::enduring("reports", &stopped, || clerk.run())
    })
}
