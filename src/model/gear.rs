//! Testers, leads, gloves, known sources: what a reading's worth hangs on, and how it was proved.

use super::{Stamp, Text, words};

words!(
    /// Kinds of gear.
    GearKind, "kind", {
    /// An insulation tester.
    Tester => "tester",
    /// A test lead or clip.
    Lead => "lead",
    /// Insulating gloves.
    Gloves => "gloves",
    /// A source of known voltage.
    KnownSource => "known source",
    /// A resistance of known value.
    KnownResistance => "known resistance",
    /// Anything else.
    Other => "other",
});

/// A piece of gear.
#[derive(Clone, Debug, PartialEq)]
pub struct Gear {
    /// Its id, as readings and proofs name it.
    pub id: Text,
    /// What it is.
    pub kind: GearKind,
    /// Measurement category as printed on it, such as `CAT III`.
    pub category: Text,
    /// Rated voltage of that category in volts.
    pub rated_voltage_v: Option<f64>,
    /// Testers: the highest reading, in ohm; what a bare over-range mark stands for.
    pub full_scale_ohm: Option<f64>,
    /// Testers: the lowest reading, in ohm; what a printed zero stands for.
    pub lowest_ohm: Option<f64>,
    /// When its next test or calibration is due.
    pub due: Option<Stamp>,
    /// Free text.
    pub remark: Text,
}

words!(
    /// What was checked.
    ProofKind, "kind", {
    /// Leads open: must read over-range.
    Open => "open",
    /// Leads shorted: must read the bottom of the range.
    Shorted => "shorted",
    /// A resistance of known value.
    KnownResistance => "known resistance",
    /// The voltage function on a known source.
    KnownSource => "known source",
    /// The leads touch the part itself, not paint or dirt: confirmed (passed) or not, for the
    /// readings that follow.
    Contact => "contact",
});

words!(
    /// Before or after the visit.
    ProofMoment, "moment", {
    /// Before the readings.
    Before => "before",
    /// After the readings.
    After => "after",
});

/// A check of a tester.
#[derive(Clone, Debug, PartialEq)]
pub struct Proof {
    /// When.
    pub at: Stamp,
    /// Which tester.
    pub tester: Text,
    /// What was checked.
    pub kind: ProofKind,
    /// What it read.
    pub value: Option<f64>,
    /// The unit of that value.
    pub unit: Text,
    /// Whether it passed.
    pub passed: bool,
    /// Before or after the readings.
    pub moment: ProofMoment,
    /// Free text.
    pub remark: Text,
}
