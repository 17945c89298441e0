//! The line through the readings of one series: how fast it falls, how sure that is, and when it
//! reaches a limit. Straight, or level up to an onset and falling after it.

use super::field::{Beliefs, Rows, YEAR_DAYS, rows};
use super::kendall::mann_kendall;
use super::normal;
use super::penalised::{Penalised, Plane, Summit};
use super::proven::{NoEstimate, Proven};
use super::reason::{Counts, NoMaximum};
use super::recession::{Span, generators};
use super::sen::slope_with_bounds;
use super::straight::Datum;
use crate::model::{Bound, Insulation, Point, Stamp};

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

/// A fitted summit with the slope's column that it belongs to.
pub(crate) struct Fitted {
    /// Years from the reference up to which the line is level; none for a straight line.
    pub(crate) onset: Option<f64>,
    pub(crate) summit: Summit<4>,
    /// Penalised log-likelihood of a level line.
    level: f64,
    /// Twice the log-likelihood that it loses.
    pub(crate) level_drop: f64,
}

/// The lines of one series.
pub struct FieldFit {
    pub(crate) data: Rows,
    pub(crate) settings: Settings,
    pub(crate) straight: Fitted,
    /// Onsets that the readings don't rule out, the best first; empty when none was looked for.
    pub(crate) onsets: Vec<Fitted>,
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
pub(crate) fn ramp(years: f64, onset: Option<f64>) -> f64 {
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
pub(crate) fn with_ramp(data: &Rows, onset: Option<f64>) -> Option<Vec<super::field::FieldRow>> {
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

    pub(crate) fn clear_onset(&self) -> Option<&Fitted> {
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

    pub(crate) fn stamp(&self, years: f64) -> Stamp {
        self.data.reference.plus_days(years * YEAR_DAYS)
    }
}
