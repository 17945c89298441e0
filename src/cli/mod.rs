//! Commands: what is typed becomes calls of the rooms below; data goes to standard output,
//! progress and messages to standard error.

mod args;
mod ask;
mod demo;
mod import;
mod output;
mod place;
mod reading;
mod registers;
mod rejects;
mod upkeep;

use std::process::ExitCode;

use clap::Parser;

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
            Failure::Failed(error.to_string())
        }
    })+ };
}
failures!(
    crate::store::StoreError,
    crate::model::Invalid,
    crate::registry::HandError,
    crate::export::ExportError,
    crate::intake::IntakeError,
    crate::dossier::DossierError,
    crate::config::ConfigError,
    ohmward_parsers::ProfileError,
);

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

/// A message for the person at the terminal, beside the data.
#[expect(clippy::print_stderr, reason = "the one place that writes messages to standard error")]
pub(crate) fn note(text: impl AsRef<str>) {
    eprintln!("{}", text.as_ref());
}
