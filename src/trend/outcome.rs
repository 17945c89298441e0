//! What one reading says against one limit at once, without any trend.

use crate::model::{Bound, Insulation, Limit, LimitMeaning, Outcome};
use crate::standards::circuit::SAGGED_BELOW;
use crate::standards::temperature::Rule;

/// One reading as far as a limit is concerned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Ohms as read.
    pub ohms: f64,
    /// Measured, at least or at most.
    pub bound: Bound,
    /// Temperature of the insulation in °C, where stated or estimated.
    pub temperature_c: Option<f64>,
    /// Standard uncertainty of that temperature in kelvin.
    pub temperature_sd: f64,
    /// Volts that the tester delivered.
    pub delivered_v: Option<f64>,
    /// Volts that it should have delivered.
    pub nominal_v: Option<f64>,
}

/// What is taken for the temperature of a cold machine when none is stated: mean and standard
/// deviation in °C. Workshop air; the project's own choice, no published source.
pub const UNSTATED_TEMPERATURE: (f64, f64) = (22.5, 6.5);

/// Up to this uncertainty in kelvin a temperature counts as stated.
pub(crate) const WELL_KNOWN_SD: f64 = 2.0;

const SAGGED: &str = "the delivered voltage sagged, so the high reading does not count";
const OVER_BELOW: &str = "over-range below the limit";
const UNDER_ABOVE: &str = "under-range above the limit";
const NO_TEMPERATURE: &str = "no temperature, and the correction to 40 °C decides";
const WIDE_TEMPERATURE: &str = "the temperature is too uncertain for the correction to 40 °C";
const NO_RULE: &str = "the insulation class is unknown, and the correction to 40 °C decides";

/// The published rule of an insulation class; none where the class is not known.
pub const fn rule(insulation: Insulation) -> Option<Rule> {
    match insulation {
        Insulation::Thermoplastic => Some(Rule::Halving10),
        Insulation::Thermosetting => Some(Rule::Thermosetting),
        Insulation::None => Some(Rule::None),
        Insulation::Unknown => None,
    }
}

/// Least and largest factor to 40 °C that the circumstances allow.
///
/// An unknown class lies between no effect and halving per 10 K: the thermosetting rules lie
/// between these two at every temperature.
pub fn factors(insulation: Insulation, celsius: Option<f64>, sd: f64) -> (f64, f64) {
    let (middle, sd) = match celsius {
        Some(t) if sd <= WELL_KNOWN_SD => (t, 0.0),
        Some(t) => (t, sd),
        None => UNSTATED_TEMPERATURE,
    };
    let known = rule(insulation);
    let rules = known.map_or([Rule::None, Rule::Halving10], |r| [r, r]);
    let (mut least, mut largest) = (f64::INFINITY, 0.0_f64);
    for rule in rules {
        for t in [middle - 2.0 * sd, middle + 2.0 * sd] {
            least = least.min(rule.factor(t));
            largest = largest.max(rule.factor(t));
        }
    }
    (least, largest)
}

/// Whether the voltage sagged under load: below 0.9 of the nominal one (the project's own choice,
/// see [`SAGGED_BELOW`]). Unknown voltages don't count as sagged.
pub fn sagged(reading: &Measured) -> bool {
    match (reading.delivered_v, reading.nominal_v) {
        (Some(delivered), Some(nominal)) => delivered < SAGGED_BELOW * nominal,
        _ => false,
    }
}

