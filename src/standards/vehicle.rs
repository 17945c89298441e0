//! Road vehicles and mobile machines: isolation limits and how isolation is measured under voltage.

/// Least isolation of a direct-current circuit, ohm per volt of working voltage
/// (UN R100, ISO 6469-3; S).
pub const DC_OHM_PER_VOLT: f64 = 100.0;
/// The same for an alternating-current circuit, and for both joined without double insulation (S).
pub const AC_OHM_PER_VOLT: f64 = 500.0;
/// High voltage begins above this direct voltage (UN R100, S).
pub const HIGH_VOLTAGE_DC: f64 = 60.0;
/// High voltage begins above this alternating voltage, r.m.s. (UN R100, S).
pub const HIGH_VOLTAGE_AC: f64 = 30.0;
/// Energy that may remain after a crash, in joule (UN R94/R95, S/M).
pub const ENERGY_AFTER_CRASH_J: f64 = 0.2;

/// What kind of circuit a limit is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Circuit {
    /// Direct current alone.
    Dc,
    /// Alternating current alone.
    Ac,
    /// Both joined.
    Joined {
        /// With double insulation or robust housings on the AC side: 100 is enough.
        double_insulated: bool,
    },
}

/// Least isolation in ohm per volt of working voltage (UN R100, ISO 6469-3; S).
pub const fn ohm_per_volt(circuit: Circuit) -> f64 {
    match circuit {
        Circuit::Dc | Circuit::Joined { double_insulated: true } => DC_OHM_PER_VOLT,
        Circuit::Ac | Circuit::Joined { double_insulated: false } => AC_OHM_PER_VOLT,
    }
}

/// Least isolation of the whole circuit in ohm. It is held against the resistance as read, never
/// corrected for temperature; a single part only contributes to it.
pub fn isolation_ohm(circuit: Circuit, working_volts: f64) -> f64 {
    ohm_per_volt(circuit) * working_volts
}

/// Isolation resistance by an inserted resistor (UN R100 annex 4; FMVSS 305; S):
/// `Ri = Ro·(Vb/V1' − Vb/V1)`, on the side with the larger reading, voltmeter of 10 MΩ or more.
///
/// `v1` is that side to chassis before, `v1_inserted` with `ro` across it; all volts and ohms.
/// It gives the smaller of the two sides, not both in parallel.
pub fn by_inserted_resistor(ro: f64, vb: f64, v1: f64, v1_inserted: f64) -> f64 {
    ro * (vb / v1_inserted - vb / v1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// UN R100, ISO 6469-3 (S); products C.
    #[test]
    fn limits() {
        assert_eq!(isolation_ohm(Circuit::Dc, 400.0), 40e3);
        assert_eq!(isolation_ohm(Circuit::Ac, 400.0), 200e3);
        assert_eq!(isolation_ohm(Circuit::Dc, 800.0), 80e3);
        assert_eq!(isolation_ohm(Circuit::Joined { double_insulated: false }, 800.0), 400e3);
        assert_eq!(isolation_ohm(Circuit::Joined { double_insulated: true }, 800.0), 80e3);
        // 12 to 125 times below the 5 MΩ of a machine: two limits with two meanings (C).
        assert_eq!(5e6 / isolation_ohm(Circuit::Ac, 800.0), 12.5);
        assert_eq!(5e6 / isolation_ohm(Circuit::Dc, 400.0), 125.0);
    }

    /// What the two voltmeter readings would be with sides `near` and `far` in ohm.
    fn measured(vb: f64, near: f64, far: f64, ro: f64) -> (f64, f64) {
        let v1 = vb * near / (near + far);
        let both = near * ro / (near + ro);
        (v1, vb * both / (both + far))
    }

    /// UN R100 annex 4 (S). The larger reading is on the side of the larger resistance, and the
    /// result is the smaller one; worked values C.
    #[test]
    fn inserted_resistor() {
        let (v1, inserted) = measured(400.0, 600e3, 200e3, 200e3);
        assert!((v1 - 300.0).abs() < 1e-9);
        assert!((inserted - 171.428571).abs() < 1e-6);
        let ri = by_inserted_resistor(200e3, 400.0, v1, inserted);
        assert!((ri - 200e3).abs() < 1e-6);
        assert!((ri / 400.0 - 500.0).abs() < 1e-9);

        let (v1, inserted) = measured(800.0, 250e3, 90e3, 80e3);
        assert!((v1 - 588.235294).abs() < 1e-6);
        assert!((inserted - 321.931590).abs() < 1e-6);
        let ri = by_inserted_resistor(80e3, 800.0, v1, inserted);
        assert!((ri - 90e3).abs() < 1e-6);
        assert!((ri / 800.0 - 112.5).abs() < 1e-9);
    }
}
