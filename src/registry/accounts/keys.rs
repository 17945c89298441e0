//! Who may come in as of now, and whether a secret fits.

use std::sync::OnceLock;

use subtle::ConstantTimeEq;

use super::secret;
use crate::model::{Account, Check, Stamp, Token};
use crate::store::{Reader, Result, When};

/// The accounts and tokens that are not revoked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Keys {
    /// By name.
    pub accounts: Vec<Account>,
    /// By name; some may have expired.
    pub tokens: Vec<Token>,
}

impl Keys {
    /// Reads them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn read(reader: &dyn Reader) -> Result<Self> {
        let accounts = reader.accounts(When::ALWAYS)?.into_iter().map(|row| row.value);
        let tokens = reader.tokens(When::ALWAYS)?.into_iter().map(|row| row.value);
        Ok(Keys {
            accounts: accounts.filter(|account| !account.revoked).collect(),
            tokens: tokens.filter(|token| !token.revoked).collect(),
        })
    }

    /// Whether there is nobody who could be let in: then a service on this machine alone is open.
    pub fn is_empty(&self) -> bool {
        self.accounts.is_empty() && self.tokens.is_empty()
    }

    /// The account of that name, if the password is its own. Takes some ten milliseconds, as long
    /// for a name that does not exist.
    pub fn log_in(&self, name: &str, password: &str) -> Option<&Account> {
        let account = self.accounts.iter().find(|account| account.name == name);
        let fits = secret::fits(password, account.map_or(nobody(), |account| &account.password));
        account.filter(|_| fits)
    }

    /// The token that was shown, if it counts. As much is compared for one that does not exist.
    pub fn token(&self, shown: &str, now: Stamp) -> Option<&Token> {
        let key = secret::key_of(shown).unwrap_or_default();
        let token = self.tokens.iter().find(|token| token.key == key);
        let digest = secret::digest(shown);
        let kept = token.map_or(&digest, |token| &token.digest);
        let fits: bool = digest.as_str().as_bytes().ct_eq(kept.as_str().as_bytes()).into();
        token.filter(|token| fits && token.counts(now))
    }
}

/// The hash that a password of nobody is held against; of a password that is thrown away.
fn nobody() -> &'static Check {
    static HASH: OnceLock<Check> = OnceLock::new();
    HASH.get_or_init(|| {
        let hash = secret::random::<32>().and_then(|password| secret::hash(&password));
        hash.unwrap_or_else(|_| Check::new(String::new()))
    })
}
