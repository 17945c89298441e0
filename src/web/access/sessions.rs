//! Sessions of people who logged in: kept as digests, in memory, as long as the daemon runs.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

use crate::limits::{SESSION_IDLE, SESSION_WHOLE, SESSIONS, SESSIONS_OF_ACCOUNT};
use crate::model::{Account, Role};
use crate::registry::{AccountError, Keys, digest, random};

/// All sessions, by the digest of their secret: reading the memory gives none away.
#[derive(Default)]
pub(in crate::web) struct Sessions(Mutex<HashMap<String, Session>>);

/// Somebody is logged in.
#[derive(Clone)]
pub(in crate::web) struct Session {
    /// The account as it was then: when anything of it changes the session is over.
    pub(in crate::web) account: Account,
    /// What forms send back, so that no other site can send them.
    pub(in crate::web) csrf: String,
    began: Instant,
    seen: Instant,
}

impl Session {
    fn is_over(&self, now: Instant) -> bool {
        now.saturating_duration_since(self.seen) > SESSION_IDLE
            || now.saturating_duration_since(self.began) > SESSION_WHOLE
    }
}

impl Sessions {
    /// Begins a session; returns its secret, for the cookie.
    pub(super) fn begin(&self, account: Account, now: Instant) -> Result<String, AccountError> {
        let (secret, csrf) = (random::<32>()?, random::<32>()?);
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|_, session| !session.is_over(now));
        let own = all.values().filter(|session| session.account.name == account.name).count();
        if own >= SESSIONS_OF_ACCOUNT {
            drop_oldest(&mut all, |session| session.account.name == account.name);
        } else if all.len() >= SESSIONS {
            drop_oldest(&mut all, |_| true);
        }
        let key = digest(&secret).as_str().to_owned();
        all.insert(key, Session { account, csrf, began: now, seen: now });
        Ok(secret)
    }

    /// The session of this secret, if it is not over and its account is still as it was.
    pub(super) fn find(&self, secret: &str, keys: &Keys, now: Instant) -> Option<Session> {
        let key = digest(secret);
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let session = all.get_mut(key.as_str())?;
        if session.is_over(now) || !keys.accounts.contains(&session.account) {
            all.remove(key.as_str());
            return None;
        }
        session.seen = now;
        Some(session.clone())
    }

    /// What the session of this secret lets do; asking is no sign of life.
    pub(super) fn role(&self, secret: &str, keys: &Keys, now: Instant) -> Option<Role> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let session = all.get(digest(secret).as_str())?;
        let stands = !session.is_over(now) && keys.accounts.contains(&session.account);
        stands.then_some(session.account.role)
    }

    /// Ends the session of this secret.
    pub(super) fn end(&self, secret: &str) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.remove(digest(secret).as_str());
    }
}

fn drop_oldest(all: &mut HashMap<String, Session>, of: impl Fn(&Session) -> bool) {
    let oldest = all.iter().filter(|(_, s)| of(s)).min_by_key(|(_, session)| session.seen);
    if let Some(key) = oldest.map(|(key, _)| key.clone()) {
        all.remove(&key);
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::model::Check;

    fn account(name: &str, role: Role) -> Account {
        Account { name: name.into(), role, password: Check::new("invented"), revoked: false }
    }

    fn keys(accounts: &[Account]) -> Keys {
        Keys { accounts: accounts.to_vec(), tokens: Vec::new() }
    }

    #[test]
    fn a_session_ends_idle_and_as_a_whole() {
        let (sessions, start) = (Sessions::default(), Instant::now());
        let keys = keys(&[account("Ines", Role::Bench)]);
        let secret = sessions.begin(account("Ines", Role::Bench), start).unwrap();
        let mut at = start;
        while at + SESSION_IDLE < start + SESSION_WHOLE {
            at += SESSION_IDLE;
            assert!(sessions.find(&secret, &keys, at).is_some());
        }
        let after = start + SESSION_WHOLE + Duration::from_secs(1);
        assert!(sessions.find(&secret, &keys, after).is_none());
        let idle = sessions.begin(account("Ines", Role::Bench), start).unwrap();
        let late = start + SESSION_IDLE + Duration::from_secs(1);
        assert!(sessions.find(&idle, &keys, late).is_none());
        assert!(sessions.find("another", &keys, start).is_none());
    }

    #[test]
    fn a_session_ends_with_its_account_as_it_was() {
        let (sessions, now) = (Sessions::default(), Instant::now());
        let before = account("Ines", Role::Bench);
        let secret = sessions.begin(before.clone(), now).unwrap();
        assert!(sessions.find(&secret, &keys(&[before]), now).is_some());
        assert!(sessions.find(&secret, &keys(&[account("Ines", Role::Read)]), now).is_none());
    }

    #[test]
    fn sessions_are_bounded() {
        let (sessions, start) = (Sessions::default(), Instant::now());
        let at = |n: usize| start + Duration::from_millis(n as u64);
        for n in 0..SESSIONS + 10 {
            let name = format!("{}", n / 2);
            sessions.begin(account(&name, Role::Read), at(n)).unwrap();
        }
        assert_eq!(sessions.0.lock().unwrap().len(), SESSIONS);
        for n in 0..SESSIONS_OF_ACCOUNT + 5 {
            sessions.begin(account("one", Role::Read), at(SESSIONS + 10 + n)).unwrap();
        }
        let all = sessions.0.lock().unwrap();
        let of_one = all.values().filter(|session| session.account.name == "one").count();
        assert_eq!(of_one, SESSIONS_OF_ACCOUNT);
    }
}
