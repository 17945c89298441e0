//! Secrets: how they are made, and what is kept of them.

use std::fmt::Write;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use sha2::{Digest, Sha256};

use super::AccountError;
use crate::model::{Check, Text};

/// Tells our tokens from other texts, so that a forgotten one is recognised.
const TOKEN: &str = "ohmward";

/// The argon2id hash of a password as a PHC string, with a salt of its own and the parameters that
/// the library takes by itself: 19 MiB, two passes, one lane (OWASP's advice at its version 0.5).
pub(super) fn hash(password: &str) -> Result<Check, AccountError> {
    let hash: PasswordHash = Argon2::default()
        .hash_password(password.as_bytes())
        .map_err(|e| AccountError::Secret(e.to_string()))?;
    Ok(Check::new(hash.to_string()))
}

/// Whether a password has this hash. Takes as long with a wrong one.
pub(super) fn fits(password: &str, hash: &Check) -> bool {
    PasswordHash::new(hash.as_str())
        .is_ok_and(|hash| Argon2::default().verify_password(password.as_bytes(), &hash).is_ok())
}

/// A new token: the part by which it is found, and the whole with 256 random bits.
pub(super) fn new_token() -> Result<(Text, String), AccountError> {
    let key = Text::from(random::<8>()?);
    let token = format!("{TOKEN}_{key}_{}", random::<32>()?);
    Ok((key, token))
}

/// The part of a token by which it is found.
pub(super) fn key_of(token: &str) -> Option<&str> {
    let (key, _) = token.strip_prefix(TOKEN)?.strip_prefix('_')?.split_once('_')?;
    Some(key)
}

/// The SHA-256 digest of a random secret: enough to check it, and of no use to whoever reads it.
pub fn digest(secret: &str) -> Check {
    Check::new(hex(&Sha256::digest(secret.as_bytes())))
}

/// `N` random bytes of the system in hexadecimal digits.
///
/// # Errors
/// When the system has none.
pub fn random<const N: usize>() -> Result<String, AccountError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| AccountError::Secret(e.to_string()))?;
    Ok(hex(&bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut out, byte| {
        // Writing to a text cannot fail.
        write!(out, "{byte:02x}").unwrap_or_default();
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example message `abc`; digest from NIST's examples for SHA-256.
    #[test]
    fn a_digest_is_that_of_the_standard() {
        let published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(digest("abc").as_str(), published);
    }

    #[test]
    fn a_password_is_kept_as_argon2id_with_a_salt_of_its_own() {
        let (one, other) = (hash("quay at low tide").unwrap(), hash("quay at low tide").unwrap());
        assert!(one.as_str().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{}", one.as_str());
        assert_ne!(one, other);
        assert!(fits("quay at low tide", &one) && !fits("quay at high tide", &one));
        assert!(!fits("anything", &Check::new("damaged")));
        assert_eq!(format!("{one:?}"), "Check(…)");
    }

    #[test]
    fn a_token_is_found_by_its_key() {
        let (key, token) = new_token().unwrap();
        assert_eq!(key_of(&token), Some(key.as_str()));
        assert_eq!(token.len(), "ohmward_".len() + 16 + 1 + 64);
        for other in ["", "ohmward", "ohmward_", "ohmward_1", "other_1_2"] {
            assert_eq!(key_of(other), None, "{other}");
        }
    }
}
