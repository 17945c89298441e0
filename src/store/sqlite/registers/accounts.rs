//! Accounts, tokens, and who came.

use std::collections::BTreeMap;

use rusqlite::{Connection, ToSql, params};

use super::Recording;
use crate::model::{Access, AccessKind, Account, Check, Role, Stamp, Text, Token};
use crate::store::sqlite::cells::collect;
use crate::store::{Recorded, Result, When};

/// Records an account as it is from now on.
pub(super) fn add(to: &mut Recording<'_>, account: &Account) -> Result<bool> {
    let known = select(to.db, "a.name = ?1", params![account.name.as_str()])?;
    if known.iter().any(|row| row.value == *account) {
        return Ok(false);
    }
    let Account { name, role, password, revoked } = account;
    to.db
        .prepare_cached(
            "INSERT INTO account (batch, name, role, password, revoked)
             VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![to.batch, name.as_str(), role.word(), password.as_str(), revoked])?;
    Ok(true)
}

/// Records a token as it is from now on.
pub(super) fn add_token(to: &mut Recording<'_>, token: &Token) -> Result<bool> {
    let known = select_tokens(to.db, "t.name = ?1", params![token.name.as_str()])?;
    if known.iter().any(|row| row.value == *token) {
        return Ok(false);
    }
    let Token { name, role, key, digest, expires, revoked } = token;
    to.db
        .prepare_cached(
            "INSERT INTO token (batch, name, role, key, digest, expires_at, revoked)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        )?
        .execute(params![
            to.batch,
            name.as_str(),
            role.word(),
            key.as_str(),
            digest.as_str(),
            expires.map(Stamp::micros),
            revoked
        ])?;
    Ok(true)
}

/// Notes that somebody came, or was not let in.
pub(super) fn add_access(to: &mut Recording<'_>, access: &Access) -> Result<bool> {
    let Access { kind, name, client, times } = access;
    to.db
        .prepare_cached(
            "INSERT INTO access (batch, kind, name, client, times) VALUES (?1, ?2, ?3, ?4, ?5)",
        )?
        .execute(params![to.batch, kind.word(), name.as_str(), client.as_str(), times])?;
    Ok(true)
}

/// All accounts as they were known, by name.
pub(in crate::store::sqlite) fn all(db: &Connection, when: When) -> Result<Vec<Recorded<Account>>> {
    select(db, "b.received_at <= ?1", params![when.known_at.micros()])
}

/// All tokens as they were known, by name.
pub(in crate::store::sqlite) fn tokens(
    db: &Connection,
    when: When,
) -> Result<Vec<Recorded<Token>>> {
    select_tokens(db, "b.received_at <= ?1", params![when.known_at.micros()])
}

/// Who came from an instant on, oldest first.
pub(in crate::store::sqlite) fn accesses(
    db: &Connection,
    since: Stamp,
    when: When,
) -> Result<Vec<Recorded<Access>>> {
    let sql = "SELECT a.no, a.kind, a.name, a.client, a.times, b.received_at, s.name
         FROM access a JOIN batch b ON b.no = a.batch JOIN source s ON s.no = b.source
         WHERE b.received_at >= ?1 AND b.received_at <= ?2 ORDER BY a.no";
    let span = params![since.micros(), when.known_at.micros()];
    collect(db, "access", sql, span, |cells| {
        let value = Access {
            kind: cells.word(1, AccessKind::parse)?,
            name: cells.text(2)?,
            client: cells.text(3)?,
            times: cells.get(4)?,
        };
        Ok(Recorded { value, mark: cells.mark(5)? })
    })
}

fn select(db: &Connection, which: &str, params: &[&dyn ToSql]) -> Result<Vec<Recorded<Account>>> {
    Ok(standing(rows(db, which, params)?, |account| &account.name))
}

/// Every row of an account, as recorded.
pub(in crate::store::sqlite) fn rows(
    db: &Connection,
    which: &str,
    params: &[&dyn ToSql],
) -> Result<Vec<Recorded<Account>>> {
    let sql = format!(
        "SELECT a.no, a.name, a.role, a.password, a.revoked, b.received_at, s.name
         FROM account a JOIN batch b ON b.no = a.batch JOIN source s ON s.no = b.source
         WHERE {which} ORDER BY a.no"
    );
    collect(db, "account", &sql, params, |cells| {
        let value = Account {
            name: cells.text(1)?,
            role: cells.word(2, Role::parse)?,
            password: Check::new(cells.text(3)?),
            revoked: cells.get(4)?,
        };
        Ok(Recorded { value, mark: cells.mark(5)? })
    })
}

fn select_tokens(
    db: &Connection,
    which: &str,
    params: &[&dyn ToSql],
) -> Result<Vec<Recorded<Token>>> {
    Ok(standing(token_rows(db, which, params)?, |token| &token.name))
}

/// Every row of a token, as recorded.
pub(in crate::store::sqlite) fn token_rows(
    db: &Connection,
    which: &str,
    params: &[&dyn ToSql],
) -> Result<Vec<Recorded<Token>>> {
    let sql = format!(
        "SELECT t.no, t.name, t.role, t.key, t.digest, t.expires_at, t.revoked, b.received_at,
           s.name
         FROM token t JOIN batch b ON b.no = t.batch JOIN source s ON s.no = b.source
         WHERE {which} ORDER BY t.no"
    );
    collect(db, "token", &sql, params, |cells| {
        let value = Token {
            name: cells.text(1)?,
            role: cells.word(2, Role::parse)?,
            key: cells.text(3)?,
            digest: Check::new(cells.text(4)?),
            expires: cells.maybe_stamp(5)?,
            revoked: cells.get(6)?,
        };
        Ok(Recorded { value, mark: cells.mark(7)? })
    })
}

fn standing<T>(rows: Vec<Recorded<T>>, name: fn(&T) -> &Text) -> Vec<Recorded<T>> {
    let rows = rows.into_iter().map(|row| (name(&row.value).clone(), row));
    rows.collect::<BTreeMap<_, _>>().into_values().collect()
}