/// Holds a reading against a limit.
///
/// A low reading counts whether or not the voltage sagged (it sags because the insulation is bad);
/// a sagged voltage spoils only a high one. Isolation limits and limits as read are held against
/// the raw value; a limit at 40 °C against the value corrected by the rule of the insulation, and
/// where temperature or rule are uncertain only against what all of them say.
pub fn outcome(reading: &Measured, limit: &Limit, insulation: Insulation) -> Outcome {
    if !(reading.ohms > 0.0 && reading.ohms.is_finite()) {
        return Outcome::Invalid("no resistance");
    }
    let corrected = limit.meaning == LimitMeaning::At40;
    let (least, largest) = if corrected {
        factors(insulation, reading.temperature_c, reading.temperature_sd)
    } else {
        (1.0, 1.0)
    };
    let (low, high) = (reading.ohms * least, reading.ohms * largest);
    let undecided = if reading.temperature_c.is_none() {
        NO_TEMPERATURE
    } else if reading.temperature_sd > WELL_KNOWN_SD {
        WIDE_TEMPERATURE
    } else {
        NO_RULE
    };
    let meets = || if sagged(reading) { Outcome::CannotTell(SAGGED) } else { Outcome::Meets };
    match reading.bound {
        Bound::Measured if high < limit.ohms => Outcome::Below,
        Bound::Measured if low >= limit.ohms => meets(),
        Bound::Measured => Outcome::CannotTell(undecided),
        Bound::Over if low >= limit.ohms => meets(),
        Bound::Over if high >= limit.ohms => Outcome::CannotTell(undecided),
        Bound::Over => Outcome::CannotTell(OVER_BELOW),
        Bound::Under if high < limit.ohms => Outcome::Below,
        Bound::Under if low < limit.ohms => Outcome::CannotTell(undecided),
        Bound::Under => Outcome::CannotTell(UNDER_ABOVE),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WINDING_5M: Limit = Limit { ohms: 5e6, meaning: LimitMeaning::At40 };
    const VEHICLE: Limit = Limit {
        ohms: 80e3,
        meaning: LimitMeaning::Isolation { ohm_per_volt: 100.0, working_voltage_v: 800.0 },
    };

    fn reading(ohms: f64, bound: Bound, celsius: Option<f64>) -> Measured {
        let (delivered_v, nominal_v) = (Some(526.0), Some(500.0));
        Measured {
            ohms,
            bound,
            temperature_c: celsius,
            temperature_sd: 1.0,
            delivered_v,
            nominal_v,
        }
    }

    fn word(reading: &Measured, limit: &Limit, insulation: Insulation) -> &'static str {
        outcome(reading, limit, insulation).word()
    }

    /// Common practice, no published source: a 500 V range that tops out at 550 MΩ reads over-range
    /// with open leads at 526 V. The voltage lies within 1.25 Un (IEC 61557-2, M).
    #[test]
    fn open_leads_are_over_range_at_full_voltage() {
        let open = reading(550e6, Bound::Over, Some(20.0));
        assert!(!sagged(&open));
        assert_eq!(word(&open, &WINDING_5M, Insulation::Thermoplastic), "meets");
    }

    /// Common practice, no published source: a winding faulted on purpose reads the bottom of the
    /// range and is `below` at once, whatever voltage and temperature.
    #[test]
    fn a_fault_is_below_at_once() {
        for insulation in Insulation::ALL {
            for celsius in [None, Some(5.0), Some(80.0)] {
                for bound in [Bound::Measured, Bound::Under] {
                    let mut fault = reading(10e3, bound, celsius);
                    fault.delivered_v = Some(40.0);
                    assert_eq!(word(&fault, &WINDING_5M, *insulation), "below");
                    assert_eq!(word(&fault, &VEHICLE, *insulation), "below");
                }
            }
        }
    }

    #[test]
    fn a_sagged_voltage_spoils_only_a_high_reading() {
        let mut high = reading(200e6, Bound::Measured, Some(40.0));
        high.delivered_v = Some(449.0);
        assert_eq!(outcome(&high, &WINDING_5M, Insulation::None), Outcome::CannotTell(SAGGED));
        high.delivered_v = Some(450.0);
        assert_eq!(word(&high, &WINDING_5M, Insulation::None), "meets");
        let mut low = reading(1e6, Bound::Measured, Some(40.0));
        low.delivered_v = Some(120.0);
        assert_eq!(word(&low, &WINDING_5M, Insulation::None), "below");
    }

    /// IEEE Std 43, halving rule (S): 12 MΩ at 20 °C are 3 MΩ at 40 °C. Thermosetting (M): 9 MΩ.
    #[test]
    fn correction_follows_the_insulation() {
        let r = reading(12e6, Bound::Measured, Some(20.0));
        assert_eq!(word(&r, &WINDING_5M, Insulation::Thermoplastic), "below");
        assert_eq!(word(&r, &WINDING_5M, Insulation::Thermosetting), "meets");
        assert_eq!(word(&r, &WINDING_5M, Insulation::None), "meets");
        assert_eq!(outcome(&r, &WINDING_5M, Insulation::Unknown), Outcome::CannotTell(NO_RULE));
        let r = reading(4e6, Bound::Measured, Some(20.0));
        assert_eq!(word(&r, &WINDING_5M, Insulation::Unknown), "below");
        let r = reading(21e6, Bound::Measured, Some(20.0));
        assert_eq!(word(&r, &WINDING_5M, Insulation::Unknown), "meets");
    }

    #[test]
    fn an_unstated_temperature_is_decided_by_both_extremes() {
        let say = |ohms| {
            outcome(&reading(ohms, Bound::Measured, None), &WINDING_5M, Insulation::Thermoplastic)
        };
        assert_eq!(say(6e6), Outcome::Below, "even at 35.5 °C");
        assert_eq!(say(20e6), Outcome::CannotTell(NO_TEMPERATURE));
        assert_eq!(say(45e6), Outcome::Meets, "even at 9.5 °C");
        let mut ambient = reading(14e6, Bound::Measured, Some(25.0));
        assert_eq!(word(&ambient, &WINDING_5M, Insulation::Thermoplastic), "below");
        ambient.temperature_sd = 8.0;
        let outcome = outcome(&ambient, &WINDING_5M, Insulation::Thermoplastic);
        assert_eq!(outcome, Outcome::CannotTell(WIDE_TEMPERATURE));
    }

    /// UN R100 (S): 800 V at 100 Ω/V is 80 kΩ, of the raw value whatever the temperature.
    #[test]
    fn isolation_is_never_corrected() {
        for celsius in [None, Some(-20.0), Some(90.0)] {
            let say = |ohms| {
                word(&reading(ohms, Bound::Measured, celsius), &VEHICLE, Insulation::Thermoplastic)
            };
            assert_eq!(say(80e3), "meets");
            assert_eq!(say(79.9e3), "below");
        }
    }

    #[test]
    fn bounds_decide_only_on_their_own_side() {
        let limit = Limit { ohms: 1e9, meaning: LimitMeaning::AsRead };
        let say = |ohms, bound| outcome(&reading(ohms, bound, None), &limit, Insulation::Unknown);
        assert_eq!(say(550e6, Bound::Over), Outcome::CannotTell(OVER_BELOW));
        assert_eq!(say(1e9, Bound::Over), Outcome::Meets);
        assert_eq!(say(2e9, Bound::Under), Outcome::CannotTell(UNDER_ABOVE));
        assert_eq!(say(0.9e9, Bound::Under), Outcome::Below);
        assert_eq!(say(1e9, Bound::Measured), Outcome::Meets);
        assert_eq!(say(0.0, Bound::Measured).word(), "invalid");
    }
}
