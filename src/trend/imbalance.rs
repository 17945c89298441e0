//! One phase apart from the others: the ratio of the largest to the smallest of one visit.
//!
//! No published limit exists for the imbalance of insulation resistance; the default is the
//! project's own choice. It is a finding only where the phases can be measured alone.

use crate::model::Bound;

/// The spread of the phases at one visit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Imbalance {
    /// log10 of largest over smallest.
    pub decades: f64,
    /// The true ratio may be larger: the largest was over-range, or the smallest under-range.
    pub at_least: bool,
    /// Which of the values was the smallest.
    pub smallest: usize,
}

/// The spread of three values (log10 ohm and bound) taken at like temperature.
///
/// None when fewer than three are given, when two or more are over-range (their order is not
/// known and with it not the spread), or when the smallest is itself over-range.
pub fn imbalance(values: &[(f64, Bound)]) -> Option<Imbalance> {
    if values.len() < 3 || values.iter().filter(|v| v.1 == Bound::Over).count() > 1 {
        return None;
    }
    let by_value = |a: &(usize, &(f64, Bound)), b: &(usize, &(f64, Bound))| a.1.0.total_cmp(&b.1.0);
    let (smallest, low) = values.iter().enumerate().min_by(by_value)?;
    let (_, high) = values.iter().enumerate().max_by(by_value)?;
    if low.1 == Bound::Over || high.1 == Bound::Under {
        return None;
    }
    let at_least = high.1 == Bound::Over || low.1 == Bound::Under;
    Some(Imbalance { decades: high.0 - low.0, at_least, smallest })
}

/// What one series' own scatter explains of a ratio: three standard deviations of a difference.
pub fn explained(scatter: f64) -> f64 {
    3.0 * std::f64::consts::SQRT_2 * scatter
}

#[cfg(test)]
mod tests {
    use super::*;
    use Bound::{Measured, Over, Under};

    #[test]
    fn two_over_range_phases_make_it_unknown() {
        let of = |values: &[(f64, Bound)]| imbalance(values).map(|i| (i.decades, i.at_least));
        assert_eq!(of(&[(8.0, Measured), (7.0, Measured), (8.5, Measured)]), Some((1.5, false)));
        assert_eq!(of(&[(8.5, Over), (7.0, Measured), (8.0, Measured)]), Some((1.5, true)));
        assert_eq!(of(&[(8.5, Over), (7.0, Measured), (8.5, Over)]), None);
        assert_eq!(of(&[(8.0, Measured), (4.0, Under), (8.0, Measured)]), Some((4.0, true)));
        assert_eq!(of(&[(8.0, Measured), (7.0, Measured)]), None);
        assert_eq!(of(&[]), None);
    }
}
