//! The line through the readings of one series: how fast it falls, how sure that is, and when it
//! reaches a limit. Straight, or level up to an onset and falling after it.

use super::censored::{Counts, NoMaximum};
use super::crossing::{Crosser, TimeSet};
use super::field::{Beliefs, Rows, YEAR_DAYS, rows};
use super::kendall::mann_kendall;
use super::normal;
use super::penalised::{Penalised, Plane, Summit};
use super::recession::{Span, generators};
use super::sen::slope_with_bounds;
use super::straight::Datum;
use super::words::log_ohms;
use crate::model::{Bound, Insulation, Limit, LimitMeaning, Point, Stamp};

/// How lines are fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// What is taken for granted.
    pub beliefs: Beliefs,
    /// Two-sided level of every interval.
    pub level: f64,
    /// How many of the last visits may be the onset of a decline.
    pub onset_visits: usize,
    /// An onset is looked for when the straight line falls at least this clearly (one-sided p).
    pub onset_below_p: f64,
    /// An onset is stated when it gains this much log-likelihood over the straight line.
    pub onset_gain: f64,
    /// A crossing later than this many years is no date: nobody plans by it.
    pub farthest_years: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            beliefs: Beliefs::default(),
            level: 0.90,
            onset_visits: 24,
            onset_below_p: 0.2,
            onset_gain: 2.0,
            farthest_years: 30.0,
        }
    }
}

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

/// One fitted line, for a page or a report.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trendline {
    /// Where it is level before; none for a straight line.
    pub onset: Option<Stamp>,
    /// The time of the last reading.
    pub reference: Stamp,
    /// log10 ohm at 40 °C at that time.
    pub log_ohm: f64,
    /// Its standard error.
    pub log_ohm_se: f64,
    /// Change in decades per year (of the falling part).
    pub decades_per_year: f64,
    /// Its interval at the level of the settings.
    pub decades_per_year_interval: (f64, f64),
    /// Scatter of one reading in decades.
    pub sigma: f64,
    /// Decades per +10 K.
    pub kappa: f64,
    /// Its standard deviation.
    pub kappa_sd: f64,
}

/// What bounds and numbers prove by themselves, without any line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Proven {
    /// log10 ohm that every reading reached, as read.
    pub at_least: Option<f64>,
    /// log10 ohm that no reading exceeded, as read.
    pub at_most: Option<f64>,
}

impl Proven {
    /// Of points.
    pub fn of(points: &[Point]) -> Self {
        let all = |not: Bound, pick: fn(f64, f64) -> f64| {
            let clear = !points.is_empty() && points.iter().all(|p| p.bound != not);
            clear.then(|| points.iter().map(|p| p.log_ohm).reduce(pick)).flatten()
        };
        Proven { at_least: all(Bound::Under, f64::min), at_most: all(Bound::Over, f64::max) }
    }

    /// In words: `every reading shows at least 550 MΩ`.
    pub fn words(&self) -> String {
        match (self.at_least, self.at_most) {
            (Some(low), Some(high)) if low == high => {
                format!("every reading shows {}", log_ohms(low))
            }
            (Some(low), Some(high)) => {
                format!("the readings lie between {} and {}", log_ohms(low), log_ohms(high))
            }
            (Some(low), None) => format!("every reading shows at least {}", log_ohms(low)),
            (None, Some(high)) => format!("every reading shows at most {}", log_ohms(high)),
            (None, None) => "the readings prove no bound".into(),
        }
    }
}

/// Why there is no line, and what can be said all the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NoEstimate {
    /// The reason.
    pub reason: NoMaximum,
    /// Readings of each kind.
    pub counts: Counts,
    /// What they prove by themselves.
    pub proven: Proven,
}

/// A fitted summit with the slope's column that it belongs to.
struct Fitted {
    /// Years from the reference up to which the line is level; none for a straight line.
    onset: Option<f64>,
    summit: Summit<4>,
    /// Penalised log-likelihood of a level line.
    level: f64,
    /// Twice the log-likelihood that it loses.
    level_drop: f64,
}

