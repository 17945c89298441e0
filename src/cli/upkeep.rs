//! `check`, completions and the manual page.

use std::io::{self, Write};
use std::path::Path;

use clap::CommandFactory;
use ohmward_parsers::Profiles;
use serde::Serialize;

use super::args::Cli;
use super::output;
use super::place::{Place, shown};
use super::{Exit, Failure};
use crate::daemon;
use crate::registry::Keys;
use crate::store::Reader;

/// One thing that was verified.
#[derive(Serialize)]
pub(super) struct CheckOut {
    pub(super) what: String,
    pub(super) state: &'static str,
    pub(super) detail: String,
}

pub(crate) fn check(place: &mut Place, config: Option<&Path>) -> Result<Exit, Failure> {
    let mut rows = Vec::new();
    let mut say = |what: &str, problems: Vec<String>, fine: String| {
        if problems.is_empty() {
            rows.push(CheckOut { what: what.to_owned(), state: "fine", detail: fine });
        }
        for detail in problems {
            rows.push(CheckOut { what: what.to_owned(), state: "wrong", detail });
        }
    };
    match daemon::Plan::read(&place.dir, config, &[]) {
        Ok(plan) => {
            say("configuration", daemon::problems(&plan), "read".into());
            let keys = match place.has_store() {
                true => Keys::read(&place.reader()?)?,
                false => Keys::default(),
            };
            let address = plan.http.listen.unwrap_or(daemon::LISTEN);
            let mut problems = daemon::certificate_problems(&plan.http, &place.dir);
            if let Err(why) = daemon::reach(address, &plan.http, &keys) {
                problems.push(why.to_string());
            }
            say("http", problems, format!("{address}"));
        }
        Err(why) => say("configuration", vec![super::chain(&why).trim_end().into()], String::new()),
    }
    let mut profiles = Profiles::builtin()?;
    let problems = place.load_profiles(&mut profiles);
    let problems = problems.into_iter().map(|(p, why)| format!("{}: {why}", shown(&p))).collect();
    say("profiles", problems, format!("{} known", profiles.iter().count()));
    if place.has_store() {
        let reader = place.reader()?;
        say("store", reader.check()?, shown(&place.dir));
        say("kept files", reader.check_kept()?, "each as its digest says".into());
    } else {
        say("store", Vec::new(), format!("none yet in {}", shown(&place.dir)));
    }
    let wrong = rows.iter().any(|r| r.state != "fine");
    let columns = [("what", "what"), ("state", "state"), ("detail", "detail")];
    output::rows(place.format, &columns, &rows, "")?;
    Ok(if wrong { Exit::NeedsPerson } else { Exit::Done })
}

/// The card to hang beside the tester.
pub(crate) fn card() -> Result<Exit, Failure> {
    output::line(include_str!("card.txt").trim_end())?;
    Ok(Exit::Done)
}

pub(crate) fn completions(shell: clap_complete::Shell) -> Result<Exit, Failure> {
    let mut buffer = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "ohmward", &mut buffer);
    io::stdout().lock().write_all(&buffer)?;
    Ok(Exit::Done)
}

pub(crate) fn man(folder: Option<&Path>) -> Result<Exit, Failure> {
    if let Some(folder) = folder {
        clap_mangen::generate_to(Cli::command(), folder)
            .map_err(|e| Failure::Failed(format!("cannot write into `{}`: {e}", shown(folder))))?;
        return Ok(Exit::Done);
    }
    let mut buffer = Vec::new();
    let command = Cli::command();
    clap_mangen::Man::new(command.clone()).render(&mut buffer)?;
    for sub in command.get_subcommands().filter(|s| !s.is_hide_set()) {
        let name = format!("ohmward-{}", sub.get_name());
        clap_mangen::Man::new(sub.clone().name(name)).render(&mut buffer)?;
    }
    io::stdout().lock().write_all(&buffer)?;
    Ok(Exit::Done)
}
