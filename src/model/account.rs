//! Who may do what: accounts of people, tokens of programs, and what was noted of their coming.

use std::fmt;

use super::{Invalid, Role, Stamp, Text, text, words};

/// Longest name of an account or token in bytes: it stands beside every change.
const NAME_BYTES: usize = 64;

/// The name of an account or token: one line, never empty.
///
/// # Errors
/// What else was found.
pub fn account_name(name: &str) -> Result<Text, Invalid> {
    let name = text("name", name)?;
    if name.is_empty() || name.len() > NAME_BYTES || name.chars().any(char::is_control) {
        let expected = format!("a name of 1 to {NAME_BYTES} bytes on one line");
        return Err(Invalid::new("name", expected, name));
    }
    Ok(name)
}

/// What a secret is checked against: the hash of a password or the digest of a token. It is never
/// shown, not even in a log.
#[derive(Clone, PartialEq, Eq)]
pub struct Check(String);

impl Check {
    /// As it is stored.
    pub fn new(text: impl Into<String>) -> Self {
        Check(text.into())
    }

    /// For comparing and storing, nothing else.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Check {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Check(…)")
    }
}

/// The account of a person as it is from now on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// How they log in, and what stands on what they change.
    pub name: Text,
    /// What they may do.
    pub role: Role,
    /// The hash of the password, as a PHC string.
    pub password: Check,
    /// Whether it counts no more.
    pub revoked: bool,
}

/// The token of a program as it is from now on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// What stands on what it changes.
    pub name: Text,
    /// What it may do.
    pub role: Role,
    /// The part of it that is no secret: how it is found.
    pub key: Text,
    /// The SHA-256 digest of its secret, in hexadecimal digits.
    pub digest: Check,
    /// When it ends by itself.
    pub expires: Option<Stamp>,
    /// Whether it counts no more.
    pub revoked: bool,
}

impl Token {
    /// Whether it still counts.
    pub fn counts(&self, now: Stamp) -> bool {
        !self.revoked && self.expires.is_none_or(|until| now < until)
    }
}

words!(
    /// What is noted of somebody's coming.
    AccessKind, "access", {
        /// Logged in.
        LoggedIn => "logged in",
        /// Logged out.
        LoggedOut => "logged out",
        /// A name or password was wrong.
        LoginRefused => "login refused",
        /// A token was unknown, revoked or expired.
        TokenRefused => "token refused",
    }
);

/// Somebody came, or was not let in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Access {
    /// What happened.
    pub kind: AccessKind,
    /// The name given, cut to the length of a name.
    pub name: Text,
    /// The address it came from.
    pub client: Text,
    /// How often: refusals that come in floods are counted and noted together.
    pub times: u32,
}