/// The lines of one series.
pub struct FieldFit {
    data: Rows,
    settings: Settings,
    straight: Fitted,
    /// Onsets that the readings don't rule out, the best first; empty when none was looked for.
    onsets: Vec<Fitted>,
    /// Readings of each kind.
    pub counts: Counts,
    /// What they prove by themselves.
    pub proven: Proven,
    /// Robust slope in decades per year, readings taken to one temperature.
    pub sen_decades_per_year: Option<f64>,
    /// One-sided p of Mann–Kendall for decline, readings taken to one temperature.
    pub mk_p_declining: Option<f64>,
}

/// Fits points of one epoch, in any order.
///
/// At least three readings, two of them on scale, and no direction left open by bounds alone;
/// otherwise the reason and what the readings prove.
pub fn fit(
    points: &[Point],
    insulation: Insulation,
    settings: &Settings,
) -> Result<FieldFit, NoEstimate> {
    let counts = Counts::of(points.iter().map(|p| p.bound));
    let proven = Proven::of(points);
    let none = |reason| NoEstimate { reason, counts, proven };
    if points.len() < 3 {
        return Err(none(NoMaximum::TooFew));
    }
    let data = rows(points, insulation, &settings.beliefs).ok_or(none(NoMaximum::TooFew))?;
    if counts.exact == 0 {
        return Err(none(match (counts.over, counts.under) {
            (_, 0) => NoMaximum::AllOver,
            (0, _) => NoMaximum::AllUnder,
            _ => NoMaximum::Separated,
        }));
    }
    if counts.exact == 1 {
        return Err(none(NoMaximum::TooFewExact));
    }
    let straight = line(&data, None, None, None).map_err(none)?;
    let root = straight.level_drop.sqrt().copysign(straight.summit.at[1]);
    let mut onsets = Vec::new();
    if normal::cdf(root) < settings.onset_below_p {
        onsets = look_for_onset(&data, &straight, settings);
    }

    // The robust pair sees each reading taken to 40 °C by the fitted coefficient.
    let kappa = straight.summit.at[2];
    let level: Vec<Datum> = data
        .rows
        .iter()
        .map(|r| {
            let [_, years, tens, y] = r.row.terms;
            Datum { day: years, y: y - kappa * tens, bound: r.row.bound }
        })
        .collect();
    Ok(FieldFit {
        sen_decades_per_year: slope_with_bounds(&level),
        mk_p_declining: mann_kendall(&level).map(|mk| mk.best_p_declining()),
        data,
        settings: *settings,
        straight,
        onsets,
        counts,
        proven,
    })
}

/// The regressor of the slope: years, or years after the onset.
fn ramp(years: f64, onset: Option<f64>) -> f64 {
    onset.map_or(years, |onset| (years - onset).max(0.0))
}

/// Fits one line, or says that the readings leave it open. A summit nearby shortens the search; a
/// level line is the same for every onset, so its value can be handed in.
fn line(
    data: &Rows,
    onset: Option<f64>,
    near: Option<&Summit<4>>,
    level: Option<f64>,
) -> Result<Fitted, NoMaximum> {
    // With a prior on σ and on κ only intercept and slope can run away.
    let mut pinned = Span::<2>::empty();
    let mut open = Vec::new();
    for r in &data.rows {
        let x = [1.0, ramp(r.row.terms[1], onset)];
        match r.row.bound {
            Bound::Measured => {
                pinned.add(&x);
            }
            Bound::Over => open.push(x.map(|v| -v)),
            Bound::Under => open.push(x),
        }
    }
    if !pinned.is_full() {
        let mut runs_away = false;
        generators(&pinned, &open, &mut |_| runs_away = true);
        if runs_away {
            return Err(NoMaximum::Monotone);
        }
    }
    let ramped = with_ramp(data, onset);
    let rows = ramped.as_deref().unwrap_or(&data.rows);
    let penalised = Penalised::new(rows, data.priors);
    let summit = penalised.climb(None, near).ok_or(NoMaximum::Unresolved)?;
    let level = match level {
        Some(level) => level,
        None => {
            let plane = Plane { normal: [0.0, 1.0, 0.0, 0.0], value: 0.0 };
            penalised.climb(Some(&plane), Some(&summit)).ok_or(NoMaximum::Unresolved)?.value
        }
    };
    Ok(Fitted { onset, summit, level, level_drop: (2.0 * (summit.value - level)).max(0.0) })
}

