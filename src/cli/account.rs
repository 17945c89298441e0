//! `account` and `token`: who may use the service beyond this machine.

use std::io::{self, BufRead, IsTerminal, Read, Write};

use rustix::termios::{LocalModes, OptionalActions, tcgetattr, tcsetattr};
use serde::Serialize;

use super::args::{AccountCommand, TokenCommand};
use super::output::{self, Format};
use super::place::Place;
use super::{Exit, Failure, note};
use crate::limits::PASSWORD_BYTES;
use crate::model::Role;
use crate::registry::{AccountError, Keys, Office};
use crate::store::Reader;

#[derive(Serialize)]
struct AccountOut {
    name: String,
    role: &'static str,
    state: &'static str,
    recorded_at: String,
    by: String,
}

#[derive(Serialize)]
struct TokenOut {
    name: String,
    role: &'static str,
    state: &'static str,
    expires: Option<String>,
    recorded_at: String,
    by: String,
}

/// What is printed once of a token.
#[derive(Serialize)]
struct NewTokenOut<'a> {
    name: &'a str,
    role: &'static str,
    token: String,
}

pub(crate) fn account(place: &mut Place, command: AccountCommand) -> Result<Exit, Failure> {
    match command {
        AccountCommand::List => {
            let rows = place.reader()?.accounts(place.when)?.into_iter().map(|r| AccountOut {
                name: r.value.name.into(),
                role: r.value.role.word(),
                state: if r.value.revoked { "revoked" } else { "counts" },
                recorded_at: r.mark.recorded_at.to_string(),
                by: r.mark.by.into(),
            });
            let columns = [
                ("name", "name"),
                ("role", "role"),
                ("state", "state"),
                ("recorded_at", "since"),
                ("by", "by"),
            ];
            let rows: Vec<_> = rows.collect();
            output::rows(place.format, &columns, &rows, "no accounts yet")?;
            return Ok(Exit::Done);
        }
        AccountCommand::Add { name, role, by } => {
            let role = Role::parse(&role)?;
            let password = password()?;
            office(place, by.by, |office| office.add_account(&name, role, &password))?;
            note(format!("added: `{name}` may log in as {role}"));
        }
        AccountCommand::Password { name, by } => {
            let password = password()?;
            office(place, by.by, |office| office.set_password(&name, &password))?;
            note("set: whoever was logged in under this name is logged out");
        }
        AccountCommand::Role { name, role, by } => {
            let role = Role::parse(&role)?;
            office(place, by.by, |office| office.set_role(&name, role))?;
            note(format!("set: `{name}` is logged out, and may log in as {role}"));
        }
        AccountCommand::Revoke { name, by } => {
            office(place, by.by, |office| office.revoke_account(&name))?;
            note("revoked: whoever was logged in under this name is logged out");
            warn_of_nobody(place)?;
        }
    }
    Ok(Exit::Done)
}

pub(crate) fn token(place: &mut Place, command: TokenCommand) -> Result<Exit, Failure> {
    match command {
        TokenCommand::List => {
            let now = place.now;
            let rows = place.reader()?.tokens(place.when)?.into_iter().map(|r| TokenOut {
                state: match (r.value.revoked, r.value.counts(now)) {
                    (true, _) => "revoked",
                    (false, false) => "expired",
                    (false, true) => "counts",
                },
                name: r.value.name.into(),
                role: r.value.role.word(),
                expires: r.value.expires.map(|at| at.to_string()),
                recorded_at: r.mark.recorded_at.to_string(),
                by: r.mark.by.into(),
            });
            let columns = [
                ("name", "name"),
                ("role", "role"),
                ("state", "state"),
                ("expires", "expires"),
                ("recorded_at", "since"),
                ("by", "by"),
            ];
            let rows: Vec<_> = rows.collect();
            output::rows(place.format, &columns, &rows, "no tokens yet")?;
        }
        TokenCommand::Add { name, role, expires, by } => {
            let role = Role::parse(&role)?;
            let token = office(place, by.by, |office| office.add_token(&name, role, expires))?;
            match place.format {
                Format::Table => output::line(&token)?,
                _ => output::json(&NewTokenOut { name: &name, role: role.word(), token })?,
            }
            note(
                "this is shown once: keep it where only the program reads it; it is sent as \
                 `Authorization: Bearer …`",
            );
        }
        TokenCommand::Revoke { name, by } => {
            office(place, by.by, |office| office.revoke_token(&name))?;
            note("revoked: it counts no more");
            warn_of_nobody(place)?;
        }
    }
    Ok(Exit::Done)
}

fn office<T>(
    place: &mut Place,
    by: Option<String>,
    change: impl FnOnce(&mut Office<'_>) -> Result<T, AccountError>,
) -> Result<T, Failure> {
    let by = place.by(by)?;
    let now = place.now;
    let open = place.writing()?;
    let mut office = Office { reader: &open.reader, writer: &mut open.writer, now, by: &by };
    Ok(change(&mut office)?)
}

/// With nobody left, a service on this machine alone asks no one who they are.
fn warn_of_nobody(place: &mut Place) -> Result<(), Failure> {
    if Keys::read(&place.writing()?.reader)?.is_empty() {
        note(
            "no account or token is left: a service that listens on this machine alone is open to \
             all its users again; one that listens beyond lets nobody in",
        );
    }
    Ok(())
}

/// The password: asked for twice without echo, or the first line of standard input.
fn password() -> Result<String, Failure> {
    if !io::stdin().is_terminal() {
        let mut line = String::new();
        io::stdin().lock().take(PASSWORD_BYTES as u64 + 3).read_line(&mut line)?;
        return Ok(line.trim_end_matches(['\r', '\n']).to_owned());
    }
    let first = ask("password: ")?;
    if ask("once more: ")? != first {
        return Err(Failure::Failed("the two passwords are not the same: nothing was done".into()));
    }
    Ok(first)
}

/// Asks at the terminal; what is typed is not shown.
fn ask(prompt: &str) -> Result<String, Failure> {
    let terminal = io::stdin();
    let failed = |e: rustix::io::Errno| Failure::Failed(format!("cannot ask without echo: {e}"));
    let before = tcgetattr(&terminal).map_err(failed)?;
    let mut silent = before.clone();
    silent.local_modes.remove(LocalModes::ECHO);
    silent.local_modes.insert(LocalModes::ECHONL);
    tcsetattr(&terminal, OptionalActions::Flush, &silent).map_err(failed)?;
    let mut line = String::new();
    let read = (|| {
        let mut out = io::stderr().lock();
        out.write_all(prompt.as_bytes())?;
        out.flush()?;
        terminal.lock().read_line(&mut line)
    })();
    // Whatever happened, the terminal is left as it was found.
    tcsetattr(&terminal, OptionalActions::Flush, &before).map_err(failed)?;
    read?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}
