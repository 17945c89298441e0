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
    /// Testers: the highest reading of each range, by rising test voltage.
    pub ranges: Vec<Range>,
    /// Testers: days after which a proof is to be repeated; none: nobody asks.
    pub proof_days: Option<u32>,
}

/// The highest reading of a tester at one of its test voltages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Nominal test voltage in volts.
    pub test_voltage_v: f64,
    /// Highest reading in ohm.
    pub full_scale_ohm: f64,
}

impl Gear {
    /// A piece of gear of which nothing more is known.
    pub fn new(id: Text, kind: GearKind) -> Self {
        Gear {
            id,
            kind,
            category: Text::default(),
            rated_voltage_v: None,
            full_scale_ohm: None,
            lowest_ohm: None,
            due: None,
            remark: Text::default(),
            ranges: Vec::new(),
            proof_days: None,
        }
    }

    /// What a bare over-range mark stands for at a test voltage: the limit of that range, else the
    /// one full scale.
    pub fn full_scale_at(&self, test_voltage_v: Option<f64>) -> Option<f64> {
        let range = self.ranges.iter().find(|r| Some(r.test_voltage_v) == test_voltage_v);
        range.map(|r| r.full_scale_ohm).or(self.full_scale_ohm)
    }
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
