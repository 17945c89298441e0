//! Kinds of fleets, each as a table of numbers.

use crate::model::Insulation;

/// Everything that shapes an invented fleet. Fields may be changed to make another one.
#[derive(Clone, Debug, PartialEq)]
pub struct Preset {
    /// Its name in tables.
    pub name: &'static str,
    /// Full scales of the testers in use, ohm.
    pub full_scales: &'static [f64],
    /// Lowest reading of the testers, ohm.
    pub lowest: f64,
    /// Days between visits and how far a visit may be off its day.
    pub every_days: (f64, f64),
    /// Length of the history, days.
    pub span_days: f64,
    /// Healthy levels at 40 °C: share of the first, both as log10 ohm, and the spread of each.
    pub baselines: (f64, f64, f64, f64),
    /// Share of assets that decline.
    pub decliners: f64,
    /// Ageing of the healthy, decades a year.
    pub ageing: f64,
    /// Limit, ohm at 40 °C.
    pub limit_ohm: f64,
    /// Class as registered.
    pub insulation: Insulation,
    /// True temperature coefficient, decades per 10 K: mean and spread.
    pub kappa: (f64, f64),
    /// Scatter of readings by asset, decades: from, to.
    pub scatter: (f64, f64),
    /// Share of gross errors.
    pub outliers: f64,
    /// Wash-downs a year.
    pub washes: f64,
    /// Share of readings whose temperature is missing.
    pub temperature_missing: f64,
    /// Ambient temperatures entered as those of the winding.
    pub ambient_as_winding: bool,
    /// Share of repairs that nobody recorded.
    pub unrecorded: f64,
    /// Share of assets with separable phases; of the others, the share whose joining is unknown.
    pub separable: f64,
    /// Share of the not separable whose joining is not on record.
    pub joining_unknown: f64,
    /// Spread of tester gains, as a fraction.
    pub gain: f64,
    /// Gain of every third tester, as a fraction: a tester that is off.
    pub gain_off: f64,
    /// Whether the testers go round between the stations.
    pub testers_swapped: bool,
    /// Of the decliners, the share with a sudden drop instead of a course.
    pub sudden: f64,
    /// Of the decliners, the share that end as a dead short at once.
    pub dead: f64,
    /// Share of visits whose phases were entered in another order.
    pub phases_swapped: f64,
    /// Share of assets whose records were exchanged with another's for some months.
    pub assets_swapped: f64,
}

impl Preset {
    /// Hand-held testers, monthly for two years.
    pub fn handheld() -> Self {
        Preset {
            name: "handheld",
            full_scales: &[550e6],
            lowest: 10e3,
            every_days: (30.44, 4.0),
            span_days: 730.0,
            baselines: (0.75, 9.6, 8.5, 0.25),
            decliners: 0.05,
            ageing: -0.02,
            limit_ohm: 5e6,
            insulation: Insulation::Thermoplastic,
            kappa: (-0.301, 0.1),
            scatter: (0.05, 0.15),
            outliers: 0.005,
            washes: 0.3,
            temperature_missing: 0.05,
            ambient_as_winding: false,
            unrecorded: 0.0,
            separable: 0.0,
            joining_unknown: 0.0,
            gain: 0.03,
            gain_off: 0.0,
            testers_swapped: false,
            sudden: 0.0,
            dead: 0.0,
            phases_swapped: 0.0,
            assets_swapped: 0.0,
        }
    }

    /// A bench tester, weekly for a year.
    pub fn bench() -> Self {
        Preset {
            name: "bench",
            full_scales: &[200e9],
            every_days: (7.0, 1.0),
            span_days: 365.0,
            baselines: (0.75, 10.6, 9.5, 0.25),
            ..Self::handheld()
        }
    }

    /// Everything that makes it hard, six-weekly for three years.
    pub fn hard() -> Self {
        Preset {
            name: "hard",
            full_scales: &[550e6, 2e9],
            every_days: (42.0, 7.0),
            span_days: 1095.0,
            temperature_missing: 0.4,
            outliers: 0.03,
            washes: 1.0,
            unrecorded: 0.3,
            separable: 0.5,
            testers_swapped: true,
            ..Self::handheld()
        }
    }

    /// Nothing happens.
    pub fn calm() -> Self {
        Preset { name: "calm", decliners: 0.0, ..Self::handheld() }
    }

    /// All decline: for lead times.
    pub fn declining(self) -> Self {
        Preset { decliners: 1.0, ..self }
    }

    /// Modern resins.
    pub fn thermosetting(self) -> Self {
        Preset { insulation: Insulation::Thermosetting, kappa: (-0.08, 0.05), ..self }
    }

    /// Another class as registered, whatever the truth.
    pub fn registered(self, insulation: Insulation) -> Self {
        Preset { insulation, ..self }
    }

    /// Assumptions of the filter broken all at once.
    pub fn broken(self) -> Self {
        Preset {
            kappa: (-0.25, 0.15),
            scatter: (0.1, 0.25),
            outliers: 0.03,
            washes: 1.0,
            baselines: (0.4, self.baselines.1, self.baselines.2, self.baselines.3),
            ..self
        }
    }
}
