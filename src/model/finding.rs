//! What one reading says at once, what the trend says of a series, and the problems that follow.

use super::{AssetId, Phase, Stamp, Text, words};

/// What one reading says against one limit, without any trend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// At or above the limit.
    Meets,
    /// Below the limit.
    Below,
    /// It does not decide, and why.
    CannotTell(&'static str),
    /// It does not count, and why.
    Invalid(&'static str),
}

impl Outcome {
    /// The word for it.
    pub const fn word(&self) -> &'static str {
        match self {
            Outcome::Meets => "meets",
            Outcome::Below => "below",
            Outcome::CannotTell(_) => "cannot tell",
            Outcome::Invalid(_) => "invalid",
        }
    }

    /// Why it does not decide or count.
    pub const fn reason(&self) -> &'static str {
        match self {
            Outcome::CannotTell(why) | Outcome::Invalid(why) => why,
            _ => "",
        }
    }
}

words!(
    /// What the detector says of a series; ordered from calm to urgent.
    Verdict, "verdict", {
    /// Not enough readings for a trend.
    TooFew => "too few",
    /// No decline to be seen.
    Steady => "steady",
    /// Perhaps a decline: repeat the reading.
    Watch => "watch",
    /// Declining towards the limit.
    Declining => "declining",
    /// At or below the limit.
    BelowLimit => "below limit",
});

words!(
    /// Kinds of stated problems.
    FindingKind, "finding", {
    /// A decline towards a limit.
    Declining => "declining",
    /// At or below a limit.
    BelowLimit => "below limit",
    /// A sudden drop.
    Step => "step",
    /// One phase apart from the others.
    Imbalance => "imbalance",
    /// Many series moving together on one tester, station or day.
    CommonCause => "common cause",
    /// A tester off against its peers, or its proof failed.
    Tester => "tester",
    /// Not tested in time.
    Overdue => "overdue",
    /// Perhaps a decline: repeat the reading.
    Watch => "watch",
});

words!(
    /// Where a finding stands.
    FindingState, "state", {
    /// Nobody has answered for it yet.
    Open => "open",
    /// Somebody has.
    Acknowledged => "acknowledged",
    /// Ended by evidence, an event or a person.
    Closed => "closed",
    /// The evidence behind it no longer stands.
    Withdrawn => "withdrawn",
});

/// A stated problem: a derived episode with its evidence, and what people did about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// The asset concerned.
    pub asset: AssetId,
    /// What it is.
    pub kind: FindingKind,
    /// The leading phase; none for an asset-wide finding.
    pub phase: Option<Phase>,
    /// The measuring time at which it was first seen.
    pub since: Stamp,
    /// The measuring time at which it ended; none while it stands.
    pub until: Option<Stamp>,
    /// Where it stands.
    pub state: FindingState,
    /// The reasons in one sentence, for a person.
    pub reason: Text,
    /// The numbers behind it, as JSON text.
    pub evidence: String,
}

impl Finding {
    /// Whether it still asks something of a person. With a common cause that is the answer itself:
    /// an acknowledged one has it, and goes on leaving its readings out.
    pub fn is_due(&self) -> bool {
        match self.state {
            FindingState::Open => true,
            FindingState::Acknowledged => self.kind != FindingKind::CommonCause,
            FindingState::Closed | FindingState::Withdrawn => false,
        }
    }

    /// Whether it is about an asset, and not about a tester, station or day.
    pub fn is_of_asset(&self) -> bool {
        !matches!(self.kind, FindingKind::CommonCause | FindingKind::Tester)
    }
}
