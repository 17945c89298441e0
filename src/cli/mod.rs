//! Commands: what is typed becomes calls of the rooms below; data goes to standard output,
//! progress and messages to standard error.

mod account;
mod args;
mod ask;
mod assess;
mod audit;
mod backup;
mod chart;
mod demo;
mod draft;
mod due;
mod export;
mod finding;
mod history;
mod import;
mod lab;
mod learnt;
mod log;
mod near;
mod outbox;
mod output;
mod place;
mod quality;
mod reading;
mod registers;
mod rejects;
mod replay;
mod report;
mod serve;
mod thin;
mod upkeep;

use std::process::ExitCode;

use clap::Parser;

use crate::export::ExportError;

pub(crate) use args::{Cli, Command};

/// How a command ended; printed as the process's exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Done.
    Done,
    /// Done, and something needs a person.
    NeedsPerson,
}

/// Why a command failed: the whole chain is printed once, by [`run`].
#[derive(Debug, thiserror::Error)]
pub(crate) enum Failure {
    /// The command line makes no sense as a whole.
    #[error("{0}")]
    Usage(String),
    /// Anything that keeps the command from doing its work.
    #[error("{0}")]
    Failed(String),
    /// Standard output was closed: nobody is reading any more.
    #[error("output: {0}")]
    Output(#[from] std::io::Error),
}

/// Turns the errors of the rooms below into failures with their own words.
macro_rules! failures {
    ($($error:ty),+ $(,)?) => { $(impl From<$error> for Failure {
        fn from(error: $error) -> Self {
            Failure::Failed(chain(&error))
        }
    })+ };
}
failures!(
    crate::store::StoreError,
    crate::model::Invalid,
    crate::registry::HandError,
    crate::registry::AccountError,
    crate::intake::IntakeError,
    crate::dossier::DossierError,
    crate::report::FormError,
    crate::config::ConfigError,
    crate::daemon::DaemonError,
    crate::daemon::PlanError,
    ohmward_parsers::ProfileError,
);

impl From<ExportError> for Failure {
    fn from(error: ExportError) -> Self {
        match error {
            // Nobody reads any more: that is no failure of the export.
            ExportError::Io(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Failure::Output(e),
            other => Failure::Failed(chain(&other)),
        }
    }
}

/// An error with what lies behind it, outermost first; printed once, here.
pub(crate) fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut inner = error.source();
    while let Some(cause) = inner {
        text.push_str(": ");
        text.push_str(cause.to_string().trim_end());
        inner = cause.source();
    }
    text
}

/// Runs the program; the exit codes are those of the README.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    match cli.run() {
        Ok(Exit::Done) => ExitCode::SUCCESS,
        Ok(Exit::NeedsPerson) => ExitCode::from(1),
        Err(Failure::Output(e)) if e.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(failure) => {
            note(format!("ohmward: {failure}"));
            ExitCode::from(if matches!(failure, Failure::Usage(_)) { 2 } else { 3 })
        }
    }
}

impl Cli {
    /// Does what was asked.
    pub(crate) fn run(self) -> Result<Exit, Failure> {
        let asked_for = self.global.data.is_some();
        let mut place = match self.command {
            Command::Check => place::Place::unconfigured(&self.global)?,
            _ => place::Place::new(&self.global)?,
        };
        let place = &mut place;
        match self.command {
            Command::Serve(args) => serve::serve(place, &self.global, args),
            Command::Import(args) => import::import(place, args),
            Command::Declining(args) => ask::declining(place, args),
            Command::Assess(args) => assess::assess(place, args),
            Command::History(args) => history::history(place, args),
            Command::Lab(args) => lab::lab(place, args),
            Command::Due(args) => due::due(place, &args),
            Command::Replay(args) => replay::replay(place, args),
            Command::Report(args) => report::report(place, args),
            Command::Learnt => learnt::learnt(place),
            Command::Finding(args) => finding::finding(place, args),
            Command::Reading(args) => reading::reading(place, args),
            Command::Class(args) => registers::class(place, args),
            Command::Asset(args) => registers::asset(place, args),
            Command::Event(args) => registers::event(place, args),
            Command::Gear(args) => registers::gear(place, args),
            Command::Proof(args) => registers::proof(place, args),
            Command::Alias(args) => registers::alias(place, args),
            Command::Profile(args) => rejects::profile(place, args),
            Command::Rejects(args) => rejects::rejects(place, args),
            Command::Tray(args) => reading::tray(place, args),
            Command::Account(args) => account::account(place, args),
            Command::Token(args) => account::token(place, args),
            Command::Notify(args) => outbox::notify(place, args),
            Command::Outbox(args) => outbox::outbox(place, args),
            Command::Audit(args) => audit::audit(place, args),
            Command::Export(args) => export::export(place, args),
            Command::Backup { file } => backup::backup(place, &file),
            Command::Restore(args) => backup::restore(place, &args),
            Command::Thin(args) => thin::thin(place, &args),
            Command::Card => upkeep::card(),
            Command::Check => upkeep::check(place, self.global.config.as_deref()),
            Command::Demo(args) => demo::demo(place, args, asked_for),
            Command::Completions { shell } => upkeep::completions(shell),
            Command::Man { output } => upkeep::man(output.as_deref()),
        }
    }
}

/// A message for the person at the terminal, beside the data.
#[expect(clippy::print_stderr, reason = "the one place that writes messages to standard error")]
pub(crate) fn note(text: impl AsRef<str>) {
    eprintln!("{}", text.as_ref());
}
