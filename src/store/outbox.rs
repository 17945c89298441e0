//! Messages on their way to people: what is to be told, to whom, and what became of it.

use crate::model::{Stamp, Text, words};

words!(
    /// What a message tells of a finding.
    Happening, "happening", {
        /// It is there.
        Stated => "stated",
        /// What was told of it stands no longer.
        Withdrawn => "withdrawn",
    }
);

words!(
    /// What became of a message.
    Fate, "fate", {
        /// It is to be sent, or sent again.
        Waiting => "waiting",
        /// The other side has taken it.
        Sent => "sent",
        /// It is not sent any more.
        Dropped => "dropped",
    }
);

/// One finding in a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Told {
    /// The number of the finding, which it keeps however often it is assessed.
    pub finding: u64,
    /// What is told of it.
    pub what: Happening,
}

/// A message to one channel. It is never altered: sent again, it is the same.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// The name of the channel.
    pub channel: Text,
    /// Under which it travels, the same each time it is sent; a channel has each key once.
    pub key: Text,
    /// Whether it goes out in quiet hours too.
    pub urgent: bool,
    /// One line.
    pub subject: Text,
    /// What is sent, in the form of the channel.
    pub content: String,
    /// The findings that it tells of.
    pub tells: Vec<Told>,
}

/// A message in the outbox.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Posted {
    /// A number to name it by.
    pub number: u64,
    /// When it was put there.
    pub posted_at: Stamp,
    /// The message.
    pub message: Message,
    /// What became of it.
    pub fate: Fate,
    /// How often it was tried.
    pub tries: u32,
    /// When it is to be tried next.
    pub due_at: Stamp,
    /// When it was sent or dropped.
    pub ended_at: Option<Stamp>,
    /// What went wrong last, or why it was dropped; empty when nothing did.
    pub error: Text,
}

/// That a channel was, or is to be, told of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Telling {
    /// The number of the message.
    pub message: u64,
    /// What it tells.
    pub told: Told,
    /// When it was put into the outbox.
    pub posted_at: Stamp,
    /// What became of it.
    pub fate: Fate,
}

/// How a waiting message fared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Turn {
    /// The other side has taken it.
    Sent,
    /// It was tried in vain.
    Failed {
        /// What went wrong.
        why: Text,
        /// When it is to be tried again.
        again_at: Stamp,
    },
    /// It is not to be sent any more.
    Dropped {
        /// Why.
        why: Text,
    },
    /// Somebody wants it tried now.
    Hastened,
}

impl Posted {
    /// A message that was just put into the outbox.
    pub(super) fn new(number: u64, now: Stamp, message: Message) -> Self {
        Posted {
            number,
            posted_at: now,
            message,
            fate: Fate::Waiting,
            tries: 0,
            due_at: now,
            ended_at: None,
            error: Text::default(),
        }
    }

    /// The same after a turn; one that is sent or dropped stays as it is.
    pub(super) fn after(mut self, now: Stamp, turn: &Turn) -> Self {
        if self.fate != Fate::Waiting {
            return self;
        }
        match turn {
            Turn::Sent => {
                self.tries += 1;
                (self.fate, self.ended_at) = (Fate::Sent, Some(now));
            }
            Turn::Failed { why, again_at } => {
                self.tries += 1;
                (self.error, self.due_at) = (why.clone(), *again_at);
            }
            Turn::Dropped { why } => {
                self.error = why.clone();
                (self.fate, self.ended_at) = (Fate::Dropped, Some(now));
            }
            Turn::Hastened => self.due_at = now,
        }
        self
    }
}
