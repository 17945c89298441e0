//! The Bayesian grid filter: what one series' visits say about its level and its decline.
//!
//! State of a series: level `l` = log10 ohm at 40 °C on a grid; decline rate `r` in decades a
//! year on a short ladder, 0 = healthy; a wet/dry flag for passing excursions; and two things that
//! are fixed but unknown, the temperature coefficient κ (decades per 10 K) and the scatter σ
//! (decades). All are discrete, so the posterior is an exact sum: no optimiser, no local optimum,
//! and every likelihood has a floor, so that no reading, however absurd, makes the sum vanish.
//!
//! The filter is a pure fold: [`State::start`], then [`State::visit`] in time order.
//! The model is the project's own; it is checked on invented fleets (`score`), not taken from a
//! publication. Sums and state are `f64`.

mod grid;
mod observation;
mod prior;
mod state;
mod step;
mod summary;

pub use grid::Grid;
pub use observation::Observation;
pub use prior::{Posterior, Prior, rule};
pub use state::{State, Turn};
pub(crate) use step::Step;
pub(crate) use summary::LIMIT_CELL;
pub use summary::{Chance, Interval, Threshold};

/// How many rates the ladder has; the first is 0.
pub const RATES: usize = 8;

/// Values of σ that are weighed against each other.
pub const SIGMAS: usize = 3;

/// Every number of the filter. The defaults were tuned on invented fleets; see DEVELOPERS.md.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Lowest level of the grid, log10 ohm: below the lowest limit in use (vehicle isolation
    /// starts at 10^4.6 Ω), so that a decline can be followed through it.
    pub bottom: f64,
    /// Highest level of the grid, log10 ohm.
    pub top: f64,
    /// Distance of levels, decades.
    pub step: f64,
    /// Readings closer than this to the ends of the grid count as `<` or `>` there, decades.
    pub margin: f64,
    /// Decline rates, decades a year; the first is 0.
    pub rates: [f64; RATES],
    /// Onsets of decline per year.
    pub onset: f64,
    /// Climbs to the next faster rate, per year.
    pub faster: f64,
    /// Falls to the next slower rate, per year.
    pub slower: f64,
    /// Jumps to any other rate, per year.
    pub jump: f64,
    /// Ends of decline, per year.
    pub end: f64,
    /// Wander of the level of a healthy series, decades per root year.
    pub wander_healthy: f64,
    /// Wander of the level of a declining series, decades per root year.
    pub wander_declining: f64,
    /// Unrecorded repairs or mix-ups per year: the level is drawn anew.
    pub redraw: f64,
    /// Probability that `dried` changed the level for good.
    pub dried: f64,
    /// Share of visits at which a dry series is found wet.
    pub wet: f64,
    /// Days in which the memory of a wet state fades by e.
    pub wet_days: f64,
    /// Most that a wet series reads low, decades; any depth up to it is as likely.
    pub wet_depth: f64,
    /// Share of gross errors in a phase's value.
    pub gross: f64,
    /// Share of gross errors in the middle of three phases.
    pub gross_middle: f64,
    /// Weight, mean and spread of the healthy level at the start; the rest is flat over the grid.
    pub start: (f64, f64, f64),
    /// Lowest level of the flat part of the start, log10 ohm.
    pub start_low: f64,
    /// Probability that a series is met in decline.
    pub start_declining: f64,
    /// Scatter of readings and its weights, decades.
    pub sigmas: [(f64, f64); SIGMAS],
    /// A decline is one that reaches the limit within this many days at its present rate.
    pub horizon_days: f64,
    /// Shift of a reading at 95 % relative humidity against 75 % and below, decades, and its spread.
    pub humid: (f64, f64),
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            bottom: 3.5,
            top: 12.0,
            step: 0.1,
            margin: 0.3,
            rates: [0.0, 0.4, 0.8, 1.6, 3.2, 6.4, 12.8, 25.6],
            onset: 0.03,
            faster: 6.0,
            slower: 1.0,
            jump: 2.5,
            end: 0.4,
            wander_healthy: 0.05,
            wander_declining: 0.25,
            redraw: 0.03,
            dried: 0.9,
            wet: 0.02,
            wet_days: 10.0,
            wet_depth: 2.2,
            gross: 0.02,
            gross_middle: 0.007,
            start: (0.7, 9.4, 0.8),
            start_low: 5.0,
            start_declining: 0.03,
            sigmas: [(0.07, 0.35), (0.12, 0.45), (0.26, 0.20)],
            horizon_days: 720.0,
            humid: (0.2, 0.08),
        }
    }
}
