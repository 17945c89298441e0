//! Rotating machines: minimum resistance, test voltage, polarization index (IEEE Std 43).

/// Which minimum of IEEE Std 43 a winding falls under.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Winding {
    /// Older windings, field windings and others not named below: kV + 1 MΩ.
    Older,
    /// Form-wound AC windings from about 1970 on: 100 MΩ.
    FormWound,
    /// Random-wound, form-wound below 1 kV, since 2013 also DC armatures: 5 MΩ.
    RandomWound,
}

/// Minimum one-minute resistance of the entire winding at 40 °C, in ohm
/// (IEEE Std 43-2000 table 3, extended 2013; S and M).
pub fn minimum_ohm(winding: Winding, rated_volts: f64) -> f64 {
    match winding {
        Winding::Older => (rated_volts / 1e3 + 1.0) * 1e6,
        // The standard itself sends form-wound machines below 1 kV to the 5 MΩ row.
        Winding::FormWound if rated_volts >= 1e3 => 100e6,
        Winding::FormWound | Winding::RandomWound => 5e6,
    }
}

/// With one phase tested and the other two grounded, the minimum is that of the entire winding
/// times this (IEEE Std 43, M).
pub const ONE_PHASE_FACTOR: f64 = 2.0;

/// Range of direct test voltages, lowest and highest in volts, for a rated line voltage
/// (IEEE Std 43-2000 table 1, S). A maker's procedure goes first.
pub fn test_voltage(rated_volts: f64) -> (f64, f64) {
    match rated_volts {
        v if v < 1_000.0 => (500.0, 500.0),
        v if v <= 2_500.0 => (500.0, 1_000.0),
        v if v <= 5_000.0 => (1_000.0, 2_500.0),
        v if v <= 12_000.0 => (2_500.0, 5_000.0),
        _ => (5_000.0, 10_000.0),
    }
}

/// Above this one-minute resistance, in ohm, a polarization index says nothing (IEEE Std 43, M).
pub const INDEX_WITHHELD_ABOVE_OHM: f64 = 5e9;

/// Minimum polarization index R(10 min)/R(1 min) of a thermal class in °C (IEEE Std 43-2000
/// table 2, S): 1.5 for class 105, 2.0 for 130, 155 and 180. `None` for classes without a value.
pub const fn minimum_polarization_index(thermal_class: u16) -> Option<f64> {
    match thermal_class {
        105 => Some(1.5),
        130 | 155 | 180 => Some(2.0),
        _ => None,
    }
}

/// A ratio of two timed readings, or why it is withheld.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ratio {
    /// The later over the earlier.
    Is(f64),
    /// R1 is above 5 GΩ (IEEE Std 43, M).
    Withheld,
}

/// The ratio of a later to an earlier reading of one test, in ohm both: polarization index for
/// 10 min and 1 min, absorption ratio for 60 s and 30 s. Random-wound windings settle within
/// minutes, so the shorter pair suits them (IEEE Std 43-2013, S/M).
pub fn absorption(earlier_ohm: f64, later_ohm: f64, one_minute_ohm: f64) -> Ratio {
    if one_minute_ohm > INDEX_WITHHELD_ABOVE_OHM {
        Ratio::Withheld
    } else {
        Ratio::Is(later_ohm / earlier_ohm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEEE Std 43 (S/M), kV + 1 MΩ; values C.
    #[test]
    fn minimum_resistance() {
        let older = |v| minimum_ohm(Winding::Older, v);
        assert!((older(400.0) - 1.4e6).abs() < 1e-6);
        assert!((older(4_160.0) - 5.16e6).abs() < 1e-6);
        assert!((older(13_800.0) - 14.8e6).abs() < 1e-6);
        assert_eq!(minimum_ohm(Winding::FormWound, 6_600.0), 100e6);
        assert_eq!(minimum_ohm(Winding::FormWound, 690.0), 5e6);
        assert_eq!(minimum_ohm(Winding::RandomWound, 400.0), 5e6);
        assert_eq!(ONE_PHASE_FACTOR * minimum_ohm(Winding::RandomWound, 400.0), 10e6);
    }

    /// IEEE Std 43-2000 table 1 (S).
    #[test]
    fn test_voltages() {
        let table = [
            (400.0, (500.0, 500.0)),
            (999.0, (500.0, 500.0)),
            (1_000.0, (500.0, 1_000.0)),
            (3_300.0, (1_000.0, 2_500.0)),
            (6_600.0, (2_500.0, 5_000.0)),
            (13_800.0, (5_000.0, 10_000.0)),
        ];
        for (rated, range) in table {
            assert_eq!(test_voltage(rated), range, "{rated} V");
        }
    }

    /// IEEE Std 43-2000 table 2 (S); the 5 GΩ rule (M).
    #[test]
    fn polarization_index() {
        assert_eq!(minimum_polarization_index(105), Some(1.5));
        for class in [130, 155, 180] {
            assert_eq!(minimum_polarization_index(class), Some(2.0));
        }
        assert_eq!(minimum_polarization_index(220), None);
        assert_eq!(absorption(1e9, 2.5e9, 1e9), Ratio::Is(2.5));
        assert_eq!(absorption(5.1e9, 20e9, 5.1e9), Ratio::Withheld);
        assert_eq!(absorption(5e9, 10e9, 5e9), Ratio::Is(2.0));
    }
}
