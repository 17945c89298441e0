//! How often one may try in vain: per address and per name, in bounded memory.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::Instant;

use crate::limits::{self, Tries};

/// Tries in vain by where they came from and whom they named.
pub(super) struct Throttle {
    clients: Mutex<Table>,
    names: Mutex<Table>,
}

impl Default for Throttle {
    fn default() -> Self {
        let table = |tries| Mutex::new(Table { tries, levels: HashMap::new() });
        Throttle { clients: table(limits::TRIES_OF_CLIENT), names: table(limits::TRIES_OF_NAME) }
    }
}

impl Throttle {
    /// One try from an address; the seconds to wait when it has had too many.
    pub(super) fn of_client(&self, client: IpAddr, now: Instant) -> Result<(), u16> {
        let mut clients = self.clients.lock().unwrap_or_else(PoisonError::into_inner);
        clients.attempt(&neighbourhood(client), now)
    }

    /// One try of a name from an address, counted before it is known to be in vain: many at once
    /// are not let through.
    pub(super) fn of_name(&self, client: IpAddr, name: &str, now: Instant) -> Result<(), u16> {
        self.of_client(client, now)?;
        self.names.lock().unwrap_or_else(PoisonError::into_inner).attempt(name, now)
    }

    /// That try was right, so it is not counted.
    pub(super) fn forgive(&self, client: IpAddr, name: &str) {
        let clients = self.clients.lock();
        clients.unwrap_or_else(PoisonError::into_inner).forgive(&neighbourhood(client));
        self.names.lock().unwrap_or_else(PoisonError::into_inner).forgive(name);
    }
}

/// Whoever has one address of IPv6 has the other 2^64 of its network.
fn neighbourhood(client: IpAddr) -> String {
    match client {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => match address.to_ipv4_mapped() {
            Some(address) => address.to_string(),
            None => format!("{:x?}", &address.segments()[..4]),
        },
    }
}

/// Leaky buckets: each try in vain fills one by 1, and it empties steadily.
struct Table {
    tries: Tries,
    levels: HashMap<String, Level>,
}

#[derive(Clone, Copy)]
struct Level {
    filled: f64,
    at: Instant,
}

impl Level {
    fn at(self, now: Instant, tries: Tries) -> f64 {
        let gone = now.saturating_duration_since(self.at).as_secs_f64();
        (self.filled - gone / tries.one_each.as_secs_f64()).max(0.0)
    }
}

impl Table {
    fn attempt(&mut self, key: &str, now: Instant) -> Result<(), u16> {
        let tries = self.tries;
        let filled = self.levels.get(key).map_or(0.0, |level| level.at(now, tries)) + 1.0;
        if filled > f64::from(tries.at_once) {
            let over = filled - f64::from(tries.at_once);
            return Err((over * tries.one_each.as_secs_f64()).ceil() as u16);
        }
        if !self.levels.contains_key(key) && self.levels.len() >= limits::THROTTLED {
            self.make_room(now);
        }
        self.levels.insert(key.to_owned(), Level { filled, at: now });
        Ok(())
    }

    fn forgive(&mut self, key: &str) {
        if let Some(level) = self.levels.get_mut(key) {
            level.filled = (level.filled - 1.0).max(0.0);
        }
    }

    /// Forgets what has the least to answer for: whoever is attacked or attacks is remembered.
    fn make_room(&mut self, now: Instant) {
        let tries = self.tries;
        self.levels.retain(|_, level| level.at(now, tries) > 0.0);
        if self.levels.len() < limits::THROTTLED {
            return;
        }
        let least =
            self.levels.iter().min_by(|a, b| a.1.at(now, tries).total_cmp(&b.1.at(now, tries)));
        if let Some(key) = least.map(|(key, _)| key.clone()) {
            self.levels.remove(&key);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

    #[test]
    fn tries_in_vain_come_back_one_by_one() {
        let (throttle, start) = (Throttle::default(), Instant::now());
        let Tries { at_once, one_each } = limits::TRIES_OF_CLIENT;
        for _ in 0..at_once {
            throttle.of_client(HERE, start).unwrap();
        }
        let wait = throttle.of_client(HERE, start).unwrap_err();
        assert_eq!(u64::from(wait), one_each.as_secs());
        throttle.of_client("192.0.2.1".parse().unwrap(), start).unwrap();
        throttle.of_client(HERE, start + one_each).unwrap();
        throttle.of_client(HERE, start + one_each).unwrap_err();
        throttle.forgive(HERE, "");
        throttle.of_client(HERE, start + one_each).unwrap();
    }

    #[test]
    fn a_name_is_throttled_wherever_tries_come_from() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        let client = |n: u32| IpAddr::from(n.to_be_bytes());
        for n in 0..limits::TRIES_OF_NAME.at_once {
            throttle.of_name(client(n), "Ines", now).unwrap();
        }
        throttle.of_name(client(10_000), "Ines", now).unwrap_err();
        throttle.of_name(client(10_000), "Moira", now).unwrap();
    }

    #[test]
    fn memory_is_bounded_and_the_worst_is_remembered() {
        let (throttle, now) = (Throttle::default(), Instant::now());
        for _ in 0..limits::TRIES_OF_CLIENT.at_once {
            throttle.of_client(HERE, now).unwrap();
        }
        for n in 0..2 * limits::THROTTLED as u32 {
            throttle.of_client(IpAddr::from((0x0a00_0000 + n).to_be_bytes()), now).unwrap();
        }
        assert_eq!(throttle.clients.lock().unwrap().levels.len(), limits::THROTTLED);
        throttle.of_client(HERE, now + Duration::from_secs(1)).unwrap_err();
        // A network of IPv6 is one client.
        assert_eq!(
            neighbourhood("2001:db8::1".parse().unwrap()),
            neighbourhood("2001:db8::ffff:1".parse().unwrap())
        );
        assert_eq!(neighbourhood("::ffff:192.0.2.1".parse().unwrap()), "192.0.2.1");
    }
}
