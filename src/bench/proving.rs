//! When a check of the tester passes, how long to discharge, what is never tested.

use super::act::Value;
use crate::limits;
use crate::model::{Asset, Bound, Gear, ProofKind};
use crate::standards::circuit;

/// The numbers of the run sheet that a workshop may set.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Least seconds of discharge after any test, whatever asset and class state. The project's own
    /// choice, no published source.
    pub least_discharge_s: f64,
    /// What a known resistance may read off, as a part of its value: the uncertainty of the marked
    /// range by default (IEC 61557-2).
    pub tolerance: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings { least_discharge_s: 60.0, tolerance: circuit::TESTER_UNCERTAINTY }
    }
}

/// Whether a check of the resistance function is as it has to be: open leads over-range; shorted
/// leads at the bottom of the range (`tester` says its lowest reading); a known resistance within
/// the tolerance.
pub(super) fn passes(
    kind: ProofKind,
    value: Value,
    expected_ohm: Option<f64>,
    tester: Option<&Gear>,
    settings: &Settings,
) -> bool {
    let lowest = tester.and_then(|t| t.lowest_ohm).unwrap_or(limits::LOWEST_READING_OHM);
    match kind {
        ProofKind::Open => value.bound == Bound::Over,
        ProofKind::Shorted => value.bound != Bound::Over && value.ohms <= lowest,
        ProofKind::KnownResistance => expected_ohm.is_some_and(|expected| {
            value.bound == Bound::Measured
                && (value.ohms - expected).abs() <= settings.tolerance * expected
        }),
        // Not of the resistance function: they have points of their own.
        ProofKind::KnownSource | ProofKind::Contact => false,
    }
}

/// What a voltage function may read off on a known source, as a part of its value: 10 %. It has to
/// show that the function works, not how well; the project's own choice, no published source.
pub(super) const SOURCE_TOLERANCE: f64 = 0.1;

/// Whether the voltage function shows what the known source gives.
pub(super) fn source_passes(read_v: f64, expected_v: f64) -> bool {
    expected_v > 0.0 && (read_v.abs() - expected_v).abs() <= SOURCE_TOLERANCE * expected_v
}

/// From this voltage in volts on a part is not tested: what returns from an earlier charge would
/// disturb the test (IEEE Std 43: below about 20 V). It says nothing about touching.
pub const NOT_TESTED_FROM_V: f64 = circuit::RETURN_VOLTAGE_BEFORE_TEST;

/// Seconds that an asset has to discharge after the voltage was applied for `applied_s`: at least
/// four times as long (IEEE Std 43), and never less than the asset or its class states, or the
/// setting.
pub fn discharge_s(stated_s: Option<u32>, applied_s: f64, settings: &Settings) -> f64 {
    let stated = stated_s.map_or(0.0, f64::from);
    circuit::discharge_s(applied_s).max(stated).max(settings.least_discharge_s)
}

/// Words for things that bring their own energy.
const SOURCES: &[&str] = &["battery", "batteries", "accumulator", "pack", "packs", "cell", "cells"];

/// What makes an asset a thing that is never tested with an insulation tester; none: it may be.
pub fn brings_energy(asset: &Asset) -> Option<&'static str> {
    let texts = format!("{} {}", asset.kind, asset.id).to_lowercase();
    let words: Vec<&str> = texts.split(|c: char| !c.is_alphanumeric()).collect();
    SOURCES.iter().copied().find(|source| words.contains(source))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::AssetId;

    fn value(ohms: f64, bound: Bound) -> Value {
        Value { ohms, bound }
    }

    fn check(kind: ProofKind, value: Value, expected: Option<f64>) -> bool {
        passes(kind, value, expected, None, &Settings::default())
    }

    #[test]
    fn open_leads_read_over_range_and_nothing_else() {
        assert!(check(ProofKind::Open, value(550e6, Bound::Over), None));
        assert!(!check(ProofKind::Open, value(550e6, Bound::Measured), None));
    }

    #[test]
    fn shorted_leads_read_the_bottom_of_the_range() {
        assert!(check(ProofKind::Shorted, value(10e3, Bound::Under), None));
        assert!(check(ProofKind::Shorted, value(10e3, Bound::Measured), None));
        assert!(!check(ProofKind::Shorted, value(50e3, Bound::Measured), None));
        assert!(!check(ProofKind::Shorted, value(550e6, Bound::Over), None), "a broken lead");
    }

    /// IEC 61557-2 (S): ±30 % of reading in the marked range.
    #[test]
    fn a_known_resistance_reads_within_its_tolerance() {
        for (ohms, good) in [(1.3e6, true), (1.31e6, false), (0.7e6, true), (0.69e6, false)] {
            let read = value(ohms, Bound::Measured);
            assert_eq!(check(ProofKind::KnownResistance, read, Some(1e6)), good, "{ohms}");
        }
        assert!(!check(ProofKind::KnownResistance, value(1e6, Bound::Over), Some(1e6)));
        assert!(!check(ProofKind::KnownResistance, value(1e6, Bound::Measured), None));
    }

    #[test]
    fn a_known_source_shows_that_the_function_works() {
        assert!(source_passes(23.0, 24.0) && source_passes(-24.0, 24.0));
        assert!(
            !source_passes(0.0, 24.0) && !source_passes(20.0, 24.0) && !source_passes(0.0, 0.0)
        );
    }

    /// IEEE Std 43 as quoted (S): at least four times the time the voltage was applied.
    #[test]
    fn discharge_takes_four_times_the_test_and_not_less_than_set() {
        let settings = Settings::default();
        assert_eq!(discharge_s(None, 60.0, &settings), 240.0);
        assert_eq!(discharge_s(None, 600.0, &settings), 2_400.0);
        assert_eq!(discharge_s(None, 5.0, &settings), 60.0);
        assert_eq!(discharge_s(Some(300), 60.0, &settings), 300.0, "as the class of a cable says");
        assert_eq!(discharge_s(Some(300), 600.0, &settings), 2_400.0, "never below four times");
        assert_eq!(discharge_s(Some(30), 5.0, &settings), 60.0, "nor below the setting");
        let training = Settings { least_discharge_s: 0.0, ..settings };
        assert_eq!(discharge_s(None, 1.0, &training), 4.0);
    }

    #[test]
    fn what_brings_its_own_energy_is_told_by_its_words() {
        let asset = |id: &str, kind: &str| Asset {
            kind: kind.into(),
            ..Asset::first_met(AssetId::new(id).unwrap())
        };
        assert_eq!(brings_energy(&asset("YT-014/drive", "rotating machine")), None);
        assert_eq!(brings_energy(&asset("YT-014/pack", "")), Some("pack"));
        assert_eq!(brings_energy(&asset("B-1", "Traction battery")), Some("battery"));
        assert_eq!(brings_energy(&asset("packaging-line", "motor")), None);
    }
}
