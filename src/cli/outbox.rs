//! `outbox`: messages to people, sent and waiting; `notify test`: whether they arrive.

use serde::Serialize;

use super::args::{NotifyCommand, OutboxCommand};
use super::output;
use super::place::Place;
use super::{Exit, Failure, note};
use crate::model::Stamp;
use crate::notify::Outgoing;
use crate::store::{Fate, Posted, Reader, Turn, Writer};
use crate::watch::messages::test_message;

/// A message as it is printed.
#[derive(Serialize)]
struct MessageOut {
    number: u64,
    posted_at: String,
    channel: String,
    subject: String,
    urgent: bool,
    fate: &'static str,
    tries: u32,
    /// When it is tried next; none when it has ended.
    due_at: Option<String>,
    /// When it was sent or dropped.
    ended_at: Option<String>,
    error: String,
    key: String,
}

impl MessageOut {
    fn of(posted: &Posted) -> Self {
        let waiting = posted.fate == Fate::Waiting;
        MessageOut {
            number: posted.number,
            posted_at: posted.posted_at.to_string(),
            channel: posted.message.channel.to_string(),
            subject: posted.message.subject.to_string(),
            urgent: posted.message.urgent,
            fate: posted.fate.word(),
            tries: posted.tries,
            due_at: waiting.then(|| posted.due_at.to_string()),
            ended_at: posted.ended_at.as_ref().map(Stamp::to_string),
            error: posted.error.to_string(),
            key: posted.message.key.to_string(),
        }
    }
}

pub(crate) fn outbox(place: &mut Place, command: OutboxCommand) -> Result<Exit, Failure> {
    match command {
        OutboxCommand::List { waiting } => list(place, waiting),
        OutboxCommand::Show { number } => show(place, number),
        OutboxCommand::Retry { numbers } => retry(place, &numbers),
    }
}

fn list(place: &Place, waiting: bool) -> Result<Exit, Failure> {
    let all = place.reader()?.outbox(waiting)?;
    let rows: Vec<MessageOut> = all.iter().map(MessageOut::of).collect();
    let columns = [
        ("number", "no"),
        ("posted_at", "written"),
        ("channel", "channel"),
        ("subject", "subject"),
        ("fate", "fate"),
        ("tries", "tries"),
        ("due_at", "next"),
        ("ended_at", "ended"),
        ("error", "last error"),
    ];
    output::rows(place.format, &columns, &rows, "no messages")?;
    Ok(Exit::Done)
}

fn show(place: &Place, number: u64) -> Result<Exit, Failure> {
    let all = place.reader()?.outbox(false)?;
    let posted = all.iter().find(|posted| posted.number == number).ok_or_else(|| {
        Failure::Failed(format!("there is no message `{number}` (`ohmward outbox list` shows all)"))
    })?;
    output::line(posted.message.content.trim_end())?;
    Ok(Exit::Done)
}

fn retry(place: &mut Place, numbers: &[u64]) -> Result<Exit, Failure> {
    let waiting = place.reader()?.outbox(true)?;
    let wanted = |posted: &&Posted| numbers.is_empty() || numbers.contains(&posted.number);
    let chosen: Vec<u64> = waiting.iter().filter(wanted).map(|posted| posted.number).collect();
    if let Some(missing) = numbers.iter().find(|number| !chosen.contains(number)) {
        return Err(Failure::Failed(format!(
            "message `{missing}` does not wait (`ohmward outbox list --waiting` shows those that do)"
        )));
    }
    let now = place.now;
    let writer = &mut place.writing()?.writer;
    for number in &chosen {
        writer.turn(now, *number, &Turn::Hastened)?;
    }
    note(format!("{} messages are tried again as soon as the service runs", chosen.len()));
    Ok(Exit::Done)
}

pub(crate) fn notify(place: &Place, command: NotifyCommand) -> Result<Exit, Failure> {
    let NotifyCommand::Test { name } = command;
    let addressees = &place.config.messages.addressees;
    let found = addressees.iter().find(|a| *a.channel.name() == name).ok_or_else(|| {
        let known: Vec<_> = addressees.iter().map(|a| a.channel.name().as_str()).collect();
        Failure::Failed(match known.is_empty() {
            true => format!("there is no channel `{name}`: the configuration has none"),
            false => format!("there is no channel `{name}` (there are {})", known.join(", ")),
        })
    })?;
    let origin = match place.has_store() {
        true => place.reader()?.origin()?,
        false => "without a store".to_owned(),
    };
    let at = place.now;
    let (key, subject, content) = test_message(&found.channel, &origin, at);
    let message = Outgoing { key: &key, subject: &subject, content: &content, at };
    found.channel.send(&message).map_err(|e| Failure::Failed(format!("`{name}`: {e}")))?;
    note(format!("`{name}` has taken the test message"));
    Ok(Exit::Done)
}
