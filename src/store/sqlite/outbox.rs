//! The outbox: messages, how they fare, and what they tell.

use rusqlite::{Connection, OptionalExtension, params};

use super::cells::{Cells, collect};
use crate::model::Stamp;
use crate::store::{Fate, Happening, Message, Posted, Result, Telling, Told, Turn};

/// Puts messages into the outbox; returns how many were not there yet.
pub(super) fn post(db: &Connection, now: Stamp, messages: &[Message]) -> Result<u64> {
    let mut new = 0;
    for message in messages {
        let there = db
            .prepare_cached("SELECT 1 FROM message WHERE channel = ?1 AND key = ?2")?
            .exists(params![message.channel.as_str(), message.key.as_str()])?;
        if there {
            continue;
        }
        new += 1;
        db.prepare_cached(
            "INSERT INTO message (channel, key, posted_at, urgent, subject, content, fate, tries,
               due_at, error) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, 0, ?3, '')",
        )?
        .execute(params![
            message.channel.as_str(),
            message.key.as_str(),
            now.micros(),
            message.urgent,
            message.subject.as_str(),
            message.content,
            Fate::Waiting.word()
        ])?;
        let no = db.last_insert_rowid();
        for told in &message.tells {
            db.prepare_cached(
                "INSERT INTO told (message, finding, what) VALUES (?1, ?2, ?3)
                 ON CONFLICT DO NOTHING",
            )?
            .execute(params![no, told.finding as i64, told.what.word()])?;
        }
    }
    Ok(new)
}

/// Notes how a message fared.
pub(super) fn turn(db: &Connection, now: Stamp, number: u64, turn: &Turn) -> Result<()> {
    let sql = format!("{POSTED} WHERE no = ?1");
    let Some(posted) = collect(db, "message", &sql, params![number as i64], posted)?.pop() else {
        return Ok(());
    };
    let after = posted.after(now, turn);
    db.prepare_cached(
        "UPDATE message SET fate = ?2, tries = ?3, due_at = ?4, ended_at = ?5, error = ?6
         WHERE no = ?1",
    )?
    .execute(params![
        number as i64,
        after.fate.word(),
        after.tries,
        after.due_at.micros(),
        after.ended_at.map(Stamp::micros),
        after.error.as_str()
    ])?;
    Ok(())
}

const POSTED: &str = "SELECT no, channel, key, posted_at, urgent, subject, content, fate, tries,
  due_at, ended_at, error FROM message";

/// Without what it tells.
fn posted(cells: Cells<'_, '_>) -> Result<Posted> {
    Ok(Posted {
        number: cells.get::<i64>(0)? as u64,
        posted_at: cells.stamp(3)?,
        message: Message {
            channel: cells.text(1)?,
            key: cells.text(2)?,
            urgent: cells.get(4)?,
            subject: cells.text(5)?,
            content: cells.get(6)?,
            tells: Vec::new(),
        },
        fate: cells.word(7, Fate::parse)?,
        tries: cells.get(8)?,
        due_at: cells.stamp(9)?,
        ended_at: cells.maybe_stamp(10)?,
        error: cells.text(11)?,
    })
}

fn told(cells: Cells<'_, '_>, at: usize) -> Result<Told> {
    let finding = cells.get::<i64>(at)? as u64;
    Ok(Told { finding, what: cells.word(at + 1, Happening::parse)? })
}

/// The messages in the outbox, oldest first; `waiting`: only those that are to be sent.
pub(super) fn all(db: &Connection, waiting: bool) -> Result<Vec<Posted>> {
    let filter = if waiting { " WHERE fate = 'waiting'" } else { "" };
    let mut all = collect(db, "message", &format!("{POSTED}{filter} ORDER BY no"), &[], posted)?;
    let sql = "SELECT message, finding, what FROM told WHERE message = ?1 ORDER BY finding, what";
    for posted in &mut all {
        let number = params![posted.number as i64];
        posted.message.tells = collect(db, "told", sql, number, |cells| told(cells, 1))?;
    }
    Ok(all)
}

/// What a channel was told, oldest message first.
pub(super) fn tellings(db: &Connection, channel: &str) -> Result<Vec<Telling>> {
    let sql = "SELECT m.no, m.posted_at, m.fate, t.finding, t.what
      FROM message m JOIN told t ON t.message = m.no WHERE m.channel = ?1
      ORDER BY m.no, t.finding, t.what";
    collect(db, "told", sql, params![channel], |cells| {
        Ok(Telling {
            message: cells.get::<i64>(0)? as u64,
            posted_at: cells.stamp(1)?,
            fate: cells.word(2, Fate::parse)?,
            told: told(cells, 3)?,
        })
    })
}

/// When a message was put into the outbox under this key.
pub(super) fn posted_at(db: &Connection, channel: &str, key: &str) -> Result<Option<Stamp>> {
    let at: Option<i64> = db
        .prepare_cached("SELECT posted_at FROM message WHERE channel = ?1 AND key = ?2")?
        .query_row(params![channel, key], |row| row.get(0))
        .optional()?;
    Ok(at.map(Stamp::from_micros))
}
