//! Three simpler detectors and one that knows the truth, for scale only: no part of the program.

use std::collections::BTreeMap;

use ohmward::invent::{PHASES, Specimen};
use ohmward::model::{Bound, Stamp};
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::tally::Flag;

/// The halving rule's coefficient, decades per 10 K (IEEE Std 43).
const HALVING: f64 = -0.301;

/// Values of one phase: time, log10 ohm at 40 °C by the halving rule, day.
fn phase(specimen: &Specimen, phase: usize) -> Vec<(Stamp, f64, Bound)> {
    let of = specimen.measured.iter().filter(|m| m.phase == phase);
    of.map(|m| {
        let celsius = m.temperature_c.unwrap_or(22.5);
        (m.at, m.ohms.log10() - HALVING * (celsius - 40.0) / 10.0, m.bound)
    })
    .collect()
}

/// Flags each time that a condition on a phase's values so far becomes true.
fn raised(specimen: &Specimen, holds: impl Fn(&[(Stamp, f64, Bound)]) -> bool) -> Vec<Flag> {
    let mut days: BTreeMap<i64, (Stamp, bool)> = BTreeMap::new();
    for values in (0..PHASES.len()).map(|i| phase(specimen, i)) {
        for end in 1..=values.len() {
            let at = values[end - 1].0;
            let entry = days.entry(at.utc_day()).or_insert((at, false));
            entry.0 = entry.0.max(at);
            entry.1 |= holds(&values[..end]);
        }
    }
    let mut before = false;
    let mut flags = Vec::new();
    for (at, now) in days.into_values() {
        if now && !before {
            flags.push(Flag { at, crossing: None, standing: Vec::new() });
        }
        before = now;
    }
    flags
}

/// Over-range taken as the number, a straight line, one-sided p < 0.01 at every visit.
pub(crate) fn regression(specimen: &Specimen) -> Vec<Flag> {
    raised(specimen, |values| {
        let n = values.len() as f64;
        if values.len() < 4 {
            return false;
        }
        let (mt, my) = values.iter().fold((0.0, 0.0), |s, v| (s.0 + v.0.days() / n, s.1 + v.1 / n));
        let (mut stt, mut sty, mut syy) = (0.0, 0.0, 0.0);
        for v in values {
            let (t, y) = (v.0.days() - mt, v.1 - my);
            (stt, sty, syy) = (stt + t * t, sty + t * y, syy + y * y);
        }
        let slope = sty / stt;
        let error = ((syy - slope * sty).max(1e-12) / (n - 2.0) / stt).sqrt();
        StudentsT::new(0.0, 1.0, n - 2.0).is_ok_and(|t| t.cdf(slope / error) < 0.01)
    })
}

/// The limit alone.
pub(crate) fn fixed_limit(specimen: &Specimen) -> Vec<Flag> {
    let limit = specimen.asset.limit_ohm.unwrap_or(5e6).log10();
    raised(specimen, |values| values.last().is_some_and(|v| v.1 <= limit && v.2 != Bound::Over))
}

/// Below half of the median of the first three.
pub(crate) fn half_of_baseline(specimen: &Specimen) -> Vec<Flag> {
    raised(specimen, |values| {
        let (Some(first), Some(last)) = (values.get(..3), values.last()) else { return false };
        let mut first = [first[0].1, first[1].1, first[2].1];
        first.sort_by(f64::total_cmp);
        last.2 != Bound::Over && last.1 < first[1] - 2f64.log10()
    })
}

/// Knows what will decline, and acts on its second visit with a value on scale since the onset.
pub(crate) fn truth(specimen: &Specimen) -> Vec<Flag> {
    if specimen.crossing.is_none() {
        return Vec::new();
    }
    let seen =
        specimen.measured.iter().filter(|m| m.at >= specimen.onset && m.bound != Bound::Over);
    let days: BTreeMap<i64, Stamp> = seen.map(|m| (m.at.utc_day(), m.at)).collect();
    let second = days.into_values().nth(1);
    second.map(|at| Flag { at, crossing: None, standing: Vec::new() }).into_iter().collect()
}
