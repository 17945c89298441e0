//! When the trend of one series reaches a limit.

use super::crossing::{Crosser, TimeSet};
use super::fit::{FieldFit, Fitted, ramp, with_ramp};
use super::normal;
use super::penalised::{Penalised, Plane};
use crate::model::{Limit, LimitMeaning, Stamp};

/// When a line reaches a limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Crossing {
    /// The readings allow these times. They may lie in the past.
    Between {
        /// First of them.
        lower: Stamp,
        /// That of the best line.
        point: Stamp,
        /// Last of them.
        upper: Stamp,
    },
    /// No date can be given.
    NoDate {
        /// Why, as the end of "no date can be given, because …".
        because: &'static str,
    },
}

impl FieldFit {
    /// Distance of the straight line from a limit at the last reading, in decades; below 0 when the
    /// line is below.
    pub fn decades_above(&self, limit: &Limit) -> f64 {
        let (value, tens) = self.target(limit);
        let best = self.clear_onset().unwrap_or(&self.straight);
        let at = &best.summit.at;
        at[0] + at[1] * ramp(0.0, best.onset) + at[2] * tens - value
    }

    /// Where a limit lies for the line: log10 ohm, and the tens of kelvin at which it is met.
    ///
    /// A limit at 40 °C is met there. A limit as read is never corrected: it is met at the usual
    /// temperature of the readings themselves.
    fn target(&self, limit: &Limit) -> (f64, f64) {
        let tens = if limit.meaning == LimitMeaning::At40 { 0.0 } else { self.data.usual_tens };
        (limit.ohms.log10() - self.data.coefficient.bend(tens), tens)
    }

    /// When the trend reaches a limit: by the line with an onset where that is clear, with the
    /// uncertainty of the onset, else by the straight line.
    pub fn crossing(&self, limit: &Limit) -> Crossing {
        let (value, tens) = self.target(limit);
        let best = self.clear_onset().unwrap_or(&self.straight);
        let reach = normal::two_sided(self.settings.level).powi(2);
        if best.summit.at[1] >= 0.0 {
            return Crossing::NoDate { because: "the trend does not fall" };
        }
        let single = [best];
        let several: Vec<&Fitted> = match best.onset {
            None => single.to_vec(),
            Some(_) => self.onsets.iter().collect(),
        };
        let (mut lower, mut upper) = (f64::INFINITY, f64::NEG_INFINITY);
        for fitted in several {
            // What is left of the reach after what this onset is worse by.
            let q = (reach - 2.0 * (best.summit.value - fitted.summit.value)).max(0.0).sqrt();
            // Where a level line lies within reach, "never" does.
            let set = if fitted.level_drop <= q * q {
                Some(TimeSet::WholeLine)
            } else {
                self.reaches(fitted, value, tens, q)
            };
            match set {
                Some(TimeSet::Bounded { lower: l, upper: u }) => {
                    (lower, upper) = (lower.min(l), upper.max(u));
                }
                Some(_) => {
                    let because = "the slope is not clear enough to say when";
                    return Crossing::NoDate { because };
                }
                None => {
                    let because = "the search for its interval did not come to rest";
                    return Crossing::NoDate { because };
                }
            }
        }
        let at = &best.summit.at;
        let point = (value - at[0] - at[2] * tens) / at[1] + best.onset.unwrap_or(0.0);
        if lower > self.settings.farthest_years {
            return Crossing::NoDate { because: "it lies further ahead than anybody plans" };
        }
        let far = 100.0 * self.settings.farthest_years;
        let stamp = |years: f64| self.stamp(years.clamp(-far, far));
        Crossing::Between {
            lower: stamp(lower.min(point)),
            point: stamp(point),
            upper: stamp(upper.max(point)),
        }
    }

    /// The profile set of one line's crossing, in years from the reference.
    fn reaches(&self, fitted: &Fitted, value: f64, tens: f64, q: f64) -> Option<TimeSet> {
        let ramped = with_ramp(&self.data, fitted.onset);
        let rows = ramped.as_deref().unwrap_or(&self.data.rows);
        let penalised = Penalised::new(rows, self.data.priors);
        let v = fitted.summit.vcov();
        let crosser = Crosser {
            intercept: fitted.summit.at[0] + tens * fitted.summit.at[2],
            slope: fitted.summit.at[1],
            vcov: [
                v[0][0] + 2.0 * tens * v[0][2] + tens * tens * v[2][2],
                v[0][1] + tens * v[1][2],
                v[1][1],
            ],
            limit: value,
        };
        let n = rows.len() as f64;
        let middle = rows.iter().map(|r| r.row.terms[1]).sum::<f64>() / n;
        let square = rows.iter().map(|r| (r.row.terms[1] - middle).powi(2)).sum::<f64>() / n;
        let mut near = fitted.summit;
        let drop = |x: f64| {
            let plane = Plane { normal: [1.0, x, tens, 0.0], value };
            near = penalised.climb(Some(&plane), Some(&near))?;
            Some(2.0 * (fitted.summit.value - near.value))
        };
        let set = crosser.profile(q, fitted.level_drop, (middle, square.sqrt()), drop)?;
        let shift = fitted.onset.unwrap_or(0.0);
        Some(match set {
            TimeSet::Bounded { lower, upper } => {
                TimeSet::Bounded { lower: lower + shift, upper: upper + shift }
            }
            other => other,
        })
    }
}
