//! One round: what each channel has not been told goes into the outbox.

use std::collections::{BTreeMap, BTreeSet};

use super::content::{Shown, Writing};
use super::untold::{Item, part, untold};
use super::{Addressee, CALM, GATHER, Settings};
use crate::model::{Finding, FindingKind, Stamp, Text};
use crate::store::{Fate, Message, Reader, Result, Told, Turn, When, Writer};

/// What is gathered for a summary.
#[derive(Debug)]
struct Gathering {
    tells: BTreeSet<Told>,
    began: Stamp,
    changed: Stamp,
}

/// Remembers between rounds what is being gathered. Nothing is lost with it: what is gathered is
/// what was not told, and stands in the store.
#[derive(Debug, Default)]
pub(super) struct Rounds {
    gathering: BTreeMap<Text, Gathering>,
}

impl Rounds {
    /// Puts into the outbox what is to be told now; returns how many messages.
    pub(super) fn round(
        &mut self,
        reader: &dyn Reader,
        writer: &mut dyn Writer,
        now: Stamp,
        settings: &Settings,
    ) -> Result<u64> {
        let findings = reader.numbered_findings(When::ALWAYS)?;
        let origin = reader.origin()?;
        let mut posted = 0;
        for addressee in &settings.addressees {
            let name = addressee.channel.name();
            let tellings = reader.tellings(name)?;
            let quiet = settings.hours.is_quiet(now);
            let mut items = untold(&findings, &tellings, &addressee.kinds);
            items.retain(|item| !quiet || item.is_urgent());
            let writing = Writing { origin: &origin, now, channel: &addressee.channel };
            let messages = match due_digest(reader, &origin, now, settings, addressee)? {
                Some(key) if !quiet => {
                    self.gathering.remove(name);
                    supersede(reader, writer, now, name, &origin)?;
                    vec![writing.digest(&key, &items, standing(&findings, &items))]
                }
                _ => {
                    let (single, together) = part(items, &tellings, now);
                    let mut messages: Vec<Message> =
                        single.iter().map(|item| writing.single(item)).collect();
                    if self.is_gathered(name, &together, now) {
                        messages.push(match together.as_slice() {
                            [item] => writing.single(item),
                            several => writing.summary(several),
                        });
                    }
                    messages
                }
            };
            if !messages.is_empty() {
                posted += writer.post(now, &messages)?;
            }
        }
        Ok(posted)
    }

    /// Whether what goes together is complete, as far as that can be known.
    fn is_gathered(&mut self, channel: &Text, items: &[Item<'_>], now: Stamp) -> bool {
        if items.is_empty() {
            self.gathering.remove(channel);
            return false;
        }
        let tells: BTreeSet<Told> = items.iter().map(Item::told).collect();
        let gathering = self.gathering.entry(channel.clone()).or_insert_with(|| Gathering {
            tells: tells.clone(),
            began: now,
            changed: now,
        });
        if gathering.tells != tells {
            (gathering.tells, gathering.changed) = (tells, now);
        }
        // Also of a clock that was put back.
        let age = |since: Stamp| now.micros().abs_diff(since.micros());
        let done = age(gathering.changed) >= CALM || age(gathering.began) >= GATHER;
        if done {
            self.gathering.remove(channel);
        }
        done
    }
}

/// The key of the digest that is due and was not written yet.
fn due_digest(
    reader: &dyn Reader,
    origin: &str,
    now: Stamp,
    settings: &Settings,
    addressee: &Addressee,
) -> Result<Option<String>> {
    let day = settings.hours.digest_day(now).filter(|_| addressee.digest);
    let Some(day) = day else { return Ok(None) };
    let key = format!("{}{day}", digests(origin));
    let there = reader.posted_at(addressee.channel.name(), &key)?.is_some();
    Ok((!there).then_some(key))
}

fn digests(origin: &str) -> String {
    format!("{origin}/digest/")
}

/// Drops an earlier digest that has not gone out: what stands is told by the new one.
fn supersede(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    now: Stamp,
    channel: &Text,
    origin: &str,
) -> Result<()> {
    let digests = digests(origin);
    for posted in reader.outbox(true)? {
        let message = &posted.message;
        if message.channel == *channel
            && message.key.starts_with(&digests)
            && posted.fate == Fate::Waiting
        {
            let why = "a newer digest takes its place".into();
            writer.turn(now, posted.number, &Turn::Dropped { why })?;
        }
    }
    Ok(())
}

/// What stands and is not among the items.
fn standing(findings: &[(u64, Finding)], items: &[Item<'_>]) -> Vec<Shown> {
    let new: BTreeSet<u64> = items.iter().map(|item| item.number).collect();
    findings
        .iter()
        .filter(|(number, f)| f.is_due() && f.kind != FindingKind::Watch && !new.contains(number))
        .map(|(number, finding)| Shown::standing(*number, finding))
        .collect()
}
