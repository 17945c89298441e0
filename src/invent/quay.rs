//! Kestrel Quay: an invented harbour with an invented fleet, for the demo and the tour.
//!
//! Each machine tells one story. All numbers are invented; the shapes are those of the trade:
//! healthy windings read above the tester's range, a decline is a line on a log scale.

use super::dice::Dice;
use crate::model::{DAY_MICROS, Stamp};

/// What a machine's insulation does over the months.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Story {
    /// Healthy throughout.
    Steady,
    /// The phase with this index declines, decades a year, from so many days before the end.
    Declining(usize, f64, f64),
    /// Washed so many days before the end: low for a fortnight.
    Washed(f64),
    /// Declined until it was rewound, so many days before the end.
    Rewound(f64),
    /// Below its limit at the last two visits.
    Low,
    /// Measured with another tester, which reads a quarter low, in the last so many days.
    SwappedTester(f64),
}

/// One machine of the quay.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Its id.
    pub id: &'static str,
    /// What it is.
    pub kind: &'static str,
    /// `tied`, `separable` or `unknown`.
    pub phases: &'static str,
    /// `thermosetting`, `thermoplastic`, `none` or `unknown`.
    pub insulation: &'static str,
    /// Where it works.
    pub site: &'static str,
    /// What the live lead is put on.
    pub labels: &'static [&'static str],
    /// log10 ohm of its healthy insulation at 40 °C.
    pub level: f64,
    /// What happens to it.
    pub story: Story,
    /// Which export it comes in.
    pub export: Export,
}

/// The exports of the quay, each in a dialect of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Export {
    /// Hand-held tester of the yard: full scale 550 MΩ on its 500 V range.
    Yard,
    /// Bench tester of the workshop: full scale 200 GΩ.
    Bench,
    /// The crane crew's sheet: one column per phase.
    Cranes,
}

/// A reading of the quay before it is written in a dialect.
#[derive(Clone, Debug, PartialEq)]
pub struct QuayReading {
    /// When.
    pub at: Stamp,
    /// Which machine.
    pub asset: &'static str,
    /// Which phase or terminal.
    pub label: &'static str,
    /// Ohms, or the full scale when `over`.
    pub ohms: f64,
    /// Above the tester's range.
    pub over: bool,
    /// Winding temperature in °C.
    pub temperature_c: f64,
    /// Relative humidity in per cent.
    pub humidity_pct: f64,
    /// The tester.
    pub tester: &'static str,
    /// Nominal test voltage in volts.
    pub volts: f64,
}

const UVW: &[&str] = &["U", "V", "W"];

/// The fleet.
#[rustfmt::skip]
pub const FLEET: &[Machine] = &[
    machine("YT-011/drive", "traction motor", "separable", "thermosetting", "north yard", UVW, 9.6, Story::Steady, Export::Yard),
    machine("YT-012/drive", "traction motor", "separable", "thermosetting", "north yard", UVW, 9.4, Story::Steady, Export::Yard),
    machine("YT-013/drive", "traction motor", "separable", "thermosetting", "north yard", UVW, 8.5, Story::Steady, Export::Yard),
    machine("YT-014/drive", "traction motor", "separable", "thermosetting", "north yard", UVW, 9.2, Story::Declining(1, 2.6, 330.0), Export::Yard),
    machine("YT-015/drive", "traction motor", "separable", "thermosetting", "north yard", UVW, 9.3, Story::Washed(95.0), Export::Yard),
    machine("YT-016/drive", "traction motor", "separable", "thermosetting", "north yard", UVW, 9.1, Story::Rewound(200.0), Export::Yard),
    machine("YT-017/pump", "pump motor", "unknown", "unknown", "south yard", UVW, 8.6, Story::Low, Export::Yard),
    machine("YT-018/drive", "traction motor", "tied", "thermosetting", "south yard", UVW, 8.8, Story::Steady, Export::Yard),
    machine("YT-019/drive", "traction motor", "separable", "thermosetting", "south yard", UVW, 8.4, Story::SwappedTester(150.0), Export::Yard),
    machine("YT-014/inverter", "module", "unknown", "none", "north yard", &["HV+", "HV-"], 8.3, Story::Steady, Export::Yard),
    machine("QC-03/hoist", "hoist motor", "separable", "thermosetting", "quay", UVW, 10.4, Story::Steady, Export::Bench),
    machine("QC-03/feed", "cable", "unknown", "thermoplastic", "quay", &["core-1", "core-2", "core-3"], 10.0, Story::Steady, Export::Bench),
    machine("QC-04/trolley", "trolley motor", "separable", "unknown", "quay", UVW, 9.0, Story::Steady, Export::Cranes),
    machine("QC-05/trolley", "trolley motor", "separable", "unknown", "quay", UVW, 8.7, Story::Steady, Export::Cranes),
];

#[expect(clippy::too_many_arguments, reason = "a row of a table")]
const fn machine(
    id: &'static str,
    kind: &'static str,
    phases: &'static str,
    insulation: &'static str,
    site: &'static str,
    labels: &'static [&'static str],
    level: f64,
    story: Story,
    export: Export,
) -> Machine {
    Machine { id, kind, phases, insulation, site, labels, level, story, export }
}

