//! What is done on a run sheet: the acts, as they are kept, and the points that they answer.

use crate::model::{
    AssetId, Bound, Joining, Phase, ProofKind, ProofMoment, Stamp, TemperatureOf, Text,
};

/// A point of the sheet that somebody answers. Tests are counted from 0 in the order of the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Point {
    /// What is to be measured, and how.
    Plan,
    /// With what.
    Gear,
    /// Isolated and locked against switching on again.
    Isolated,
    /// The voltage function of the tester on a known source, before.
    SourceBefore,
    /// The voltage at the part, as reported.
    Voltage,
    /// The voltage function on the known source again.
    SourceAfter,
    /// What the test voltage can harm is disconnected.
    Disconnected,
    /// A check of the tester's resistance function.
    Proof(ProofMoment, ProofKind),
    /// The leads make contact with the part.
    Contact(usize),
    /// The test itself.
    Test(usize),
    /// Released, discharged, and what remains as reported.
    Discharge(usize),
    /// Everything is done.
    Finish,
}

/// What is to be measured, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What the live lead goes on, one after the other.
    pub phases: Vec<Phase>,
    /// What else defines comparability.
    pub setup: Text,
    /// Nominal test voltage in volts.
    pub test_voltage_v: f64,
    /// Seconds of applied voltage at which the value counts.
    pub rated_s: f64,
    /// Who tests.
    pub operator: Text,
    /// Temperature in °C and what it is of.
    pub temperature: Option<(f64, TemperatureOf)>,
    /// Relative humidity in per cent.
    pub humidity_pct: Option<f64>,
}

/// What the test is made with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GearChosen {
    /// The tester's id.
    pub tester: Text,
    /// Leads, gloves, sources: their ids.
    pub parts: Vec<Text>,
    /// The set as its weakest part makes it, in words.
    pub weakest: Text,
    /// What somebody should know of it before going on.
    pub warnings: Vec<Text>,
}

/// A value as an instrument showed it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Ohms.
    pub ohms: f64,
    /// Measured, at least or at most.
    pub bound: Bound,
}

/// A check of the tester's resistance function, as made.
#[derive(Clone, Debug, PartialEq)]
pub struct Proved {
    /// What was checked.
    pub kind: ProofKind,
    /// Before or after the tests.
    pub moment: ProofMoment,
    /// What the tester showed.
    pub value: Value,
    /// A known resistance's own value in ohm.
    pub expected_ohm: Option<f64>,
    /// Whether it is as it has to be.
    pub passed: bool,
    /// Read from the display by a person, and not from the stream.
    pub by_hand: bool,
}

/// One act. What it was decided by stands in it, so that a sheet reads the same later.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// The sheet was opened for an asset.
    Opened {
        /// Which.
        asset: AssetId,
        /// How its phases were known to be joined.
        joining: Joining,
    },
    /// What is to be measured.
    Planned(Plan),
    /// With what.
    Geared(GearChosen),
    /// A person says that it is so.
    Confirmed(Point),
    /// The voltage function on a known source.
    Source {
        /// Before or after the part was measured.
        moment: ProofMoment,
        /// What was read, in volts.
        read_v: f64,
        /// What the source gives, in volts.
        expected_v: f64,
        /// Whether the two agree.
        passed: bool,
    },
    /// The voltage at the part as a person reported it, in volts.
    Voltage(f64),
    /// A check of the resistance function.
    Proved(Proved),
    /// A test may begin: from now on values belong to its phase.
    Begun(usize),
    /// The voltage was taken off.
    Ended {
        /// Which test.
        test: usize,
        /// Seconds for which it was applied.
        applied_s: f64,
    },
    /// It was discharged, and what remained was reported.
    Discharged {
        /// Which test.
        test: usize,
        /// Seconds since the voltage was taken off.
        waited_s: f64,
        /// Seconds that are the least.
        least_s: f64,
        /// Volts that remained, as reported.
        residual_v: f64,
    },
    /// A point was left out.
    Skipped {
        /// Which.
        point: Point,
        /// Why.
        reason: Text,
    },
    /// An earlier step was taken back.
    Undone(u32),
    /// A test is to be made again.
    Repeated(usize),
    /// All is done.
    Finished,
    /// The sheet was ended before all was done.
    Abandoned(Text),
    /// Readings of the sheet were voided.
    Voided {
        /// Of which test.
        test: usize,
        /// How many.
        readings: usize,
        /// Why.
        reason: Text,
    },
    /// Readings of the sheet were moved to where they belong.
    Moved {
        /// Of which test; none: of all.
        test: Option<usize>,
        /// The asset meant.
        asset: AssetId,
        /// The phase meant; none: as it was.
        phase: Option<Phase>,
        /// How many.
        readings: usize,
        /// Why.
        reason: Text,
    },
}

