//! What the configuration asks for: which sources, with which profiles; checked before anything is
//! started.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use ohmward_parsers::{Profile, ProfileError, Profiles};

use crate::config::{
    Config, ConfigError, DropFolder, Http, ProfileFileError, Station, add_profiles,
};
use crate::dossier;
use crate::intake::StreamRule;
use crate::model::{AssetClass, Text};
use crate::notify::SecretFile;
use crate::report::Schedule;
use crate::watch::messages;

/// Why a configuration cannot be carried out.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// It cannot be read.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// A profile cannot be used.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// A profile in the data folder cannot be used.
    #[error("profile `{}`", path.display())]
    ProfileFile {
        /// Which file.
        path: PathBuf,
        /// What is wrong.
        #[source]
        why: ProfileFileError,
    },
    /// A source names a profile that is not there.
    #[error("source `{source_name}`: there is no profile `{profile}` (there are {known})")]
    NoProfile {
        /// Which source.
        source_name: Text,
        /// What it names.
        profile: String,
        /// What there is.
        known: String,
    },
}

/// What the daemon is to do.
pub struct Plan {
    /// Where HTTP is served.
    pub http: Http,
    /// How assets are assessed.
    pub assess: dossier::Settings,
    /// What an asset first met becomes.
    pub class: AssetClass,
    /// The numbers of the run sheet.
    pub(super) bench: crate::bench::Settings,
    /// Every profile there is.
    pub(super) profiles: Arc<Profiles>,
    /// Who is told of findings, and when.
    pub messages: messages::Settings,
    /// Reports that come by themselves.
    pub reports: Vec<Schedule>,
    /// The sources.
    pub(super) jobs: Vec<Job>,
}

/// One source and all that it depends on: when any of it changes, it is started anew.
#[derive(Clone)]
pub(super) enum Job {
    /// A station on a serial port.
    Station {
        /// As configured.
        station: Box<Station>,
        /// How its lines are understood.
        rule: Box<StreamRule>,
    },
    /// A folder.
    Folder {
        /// As configured.
        drop: DropFolder,
        /// The profiles its files may have.
        profiles: Arc<Profiles>,
    },
}

impl Job {
    pub(super) fn kind(&self) -> &'static str {
        match self {
            Job::Station { .. } => "serial",
            Job::Folder { .. } => "folder",
        }
    }

    pub(super) fn name(&self) -> &Text {
        match self {
            Job::Station { station, .. } => &station.port.name,
            Job::Folder { drop, .. } => &drop.folder.name,
        }
    }
}

impl PartialEq for Job {
    fn eq(&self, other: &Self) -> bool {
        let same = |a: &Profile, b: &Profile| a.name() == b.name() && a.source() == b.source();
        match (self, other) {
            (Job::Station { station: a, rule: r }, Job::Station { station: b, rule: s }) => {
                a == b && same(&r.profile, &s.profile)
            }
            (Job::Folder { drop: a, profiles: p }, Job::Folder { drop: b, profiles: q }) => {
                a == b
                    && p.iter().count() == q.iter().count()
                    && p.iter().zip(q.iter()).all(|(p, q)| same(p, q))
            }
            _ => false,
        }
    }
}

impl Plan {
    /// Reads the configuration and the profiles of a data folder; `watch` are more folders.
    pub fn read(data: &Path, config: Option<&Path>, watch: &[PathBuf]) -> Result<Plan, PlanError> {
        let config = match config {
            Some(path) => Config::load(path, true)?,
            None => Config::load(&data.join("config.toml"), false)?,
        };
        let mut profiles = Profiles::builtin()?;
        if let Some((path, why)) = add_profiles(data, &mut profiles).into_iter().next() {
            return Err(PlanError::ProfileFile { path, why });
        }
        let profiles = Arc::new(profiles);
        let mut jobs = Vec::new();
        for station in config.sources.serial {
            let profile = named(&profiles, &station.port.name, &station.profile)?.clone();
            let rule = StreamRule {
                profile,
                around: station.around.clone(),
                test: station.test.clone(),
                // Who lies on the bench is known once the station runs.
                identify: None,
                class: config.first_met.clone(),
            };
            jobs.push(Job::Station { station: Box::new(station), rule: Box::new(rule) });
        }
        let more =
            watch.iter().map(|path| DropFolder::plain(&path.display().to_string(), path.clone()));
        for mut drop in config.sources.folder.into_iter().chain(more) {
            if let Some(profile) = &drop.profile {
                named(&profiles, &drop.folder.name, profile)?;
            }
            if drop.folder.path.is_relative() && !watch.contains(&drop.folder.path) {
                drop.folder.path = data.join(&drop.folder.path);
            }
            jobs.push(Job::Folder { drop, profiles: Arc::clone(&profiles) });
        }
        let mut reports = config.reports;
        for report in reports.iter_mut().filter(|report| report.folder.is_relative()) {
            report.folder = data.join(&report.folder);
        }
        Ok(Plan {
            http: config.http,
            assess: config.assess,
            class: config.first_met,
            bench: config.bench,
            profiles,
            messages: config.messages,
            reports,
            jobs,
        })
    }
}

fn named<'p>(
    profiles: &'p Profiles,
    source_name: &Text,
    name: &str,
) -> Result<&'p Profile, PlanError> {
    profiles.get(name).ok_or_else(|| {
        let known: Vec<_> = profiles.iter().map(Profile::name).collect();
        PlanError::NoProfile {
            source_name: source_name.clone(),
            profile: name.to_owned(),
            known: known.join(", "),
        }
    })
}

/// What a person should know of a plan before it is carried out, in words.
pub fn problems(plan: &Plan) -> Vec<String> {
    let mut out = Vec::new();
    for addressee in &plan.messages.addressees {
        let problem = addressee.channel.secret().and_then(SecretFile::problem);
        out.extend(problem.map(|why| format!("notify `{}`: {why}", addressee.channel.name())));
    }
    for job in &plan.jobs {
        match job {
            Job::Station { station, .. } => {
                let port = &station.port.port;
                if ["/dev/ttyUSB", "/dev/ttyACM"].iter().any(|name| port.starts_with(name)) {
                    out.push(format!(
                        "source `{}`: the number in `{port}` changes when adapters are plugged in \
                         another order (take a name from /dev/serial/by-id, or from \
                         /dev/serial/by-path for adapters without a serial number of their own)",
                        station.port.name
                    ));
                }
                if !Path::new(port).exists() {
                    out.push(format!("source `{}`: `{port}` is not there now", station.port.name));
                }
            }
            Job::Folder { drop, .. } => {
                let path = &drop.folder.path;
                if !path.is_dir() {
                    let path = path.display();
                    out.push(format!(
                        "source `{}`: the folder `{path}` is not there now",
                        drop.folder.name
                    ));
                }
            }
        }
    }
    out
}