impl Export {
    const fn full_scale(self) -> f64 {
        match self {
            Export::Yard | Export::Cranes => 550e6,
            Export::Bench => 200e9,
        }
    }

    const fn visits_every(self) -> f64 {
        match self {
            Export::Yard => 30.0,
            Export::Bench => 14.0,
            Export::Cranes => 42.0,
        }
    }

    const fn tester(self) -> &'static str {
        match self {
            Export::Yard => "HT-2",
            Export::Bench => "BT-1",
            Export::Cranes => "HT-4",
        }
    }
}

/// Days of history that the demo shows.
pub const DAYS: f64 = 540.0;

/// All readings of the quay in the [`DAYS`] before `end`, by time.
pub fn readings(end: Stamp) -> Vec<QuayReading> {
    let mut dice = Dice::new(20_140, 1);
    let mut out = Vec::new();
    for machine in FLEET {
        let every = machine.export.visits_every();
        let offset = dice.between(0.5, 6.0);
        let visits = (DAYS / every) as i64;
        for visit in (0..=visits).rev() {
            let day = -(visit as f64) * every - offset + dice.between(-1.0, 1.0);
            let midnight = end.utc_day() * DAY_MICROS;
            let minutes = (day.floor() * 1_440.0) as i64 + 480 + dice.between(0.0, 420.0) as i64;
            let start = Stamp::from_micros(midnight + minutes * 60_000_000);
            let days_left = (end.micros() - start.micros()) as f64 / DAY_MICROS as f64;
            visit_of(machine, start, days_left, &mut dice, &mut out);
        }
    }
    out.sort_by_key(|r| r.at);
    out
}

fn visit_of(
    machine: &Machine,
    start: Stamp,
    days_left: f64,
    dice: &mut Dice,
    out: &mut Vec<QuayReading>,
) {
    let season = (start.days() / 365.25 * std::f64::consts::TAU - 1.8).sin();
    let temperature_c = (18.0 + 9.0 * season + 3.0 * dice.normal(0.0, 1.0)).round();
    let humidity_pct = (62.0 + 8.0 * dice.normal(0.0, 1.0)).clamp(35.0, 90.0).round();
    let (tester, gain) = match machine.story {
        Story::SwappedTester(days) if days_left < days => ("HT-5", 0.75),
        _ => (machine.export.tester(), 1.0),
    };
    let kappa = match machine.insulation {
        "thermoplastic" => -0.301,
        "none" => 0.0,
        _ => -0.08,
    };
    let tied = machine.phases == "tied";
    let common = 0.05 * dice.normal(0.0, 1.0);
    let mut joined = machine.level + common;
    for (i, label) in machine.labels.iter().enumerate() {
        let apart = if tied { 0.01 } else { 0.06 };
        let healthy = if tied { joined } else { machine.level + common };
        joined = healthy;
        let log40 = healthy + apart * dice.normal(0.0, 1.0) - drop_of(machine.story, i, days_left);
        let ohms = 10f64.powf(log40 + kappa * (temperature_c - 40.0) / 10.0) * gain;
        let full = machine.export.full_scale();
        out.push(QuayReading {
            at: Stamp::from_micros(start.micros() + i as i64 * 120_000_000),
            asset: machine.id,
            label,
            ohms: if ohms >= full { full } else { three_digits(ohms) },
            over: ohms >= full,
            temperature_c,
            humidity_pct,
            tester,
            volts: if machine.export == Export::Bench { 1_000.0 } else { 500.0 },
        });
    }
}

/// Decades below healthy, so many days before the end.
fn drop_of(story: Story, phase: usize, days_left: f64) -> f64 {
    match story {
        Story::Declining(which, per_year, onset) if which == phase => {
            ((onset - days_left) / 365.25).max(0.0) * per_year
        }
        Story::Washed(ago) if days_left < ago => 1.6 * (-(ago - days_left) / 9.0).exp(),
        Story::Rewound(ago) if days_left > ago => {
            ((ago + 260.0 - days_left) / 365.25).max(0.0) * 2.9
        }
        Story::Low if days_left < 45.0 => 2.6,
        Story::Low if days_left < 75.0 => 1.2,
        _ => 0.0,
    }
}

/// A tester's display: three significant digits.
fn three_digits(ohms: f64) -> f64 {
    let scale = 10f64.powi(ohms.log10().floor() as i32 - 2);
    (ohms / scale).round() * scale
}

/// What was done at the quay: when, to what, what, remark.
pub fn events(end: Stamp) -> Vec<(Stamp, &'static str, &'static str, &'static str)> {
    FLEET
        .iter()
        .filter_map(|m| match m.story {
            Story::Washed(ago) => {
                Some((end.plus_days(-ago), m.id, "washed", "wash-down after the salt storm"))
            }
            Story::Rewound(ago) => {
                Some((end.plus_days(-ago), m.id, "rewound", "rewound by the dock's workshop"))
            }
            _ => None,
        })
        .collect()
}