/// An act with its number, time and person.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Counted from 1 within the sheet.
    pub number: u32,
    /// When.
    pub at: Stamp,
    /// Who.
    pub by: Text,
    /// What.
    pub act: Act,
}

impl Point {
    /// The key in forms and in the store.
    pub fn key(&self) -> String {
        match self {
            Point::Plan => "plan".into(),
            Point::Gear => "gear".into(),
            Point::Isolated => "isolated".into(),
            Point::SourceBefore => "source-before".into(),
            Point::Voltage => "voltage".into(),
            Point::SourceAfter => "source-after".into(),
            Point::Disconnected => "disconnected".into(),
            Point::Proof(moment, kind) => format!("{}-{moment}", proof_key(*kind)),
            Point::Contact(test) => format!("contact-{}", test + 1),
            Point::Test(test) => format!("test-{}", test + 1),
            Point::Discharge(test) => format!("discharge-{}", test + 1),
            Point::Finish => "finish".into(),
        }
    }

    /// Reads a key.
    pub fn parse(key: &str) -> Option<Point> {
        let plain = [
            Point::Plan,
            Point::Gear,
            Point::Isolated,
            Point::SourceBefore,
            Point::Voltage,
            Point::SourceAfter,
            Point::Disconnected,
            Point::Finish,
        ];
        if let Some(point) = plain.into_iter().find(|point| point.key() == key) {
            return Some(point);
        }
        let (what, which) = key.rsplit_once('-')?;
        if let Ok(moment) = ProofMoment::parse(which) {
            let kind = ProofKind::ALL.iter().copied().find(|kind| proof_key(*kind) == what)?;
            return Some(Point::Proof(moment, kind));
        }
        let test = which.parse::<usize>().ok()?.checked_sub(1)?;
        match what {
            "contact" => Some(Point::Contact(test)),
            "test" => Some(Point::Test(test)),
            "discharge" => Some(Point::Discharge(test)),
            _ => None,
        }
    }

    /// The test that it belongs to.
    pub const fn test(&self) -> Option<usize> {
        match self {
            Point::Contact(test) | Point::Test(test) | Point::Discharge(test) => Some(*test),
            _ => None,
        }
    }
}

const fn proof_key(kind: ProofKind) -> &'static str {
    match kind {
        ProofKind::Open => "open",
        ProofKind::Shorted => "shorted",
        ProofKind::KnownResistance => "known",
        ProofKind::KnownSource => "source-function",
        ProofKind::Contact => "touch",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_point_is_found_by_its_key() {
        let mut points = vec![
            Point::Plan,
            Point::Gear,
            Point::Isolated,
            Point::SourceBefore,
            Point::Voltage,
            Point::SourceAfter,
            Point::Disconnected,
            Point::Contact(0),
            Point::Test(11),
            Point::Discharge(2),
            Point::Finish,
        ];
        for moment in ProofMoment::ALL {
            points.extend(ProofKind::ALL.iter().map(|kind| Point::Proof(*moment, *kind)));
        }
        for point in points {
            assert_eq!(Point::parse(&point.key()), Some(point), "{}", point.key());
        }
        assert_eq!(Point::parse("test-0"), None);
        assert_eq!(Point::parse("anything"), None);
    }
}
