//! Correction of insulation resistance to a reference temperature, and the dew point.

/// Reference temperature of machine insulation, °C (IEEE Std 43, S).
pub const REFERENCE_C: f64 = 40.0;

/// A published rule by which a resistance at one temperature becomes one at 40 °C.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// Halving per 10 K: `0.5^((40−T)/10)` (IEEE Std 43-2000; thermoplastic systems since 2013). S.
    Halving10,
    /// `exp(−4230·(1/(T+273) − 1/313))`, thermosetting systems from 40 to 85 °C
    /// (IEEE Std 43-2013). M.
    Exp4230,
    /// `exp(−1245·(1/(T+273) − 1/313))`, thermosetting systems from 10 to 40 °C
    /// (IEEE Std 43-2013). M.
    Exp1245,
    /// Thermosetting over the whole range: 1245 up to 40 °C, 4230 above. M.
    Thermosetting,
    /// No correction.
    None,
}

impl Rule {
    /// How the rule is named wherever a corrected value is shown.
    pub const fn name(self) -> &'static str {
        match self {
            Rule::Halving10 => "halving per 10 K",
            Rule::Exp4230 => "exponential, 4230 K",
            Rule::Exp1245 => "exponential, 1245 K",
            Rule::Thermosetting => "exponential, 1245 K up to 40 °C and 4230 K above",
            Rule::None => "none",
        }
    }

    /// K with R40 = K·R_T, T in °C.
    pub fn factor(self, celsius: f64) -> f64 {
        let exponential = |c: f64| (-c * (1.0 / (celsius + 273.0) - 1.0 / 313.0)).exp();
        match self {
            Rule::Halving10 => 0.5_f64.powf((REFERENCE_C - celsius) / 10.0),
            Rule::Exp4230 => exponential(4230.0),
            Rule::Exp1245 => exponential(1245.0),
            Rule::Thermosetting if celsius > REFERENCE_C => exponential(4230.0),
            Rule::Thermosetting => exponential(1245.0),
            Rule::None => 1.0,
        }
    }

    /// log10 K: what is added to log10 R_T.
    pub fn log_factor(self, celsius: f64) -> f64 {
        self.factor(celsius).log10()
    }

    /// The resistance at 40 °C, in ohm, of one measured at T °C.
    pub fn to_40(self, ohms: f64, celsius: f64) -> f64 {
        ohms * self.factor(celsius)
    }
}

/// Factor that takes a resistance at T °C to 25 °C: doubling per 15 K drop
/// (US Navy motor specification MIL-M-17413, S).
pub fn navy_factor_to_25(celsius: f64) -> f64 {
    2.0_f64.powf((celsius - 25.0) / 15.0)
}

/// Dew point in °C of air at `celsius` and `humidity_pct` relative humidity (above 0): Magnus form
/// with 17.62 and 243.12 °C (WMO No. 8, Guide to Instruments and Methods of Observation; M).
///
/// A winding below it is wet (IEEE Std 43, M).
pub fn dew_point(celsius: f64, humidity_pct: f64) -> f64 {
    let g = (humidity_pct / 100.0).ln() + 17.62 * celsius / (243.12 + celsius);
    243.12 * g / (17.62 - g)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "got {got}, want {want}");
    }

    /// IEEE Std 43-2000, halving per 10 K (S); values C.
    #[test]
    fn halving() {
        let table = [
            (10.0, 0.125),
            (15.0, 0.176777),
            (20.0, 0.25),
            (25.0, 0.353553),
            (30.0, 0.5),
            (40.0, 1.0),
            (45.0, std::f64::consts::SQRT_2),
            (50.0, 2.0),
            (60.0, 4.0),
            (70.0, 8.0),
            (80.0, 16.0),
            (85.0, 22.627417),
        ];
        for (t, k) in table {
            near(Rule::Halving10.factor(t), k, 5e-7);
        }
    }

    /// IEEE Std 43-2013, thermosetting: constants M, values C.
    #[test]
    fn thermosetting() {
        let above = [
            (45.0, 1.236754),
            (50.0, 1.519531),
            (55.0, 1.855280),
            (60.0, 2.251675),
            (70.0, 3.260940),
            (80.0, 4.624527),
            (85.0, 5.467025),
        ];
        for (t, k) in above {
            near(Rule::Exp4230.factor(t), k, 5e-7);
            near(Rule::Thermosetting.factor(t), k, 5e-7);
        }
        let below = [
            (10.0, 0.655959),
            (15.0, 0.708021),
            (20.0, 0.762227),
            (25.0, 0.818553),
            (30.0, 0.876976),
        ];
        for (t, k) in below {
            near(Rule::Exp1245.factor(t), k, 5e-7);
            near(Rule::Thermosetting.factor(t), k, 5e-7);
        }
        near(Rule::Thermosetting.factor(40.0), 1.0, 1e-15);
    }

    /// The rules differ by half a decade at 20 °C (C): never two rules in one trend.
    #[test]
    fn rules_differ_by_half_a_decade() {
        let gap = Rule::Exp1245.log_factor(20.0) - Rule::Halving10.log_factor(20.0);
        near(gap, 0.484, 0.001);
        near(Rule::Halving10.to_40(100e6, 30.0), 50e6, 1e-6);
        near(Rule::None.factor(3.0), 1.0, 0.0);
    }

    /// MIL-M-17413 (S): a drop of 15 K doubles.
    #[test]
    fn navy() {
        near(navy_factor_to_25(25.0), 1.0, 0.0);
        near(navy_factor_to_25(40.0), 2.0, 1e-12);
        near(navy_factor_to_25(10.0), 0.5, 1e-12);
    }

    /// Magnus form, values C.
    #[test]
    fn dew_points() {
        near(dew_point(20.0, 50.0), 9.26, 0.005);
        near(dew_point(25.0, 60.0), 16.69, 0.005);
        near(dew_point(30.0, 70.0), 23.93, 0.005);
        near(dew_point(17.0, 100.0), 17.0, 1e-9);
    }
}
