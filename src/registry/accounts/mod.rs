//! Accounts of people and tokens of programs: made, changed and revoked by people, each time as a
//! new row.

mod keys;
mod secret;

pub use keys::Keys;
pub use secret::{digest, random};

use super::{HandError, person};
use crate::limits::{PASSWORD_BYTES, PASSWORD_CHARS};
use crate::model::{Account, Invalid, Role, Stamp, Text, Token, account_name};
use crate::store::{Change, Reader, StoreError, When, Writer};

/// Why an account or token was not changed.
#[derive(Debug, thiserror::Error)]
pub enum AccountError {
    /// A value that cannot be.
    #[error(transparent)]
    Invalid(#[from] Invalid),
    /// Nobody says who does it.
    #[error(transparent)]
    By(#[from] HandError),
    /// The store refused.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Somebody has that name already.
    #[error("`{0}` is taken (a name stands for one account or token; revoke that one first)")]
    Taken(Text),
    /// There is nobody of that name.
    #[error("there is no {what} `{name}` (`ohmward {what} list` shows all)")]
    Unknown {
        /// `account` or `token`.
        what: &'static str,
        /// The name given.
        name: Text,
    },
    /// The password cannot be used.
    #[error(
        "the password: expected {PASSWORD_CHARS} characters to {PASSWORD_BYTES} bytes, found {0} characters"
    )]
    Password(usize),
    /// The end of a token lies in the past.
    #[error("`expires`: expected a time after now, found `{0}`")]
    Past(Stamp),
    /// The system gave no random bytes, or the hash could not be made.
    #[error("a secret cannot be made: {0}")]
    Secret(String),
}

type Result<T> = std::result::Result<T, AccountError>;

/// The store as it is read and written by one person at one time.
pub struct Office<'a> {
    /// To see who is there.
    pub reader: &'a dyn Reader,
    /// To record what changes.
    pub writer: &'a mut dyn Writer,
    /// When.
    pub now: Stamp,
    /// Who does it.
    pub by: &'a str,
}

impl Office<'_> {
    /// Makes an account.
    pub fn add_account(&mut self, name: &str, role: Role, password: &str) -> Result<()> {
        let name = self.free(name)?;
        let password = secret::hash(usable(password)?)?;
        self.record(Change::Account(Account { name, role, password, revoked: false }))
    }

    /// Gives an account another password; whoever is logged in under it is logged out.
    pub fn set_password(&mut self, name: &str, password: &str) -> Result<()> {
        let account = self.account(name)?;
        let password = secret::hash(usable(password)?)?;
        self.record(Change::Account(Account { password, ..account }))
    }

    /// Gives an account another role; whoever is logged in under it is logged out.
    pub fn set_role(&mut self, name: &str, role: Role) -> Result<()> {
        let account = self.account(name)?;
        self.record(Change::Account(Account { role, ..account }))
    }

    /// Revokes an account; whoever is logged in under it is logged out.
    pub fn revoke_account(&mut self, name: &str) -> Result<()> {
        let account = self.account(name)?;
        self.record(Change::Account(Account { revoked: true, ..account }))
    }

    /// Makes a token; returns it whole, which is never possible again.
    pub fn add_token(&mut self, name: &str, role: Role, expires: Option<Stamp>) -> Result<String> {
        let name = self.free(name)?;
        if let Some(past) = expires.filter(|&until| until <= self.now) {
            return Err(AccountError::Past(past));
        }
        let (key, token) = secret::new_token()?;
        let digest = secret::digest(&token);
        self.record(Change::Token(Token { name, role, key, digest, expires, revoked: false }))?;
        Ok(token)
    }

    /// Revokes a token.
    pub fn revoke_token(&mut self, name: &str) -> Result<()> {
        let keys = Keys::read(self.reader)?;
        let token = keys.tokens.into_iter().find(|token| token.name == name);
        let token = token.ok_or(AccountError::Unknown { what: "token", name: name.into() })?;
        self.record(Change::Token(Token { revoked: true, ..token }))
    }

    fn account(&self, name: &str) -> Result<Account> {
        let keys = Keys::read(self.reader)?;
        let account = keys.accounts.into_iter().find(|account| account.name == name);
        account.ok_or(AccountError::Unknown { what: "account", name: name.into() })
    }

    /// A name that nobody has: what a name did must be told apart, so capitals do not matter here.
    fn free(&self, name: &str) -> Result<Text> {
        let name = account_name(name)?;
        let same = |other: &Text| other.to_lowercase() == name.to_lowercase();
        let when = When::ALWAYS;
        let mut accounts = self.reader.accounts(when)?.into_iter().map(|row| row.value);
        let mut tokens = self.reader.tokens(when)?.into_iter().map(|row| row.value);
        // One that was revoked may come back under its own name.
        let taken = accounts.any(|a| same(&a.name) && !(a.revoked && a.name == name))
            || tokens.any(|t| same(&t.name) && !(t.revoked && t.name == name));
        if taken { Err(AccountError::Taken(name)) } else { Ok(name) }
    }

    fn record(&mut self, change: Change) -> Result<()> {
        let by = person(self.by)?;
        self.writer.record(self.now, &by, &[change])?;
        Ok(())
    }
}

fn usable(password: &str) -> Result<&str> {
    let count = password.chars().count();
    if count < PASSWORD_CHARS || password.len() > PASSWORD_BYTES {
        return Err(AccountError::Password(count));
    }
    Ok(password)
}