/// Rows with the ramp of an onset in place of time; none for a straight line.
fn with_ramp(data: &Rows, onset: Option<f64>) -> Option<Vec<super::field::FieldRow>> {
    onset.map(|_| {
        let mut rows = data.rows.clone();
        for r in &mut rows {
            r.row.terms[1] = ramp(r.row.terms[1], onset);
        }
        rows
    })
}

/// Onsets at the visits that leave at least two later readings, the best first. Only those within
/// the interval's reach of the best are kept.
fn look_for_onset(data: &Rows, straight: &Fitted, settings: &Settings) -> Vec<Fitted> {
    let mut times: Vec<f64> = data.rows.iter().map(|r| r.row.terms[1]).collect();
    times.sort_unstable_by(f64::total_cmp);
    times.dedup();
    let after_first = times.get(1..times.len().saturating_sub(2)).unwrap_or(&[]);
    let recent = &after_first[after_first.len().saturating_sub(settings.onset_visits)..];
    let mut fitted: Vec<Fitted> = Vec::new();
    for onset in recent {
        let near = fitted.last().map_or(&straight.summit, |f| &f.summit);
        if let Ok(one) = line(data, Some(*onset), Some(near), Some(straight.level)) {
            fitted.push(one);
        }
    }
    fitted.sort_by(|a, b| b.summit.value.total_cmp(&a.summit.value));
    let reach = normal::two_sided(settings.level).powi(2);
    if let Some(best) = fitted.first().map(|f| f.summit.value) {
        fitted.retain(|f| 2.0 * (best - f.summit.value) <= reach);
    }
    fitted
}

impl FieldFit {
    /// The straight line.
    pub fn straight(&self) -> Trendline {
        self.trendline(&self.straight)
    }

    /// The line with an onset, where it fits clearly better than the straight one.
    pub fn broken(&self) -> Option<Trendline> {
        self.clear_onset().map(|fitted| self.trendline(fitted))
    }

    /// One-sided p for decline by the likelihood ratio of the straight line.
    pub fn p_declining(&self) -> f64 {
        normal::cdf(self.straight.level_drop.sqrt().copysign(self.straight.summit.at[1]))
    }

    /// How many readings had no temperature.
    pub fn without_temperature(&self) -> usize {
        self.data.without_temperature
    }

    fn clear_onset(&self) -> Option<&Fitted> {
        let gain = self.onsets.first()?.summit.value - self.straight.summit.value;
        (gain >= self.settings.onset_gain).then(|| self.onsets.first()).flatten()
    }

    fn trendline(&self, fitted: &Fitted) -> Trendline {
        let at = &fitted.summit.at;
        let v = fitted.summit.vcov();
        let now = ramp(0.0, fitted.onset);
        let half = normal::two_sided(self.settings.level) * v[1][1].sqrt();
        Trendline {
            onset: fitted.onset.map(|o| self.stamp(o)),
            reference: self.data.reference,
            log_ohm: at[0] + at[1] * now,
            log_ohm_se: (v[0][0] + 2.0 * now * v[0][1] + now * now * v[1][1]).max(0.0).sqrt(),
            decades_per_year: at[1],
            decades_per_year_interval: (at[1] - half, at[1] + half),
            sigma: at[3].exp(),
            kappa: at[2],
            kappa_sd: v[2][2].sqrt(),
        }
    }

    fn stamp(&self, years: f64) -> Stamp {
        self.data.reference.plus_days(years * YEAR_DAYS)
    }

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
