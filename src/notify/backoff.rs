//! How long to wait before a message is tried again.

use std::time::Duration;

/// Wait after the first failure.
const FIRST: Duration = Duration::from_secs(30);

/// Longest wait: a server that is back is found within the hour.
const LONGEST: Duration = Duration::from_secs(3_600);

/// The wait after so many failed tries: doubled each time, up to an hour. `dice` from 0 to 1 makes
/// it shorter by up to a half, so that many installations do not come back to a server at once.
pub fn backoff(tries: u32, dice: f64) -> Duration {
    let doubled = FIRST * 2_u32.saturating_pow(tries.saturating_sub(1).min(16));
    doubled.min(LONGEST).mul_f64(1.0 - dice.clamp(0.0, 1.0) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_an_hour() {
        let waits: Vec<u64> = (1..=9).map(|tries| backoff(tries, 0.0).as_secs()).collect();
        assert_eq!(waits, [30, 60, 120, 240, 480, 960, 1_920, 3_600, 3_600]);
        assert_eq!(backoff(u32::MAX, 0.0), LONGEST);
        assert_eq!(backoff(1, 1.0), FIRST / 2);
        assert_eq!(backoff(0, 0.5).as_millis(), 22_500);
    }
}
