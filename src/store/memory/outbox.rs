//! The outbox in memory.

use super::State;
use crate::model::Stamp;
use crate::store::{Fate, Message, Posted, Telling, Turn};

impl State {
    pub(super) fn post(&mut self, now: Stamp, messages: &[Message]) -> u64 {
        let before = self.messages.len();
        for message in messages {
            if self.posted_at(&message.channel, &message.key).is_none() {
                let number = self.messages.len() as u64 + 1;
                let mut message = message.clone();
                message.tells.sort();
                message.tells.dedup();
                self.messages.push(Posted::new(number, now, message));
            }
        }
        (self.messages.len() - before) as u64
    }

    pub(super) fn turn(&mut self, now: Stamp, number: u64, turn: &Turn) {
        if let Some(posted) = self.messages.iter_mut().find(|posted| posted.number == number) {
            *posted = posted.clone().after(now, turn);
        }
    }

    pub(super) fn outbox(&self, waiting: bool) -> Vec<Posted> {
        let all = self.messages.iter().filter(|p| !waiting || p.fate == Fate::Waiting);
        all.cloned().collect()
    }

    pub(super) fn tellings(&self, channel: &str) -> Vec<Telling> {
        let of_channel = self.messages.iter().filter(|p| p.message.channel == channel);
        let each = of_channel.flat_map(|p| {
            p.message.tells.iter().map(|&told| Telling {
                message: p.number,
                told,
                posted_at: p.posted_at,
                fate: p.fate,
            })
        });
        each.collect()
    }

    pub(super) fn posted_at(&self, channel: &str, key: &str) -> Option<Stamp> {
        let same = |p: &&Posted| p.message.channel == channel && p.message.key == key;
        self.messages.iter().find(same).map(|p| p.posted_at)
    }
}
