//! The network side of messages: a channel takes one message and sends it, or says why not. Which
//! messages there are, and when, is decided above.

mod address;
mod backoff;
mod email;
mod secret;
mod signature;
mod webhook;

use crate::model::{Stamp, Text};

pub use backoff::backoff;
pub use email::{Email, Security};
pub use secret::SecretFile;
pub use signature::signature;
pub use webhook::Webhook;

/// Longest time one message may take, from looking the name up to the last word of the answer.
pub(crate) const TIME: std::time::Duration = std::time::Duration::from_secs(10);

/// Characters of a receiver's words, or of a subject, that are kept: a line, not a page.
const LINE_CHARS: usize = 200;

/// Why a message did not go out.
#[derive(Debug, thiserror::Error)]
pub enum SendError {
    /// A secret or password is not there.
    #[error("cannot read the secret `{path}`: {why}")]
    Secret {
        /// Which file.
        path: String,
        /// Why, and what to do.
        why: String,
    },
    /// The receiver took the request and refused the message.
    #[error("expected a status from 200 to 299, found {status}{hint}{said}")]
    Status {
        /// What it answered.
        status: u16,
        /// What to do, in brackets; may be empty.
        hint: &'static str,
        /// Its own words, after a colon; may be empty.
        said: String,
    },
    /// The way to the receiver is blocked or broken.
    #[error("{0}")]
    Network(String),
    /// The message cannot be put into the form of the channel.
    #[error("cannot write the message: {0}")]
    Content(String),
}

/// The form in which a channel takes its messages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One JSON object.
    Json,
    /// Plain text.
    Plain,
}

/// One message on its way out.
#[derive(Clone, Copy, Debug)]
pub struct Outgoing<'a> {
    /// Under which it travels, the same each time it is sent.
    pub key: &'a str,
    /// One line.
    pub subject: &'a str,
    /// The message in the channel's form.
    pub content: &'a str,
    /// When it is sent.
    pub at: Stamp,
}

/// A way to people.
#[derive(Clone, Debug, PartialEq)]
pub enum Channel {
    /// A program that takes JSON over HTTP.
    Webhook(Webhook),
    /// A mail server.
    Email(Email),
}

impl Channel {
    /// Its name in the configuration.
    pub fn name(&self) -> &Text {
        match self {
            Channel::Webhook(webhook) => &webhook.name,
            Channel::Email(email) => &email.name,
        }
    }

    /// The form in which it takes messages.
    pub fn form(&self) -> Form {
        match self {
            Channel::Webhook(_) => Form::Json,
            Channel::Email(_) => Form::Plain,
        }
    }

    /// Sends a message and waits until the other side has taken it.
    pub fn send(&self, message: &Outgoing<'_>) -> Result<(), SendError> {
        match self {
            Channel::Webhook(webhook) => webhook.send(message),
            Channel::Email(email) => email.send(message),
        }
    }

    /// The file with its secret, where it has one.
    pub fn secret(&self) -> Option<&SecretFile> {
        match self {
            Channel::Webhook(webhook) => Some(&webhook.secret),
            Channel::Email(email) => email.login.as_ref().map(|(_, password)| password),
        }
    }
}

/// A text as one short line: what could end a line or a header becomes a space.
fn one_line(text: &str) -> String {
    let plain = text.chars().map(|c| if c.is_control() || is_break(c) { ' ' } else { c });
    let line: String = plain.collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ");
    line.chars().take(LINE_CHARS).collect()
}

/// Line and paragraph separators, and marks that turn the direction of writing.
fn is_break(c: char) -> bool {
    matches!(c, '\u{2028}' | '\u{2029}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_cannot_be_left() {
        assert_eq!(one_line("a\r\nBcc: x@y.example\u{2028}\0 b"), "a Bcc: x@y.example b");
        assert_eq!(one_line(&"x".repeat(5_000)).len(), LINE_CHARS);
    }
}
