//! What readings prove by themselves where no line can be drawn.

use super::reason::{Counts, NoMaximum};
use super::words::log_ohms;
use crate::model::{Bound, Point};

/// What bounds and numbers prove by themselves, without any line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Proven {
    /// log10 ohm that every reading reached, as read.
    pub at_least: Option<f64>,
    /// log10 ohm that no reading exceeded, as read.
    pub at_most: Option<f64>,
}

impl Proven {
    /// Of points.
    pub fn of(points: &[Point]) -> Self {
        let all = |not: Bound, pick: fn(f64, f64) -> f64| {
            let clear = !points.is_empty() && points.iter().all(|p| p.bound != not);
            clear.then(|| points.iter().map(|p| p.log_ohm).reduce(pick)).flatten()
        };
        Proven { at_least: all(Bound::Under, f64::min), at_most: all(Bound::Over, f64::max) }
    }

    /// In words: `every reading shows at least 550 MΩ`.
    pub fn words(&self) -> String {
        match (self.at_least, self.at_most) {
            (Some(low), Some(high)) if low == high => {
                format!("every reading shows {}", log_ohms(low))
            }
            (Some(low), Some(high)) => {
                format!("the readings lie between {} and {}", log_ohms(low), log_ohms(high))
            }
            (Some(low), None) => format!("every reading shows at least {}", log_ohms(low)),
            (None, Some(high)) => format!("every reading shows at most {}", log_ohms(high)),
            (None, None) => "the readings prove no bound".into(),
        }
    }
}

/// Why there is no line, and what can be said all the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoEstimate {
    /// The reason.
    pub reason: NoMaximum,
    /// Readings of each kind.
    pub counts: Counts,
    /// What they prove by themselves.
    pub proven: Proven,
}
