//! How many readings of each kind there are, and why some of them give no estimate.

use crate::model::Bound;

/// How many readings of each kind there are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Measured on scale.
    pub exact: usize,
    /// Over-range.
    pub over: usize,
    /// Under-range.
    pub under: usize,
}

impl Counts {
    /// Counts bounds.
    pub fn of(bounds: impl IntoIterator<Item = Bound>) -> Self {
        let mut counts = Counts::default();
        for bound in bounds {
            match bound {
                Bound::Measured => counts.exact += 1,
                Bound::Over => counts.over += 1,
                Bound::Under => counts.under += 1,
            }
        }
        counts
    }

    /// All of them.
    pub const fn all(&self) -> usize {
        self.exact + self.over + self.under
    }
}

/// Why there is no estimate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoMaximum {
    /// Fewer readings than unknowns, all exact (a line with scatter needs three).
    TooFew,
    /// All exact and on one line.
    ZeroResidual,
    /// Every reading is over-range.
    AllOver,
    /// Every reading is under-range.
    AllUnder,
    /// A line passes through every exact reading and satisfies every bound: σ → 0.
    PerfectFit,
    /// A coefficient can go to infinity without loss.
    Monotone,
    /// No exact reading, and a line separates the bounds.
    Separated,
    /// A single reading is on scale (a policy of the field fit; a maximum may exist).
    TooFewExact,
    /// The search did not come to rest; nothing is claimed.
    Unresolved,
}

impl NoMaximum {
    /// The name of the reason.
    pub const fn name(self) -> &'static str {
        match self {
            NoMaximum::TooFew => "too_few_readings",
            NoMaximum::ZeroResidual => "zero_residual_variance",
            NoMaximum::AllOver => "all_right_censored",
            NoMaximum::AllUnder => "all_left_censored",
            NoMaximum::PerfectFit => "perfect_fit_unbounded_likelihood",
            NoMaximum::Monotone => "monotone_likelihood",
            NoMaximum::Separated => "separated_no_exact_reading",
            NoMaximum::TooFewExact => "too_few_exact_readings",
            NoMaximum::Unresolved => "unresolved",
        }
    }

    /// The reason in words for a person.
    pub const fn words(self) -> &'static str {
        match self {
            NoMaximum::TooFew => "too few readings for a trend",
            NoMaximum::ZeroResidual => "the readings lie on one line, so their scatter is unknown",
            NoMaximum::AllOver => "every reading is over-range",
            NoMaximum::AllUnder => "every reading is under-range",
            NoMaximum::PerfectFit => {
                "a line fits every on-scale reading and every bound, so the scatter is unknown"
            }
            NoMaximum::Monotone => "the readings leave the slope open to one side",
            NoMaximum::Separated => "no reading is on scale",
            NoMaximum::TooFewExact => "only one reading is on scale",
            NoMaximum::Unresolved => "the fit did not come to rest",
        }
    }
}
