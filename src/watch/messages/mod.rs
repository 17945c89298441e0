//! Findings to people: which messages there are, what they say, and how they go out.
//!
//! A round compares the findings as they stand with what each channel was told, and puts what is
//! missing into the outbox. So nothing is told twice, nothing is lost when the program is stopped
//! between two steps, and a finding that is closed or withdrawn before anybody was told is never
//! told at all.
//!
//! - A finding goes singly when it is at most `FRESH_DAYS` old by its measuring time and the
//!   channel had fewer than `SINGLES` single messages within the hour; below the limit first.
//! - Everything else goes together in one summary, once nothing new has come for `CALM`, after
//!   `GATHER` in any case: an import of old data is one message and not a thousand.
//! - In quiet hours only what is below the limit goes; the rest is told when they end.
//! - A message that was sent and whose finding is then withdrawn is followed by one that says so.
//!
//! A message is sent at least once: a program killed after the receiver took it and before that was
//! noted sends it again, under the same key.

mod content;
mod hours;
mod round;
#[cfg(test)]
mod round_tests;
mod task;
mod untold;
mod words;

use crate::model::{DAY_MICROS, FindingKind};
use crate::notify::Channel;

pub use content::test_message;
pub use hours::Hours;
pub use task::{PostOffice, Standing};

/// Days after which a finding is history: it is told together with others.
const FRESH_DAYS: i64 = 14;

/// Single messages to a channel within an hour: more are not read one by one.
const SINGLES: usize = 10;

const MINUTE: u64 = DAY_MICROS as u64 / (24 * 60);

/// How long nothing new must have come before a summary goes out, in µs.
const CALM: u64 = MINUTE;

/// How long a summary is gathered at most, in µs.
const GATHER: u64 = 10 * MINUTE;

/// Who is told of what.
#[derive(Clone, Debug, PartialEq)]
pub struct Addressee {
    /// The way to them.
    pub channel: Channel,
    /// The kinds of findings of which they are told as they come.
    pub kinds: Vec<FindingKind>,
    /// Whether they get the daily digest.
    pub digest: bool,
}

impl Addressee {
    /// The kinds of findings that are told unless something else is said: all that ask for more
    /// than another reading.
    pub fn usual_kinds() -> Vec<FindingKind> {
        FindingKind::ALL.iter().copied().filter(|kind| *kind != FindingKind::Watch).collect()
    }
}

/// Who is told, and when.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// The channels.
    pub addressees: Vec<Addressee>,
    /// Quiet hours and the time of the digest.
    pub hours: Hours,
}
