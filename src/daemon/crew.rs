//! The sources that are running: started, ended and exchanged one by one.

use std::io;
use std::sync::Arc;
use std::sync::mpsc::sync_channel;

use super::end::{Ending, Thread, enduring};
use super::files::Files;
use super::lines::Lines;
use super::plan::Job;
use crate::intake::{StreamRule, TestRule};
use crate::normalise::{Identify, OnBench};
use crate::sources::folder::Folder;
use crate::sources::serial::Serial;
use crate::sources::{Standing, Stop};
use crate::web::Shared;
use crate::{bench, config, limits};

/// All sources but HTTP.
pub(super) struct Crew {
    shared: Arc<Shared>,
    running: Vec<Running>,
}

/// One source: its job, and its threads in the order in which they end.
struct Running {
    job: Job,
    standing: Arc<Standing>,
    threads: Vec<Thread>,
}

impl Crew {
    pub(super) fn new(shared: Arc<Shared>) -> Self {
        Crew { shared, running: Vec::new() }
    }

    /// Ends what is not among the jobs any more or has changed, starts what is new, and leaves the
    /// rest alone.
    pub(super) fn change_to(&mut self, mut jobs: Vec<Job>) -> io::Result<()> {
        let (kept, ended): (Vec<_>, Vec<_>) =
            self.running.drain(..).partition(|running| jobs.contains(&running.job));
        self.running = kept;
        if !ended.is_empty() {
            let names: Vec<_> = ended.iter().map(|r| r.standing.name.as_str()).collect();
            tracing::info!("ending sources: {}", names.join(", "));
            self.leave(ended).finish().unwrap_or_else(|e| tracing::error!("{e}"));
        }
        jobs.retain(|job| self.running.iter().all(|running| running.job != *job));
        for job in jobs {
            let running = self.start(job)?;
            self.running.push(running);
        }
        Ok(())
    }

    /// Asks everybody to end.
    pub(super) fn end(&mut self) -> Ending {
        let all = std::mem::take(&mut self.running);
        self.leave(all)
    }

    fn leave(&self, sources: Vec<Running>) -> Ending {
        let mut ending = Ending::new();
        for running in sources {
            self.shared.roster.remove(&running.standing);
            if let Job::Station { .. } = running.job {
                self.shared.bench.remove(running.job.name());
            }
            for thread in running.threads {
                // All stop reading at once; they are waited for one by one.
                thread.ask();
                ending.add(thread);
            }
        }
        ending
    }

    /// The bench of a station, with the run sheet that was last open there.
    fn bench(&self, station: &config::Station) -> io::Result<Arc<bench::Station>> {
        let always = station.bench.clone();
        let setup = bench::Setup {
            tester: station.around.tester.clone(),
            test_voltage_v: station.around.test_voltage_v,
            starts_itself: station.test != Some(TestRule::Button),
            counts_seconds: matches!(
                station.test,
                Some(TestRule::Pause(_) | TestRule::Marker { .. })
            ),
            always: always.map(|(asset, phase, setup)| OnBench::always(asset, phase, setup)),
        };
        let name = station.port.name.clone();
        let reader = self.shared.store.reader().map_err(io::Error::other)?;
        let bench = bench::Station::new(name, setup, &reader).map_err(io::Error::other)?;
        let bench = Arc::new(bench);
        self.shared.bench.add(Arc::clone(&bench));
        Ok(bench)
    }

    fn start(&self, job: Job) -> io::Result<Running> {
        let abandon = Stop::default();
        let standing = Arc::new(Standing::new(job.kind(), job.name().clone()));
        let threads = match &job {
            Job::Station { station, rule } => {
                let (queue, chunks) = sync_channel(limits::STREAM_QUEUE);
                let stop = Stop::default();
                let serial = Serial {
                    settings: station.port.clone(),
                    clock: Arc::clone(&self.shared.clock),
                    stop: stop.clone(),
                    standing: Arc::clone(&standing),
                    queue,
                };
                let bench = self.bench(station)?;
                let identify: Arc<dyn Identify + Send + Sync> = bench;
                let mut lines = Lines {
                    shared: Arc::clone(&self.shared),
                    rule: StreamRule { identify: Some(identify), ..StreamRule::clone(rule) },
                    standing: Arc::clone(&standing),
                    abandon: abandon.clone(),
                };
                let name = job.name().clone();
                let stopped = stop.clone();
                let reading =
                    Thread::start(&format!("port {name}"), stop, abandon.clone(), move || {
                        enduring(&name, &stopped, || serial.run());
                    })?;
                // It ends by itself once the port's thread has ended and all of its bytes are in.
                let name = job.name().clone();
                let left = abandon.clone();
                let storing =
                    Thread::start(&format!("lines {name}"), Stop::default(), abandon, move || {
                        enduring(&name, &left, || lines.run(&chunks));
                    })?;
                vec![reading, storing]
            }
            Job::Folder { drop, profiles, .. } => {
                let stop = Stop::default();
                let folder = Folder {
                    settings: drop.folder.clone(),
                    clock: Arc::clone(&self.shared.clock),
                    stop: stop.clone(),
                    standing: Arc::clone(&standing),
                };
                let mut files = Files {
                    shared: Arc::clone(&self.shared),
                    drop: drop.clone(),
                    profiles: Arc::clone(profiles),
                    standing: Arc::clone(&standing),
                };
                let name = job.name().clone();
                let stopped = stop.clone();
                vec![Thread::start(&format!("folder {name}"), stop, abandon, move || {
                    enduring(&name, &stopped, || folder.run(&mut |path| files.take(path)));
                })?]
            }
        };
        self.shared.roster.add(Arc::clone(&standing));
        Ok(Running { job, standing, threads })
    }
}
