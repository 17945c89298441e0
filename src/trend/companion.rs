//! The two plain rules beside the filter: at the limit twice running, far down twice running.
//!
//! They need no model, so that a dead short or a sudden drop is named whatever the filter thinks.
//! One such value alone asks for a repeat; a retest in the same visit is that repeat. One phase of
//! three that is tested every few days is given a third visit for a step: bad contacts come in
//! pairs often enough, and the third is near. A value at the limit never waits for a third.

/// Fewest values of an epoch that make a baseline for the step rule.
const BASELINE: usize = 3;

/// Two low values repeat each other when they lie this near, decades: two bad contacts hardly do.
const ALIKE: f64 = 0.5;

/// Values looked back over for a jump upwards: two that jumped after three that did not.
const LOOK_BACK: usize = 5;

/// What one visit says to the rules. Values are log10 ohm, corrected where the rule wants it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// The value for the step rule; a bound counts as its number.
    pub value: f64,
    /// At or below a limit for certain.
    pub low: bool,
    /// How many retests of the same visit were as low as that.
    pub low_retests: u32,
    /// How many retests of the same visit were as far down as the step rule asks.
    pub values_again: u32,
    /// Another visit is near and other series of the asset would show the step as well: without a
    /// retest the step rule then asks for three values running.
    pub can_wait: bool,
}

/// What the rules say after a visit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Says {
    /// Low twice running: the finding `below limit` stands.
    pub below: bool,
    /// Far below the baseline twice running: the finding `step` stands.
    pub step: bool,
    /// One such value without its repeat: the test should be repeated.
    pub repeat: bool,
    /// Two values running far above all three before them: something was done that is not on
    /// record, or another specimen came under the same id.
    pub risen: bool,
}

/// The memory of the rules for one series and epoch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Companion {
    first: Vec<f64>,
    low: u32,
    down: u32,
    ever_low: u32,
    latest: [f64; LOOK_BACK],
    held: usize,
}

impl Companion {
    /// Folds in one visit; `drop` is how far down a step is, decades.
    pub fn visit(&mut self, seen: &Seen, drop: f64) -> Says {
        let down = self.baseline().is_some_and(|base| seen.value < base - drop);
        let count = |running: u32, holds: bool, again: u32| match holds {
            true => running.saturating_add(1).saturating_add(again),
            false => 0,
        };
        self.low = count(self.low, seen.low, seen.low_retests);
        let alike = self.held > 0 && (self.latest[LOOK_BACK - 1] - seen.value).abs() <= ALIKE;
        let running = if alike || seen.low { self.down } else { 0 };
        self.down = count(running, down, seen.values_again);
        self.ever_low = self.ever_low.saturating_add(u32::from(seen.low) + seen.low_retests);
        if self.first.len() < BASELINE {
            self.first.push(seen.value);
        }
        self.latest.rotate_left(1);
        self.latest[LOOK_BACK - 1] = seen.value;
        self.held = (self.held + 1).min(LOOK_BACK);
        Says {
            below: self.low >= 2,
            step: self.down >= if seen.can_wait && seen.values_again == 0 { 3 } else { 2 },
            repeat: self.low == 1 || self.down == 1,
            risen: self.risen(drop),
        }
    }

    fn risen(&self, by: f64) -> bool {
        let (before, after) = self.latest.split_at(LOOK_BACK - 2);
        let highest = before.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        self.held == LOOK_BACK && after.iter().all(|v| *v > highest + by)
    }

    /// How many low values there were in this epoch.
    pub fn ever_low(&self) -> u32 {
        self.ever_low
    }

    /// The median of the first three values; none before there are three.
    pub fn baseline(&self) -> Option<f64> {
        let mut first: [f64; BASELINE] = self.first.as_slice().try_into().ok()?;
        first.sort_by(f64::total_cmp);
        Some(first[BASELINE / 2])
    }
}
