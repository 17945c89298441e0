//! Messages in the forms that channels take.

use serde::Serialize;

use super::untold::Item;
use super::words;
use crate::dossier::{self, Ranked};
use crate::model::{Finding, Stamp, Text};
use crate::notify::{Channel, Form};
use crate::store::{Happening, Message};

/// Findings that travel with one message as JSON; the rest is counted.
const ROWS: usize = 200;

/// The JSON of a message; its shape is part of the outside contract.
#[derive(Serialize)]
struct Body<'a> {
    /// The same each time this message is sent.
    key: &'a str,
    /// `stated`, `withdrawn`, `summary`, `digest` or `test`.
    what: &'a str,
    /// The UUID of the installation.
    origin: &'a str,
    /// As of when it speaks.
    at: String,
    subject: &'a str,
    text: &'a str,
    /// As `GET /v1/declining` has them.
    findings: Vec<Row<'a>>,
    /// How many more there are.
    more: usize,
}

#[derive(Serialize)]
struct Row<'a> {
    /// Which finding: the same in every message about it.
    number: u64,
    /// `stated`, `withdrawn`, or `standing` when it was told before.
    happening: &'static str,
    #[serde(flatten)]
    row: &'a Ranked,
}

/// A finding as a message shows it.
pub(super) struct Shown {
    number: u64,
    /// None: it was told before.
    what: Option<Happening>,
    row: Ranked,
}

impl Shown {
    pub(super) fn new(item: &Item<'_>) -> Self {
        let row = dossier::row(item.finding.clone());
        Shown { number: item.number, what: Some(item.what), row }
    }

    pub(super) fn standing(number: u64, finding: &Finding) -> Self {
        Shown { number, what: None, row: dossier::row(finding.clone()) }
    }
}

/// What all messages of a round share.
pub(super) struct Writing<'a> {
    pub(super) origin: &'a str,
    pub(super) now: Stamp,
    pub(super) channel: &'a Channel,
}

impl Writing<'_> {
    /// A message about one finding.
    pub(super) fn single(&self, item: &Item<'_>) -> Message {
        let what = item.what.word();
        let key = format!("{}/{}/{what}/{}", self.origin, item.number, item.before + 1);
        let shown = [Shown::new(item)];
        let subject = words::subject(item.what, &shown[0].row);
        let text = words::single(item.what, &shown[0].row);
        self.message((&key, what), std::slice::from_ref(item), (&subject, &text), &shown)
    }

    /// A message about several findings that are told together.
    pub(super) fn summary(&self, items: &[Item<'_>]) -> Message {
        let key = format!("{}/summary/{}", self.origin, self.now);
        let shown: Vec<Shown> = items.iter().map(Shown::new).collect();
        let stated = of(&shown, Some(Happening::Stated));
        let gone = of(&shown, Some(Happening::Withdrawn));
        let mut subject = match stated.is_empty() {
            true => String::new(),
            false => format!("findings: {}", words::counts(&stated)),
        };
        if !gone.is_empty() {
            let joint = if subject.is_empty() { "" } else { "; " };
            subject = format!("{subject}{joint}{} withdrawn", gone.len());
        }
        let first = "Told together: there are many of them, or they are seen in old readings.";
        let text = words::several(first, &stated, &gone, &[]);
        self.message((&key, "summary"), items, (&subject, &text), &shown)
    }

    /// The digest of a day: what is new to the channel, and `standing`, what it knows of.
    pub(super) fn digest(&self, key: &str, items: &[Item<'_>], standing: Vec<Shown>) -> Message {
        let mut shown: Vec<Shown> = items.iter().map(Shown::new).collect();
        shown.extend(standing);
        let stated = of(&shown, Some(Happening::Stated));
        let gone = of(&shown, Some(Happening::Withdrawn));
        let rest = of(&shown, None);
        let (new, old) = (stated.len(), rest.len());
        let day = key.rsplit('/').next().unwrap_or_default();
        let subject = format!("digest of {day}: {new} new, {} stand", new + old);
        // Silence would look the same as a service that has stopped.
        let first = match new + old {
            0 => "No finding stands.".to_owned(),
            n => format!("{n} findings stand, {new} of them are new."),
        };
        let text = words::several(&first, &stated, &gone, &rest);
        self.message((key, "digest"), items, (&subject, &text), &shown)
    }

    fn message(
        &self,
        (key, what): (&str, &str),
        items: &[Item<'_>],
        (subject, text): (&str, &str),
        shown: &[Shown],
    ) -> Message {
        Message {
            channel: self.channel.name().clone(),
            key: key.into(),
            urgent: items.iter().any(Item::is_urgent),
            subject: subject.into(),
            content: self.content((key, what), (subject, text), shown),
            tells: items.iter().map(Item::told).collect(),
        }
    }

    fn content(
        &self,
        (key, what): (&str, &str),
        (subject, text): (&str, &str),
        shown: &[Shown],
    ) -> String {
        if self.channel.form() == Form::Plain {
            let (origin, now) = (self.origin, self.now);
            return format!("{text}\n-- \nohmward, installation {origin}, {now}\nmessage {key}\n");
        }
        let rows = shown.iter().take(ROWS).map(|shown| Row {
            number: shown.number,
            happening: shown.what.map_or("standing", Happening::word),
            row: &shown.row,
        });
        let body = Body {
            key,
            what,
            origin: self.origin,
            at: self.now.to_string(),
            subject,
            text,
            findings: rows.collect(),
            more: shown.len().saturating_sub(ROWS),
        };
        // Texts and numbers can always be written; an infinite number becomes null.
        serde_json::to_string(&body).unwrap_or_default()
    }
}

fn of(shown: &[Shown], what: Option<Happening>) -> Vec<&Ranked> {
    shown.iter().filter(|s| s.what == what).map(|s| &s.row).collect()
}

/// A message that says no more than that messages arrive: subject and content for a channel.
pub fn test_message(channel: &Channel, origin: &str, now: Stamp) -> (Text, Text, String) {
    let writing = Writing { origin, now, channel };
    let key = format!("{origin}/test/{now}");
    let subject = "test message";
    let text = format!(
        "Messages from this installation reach `{}`. This one says nothing about any asset.\n",
        channel.name()
    );
    let content = writing.content((&key, "test"), (subject, &text), &[]);
    (key.into(), subject.into(), content)
}
