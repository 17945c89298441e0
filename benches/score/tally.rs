//! What is counted: false flags of the healthy, lead times and intervals of those that cross.

use ohmward::invent::Specimen;
use ohmward::model::Stamp;
use ohmward::trend::detect::CrossingTimes;
use statrs::distribution::{ChiSquared, ContinuousCDF};

/// One flag raised.
pub(crate) struct Flag {
    /// When.
    pub(crate) at: Stamp,
    /// The interval given with it.
    pub(crate) crossing: Option<CrossingTimes>,
    /// Intervals while it stood.
    pub(crate) standing: Vec<(Stamp, CrossingTimes)>,
}

/// Rows of one asset within so many days count once.
const ONCE_DAYS: f64 = 60.0;

/// An interval without an upper end counts as this wide, days.
const OPEN_DAYS: f64 = 1500.0;

/// Sums over specimens.
#[derive(Default)]
pub(crate) struct Tally {
    healthy: usize,
    years: f64,
    false_flags: u32,
    leads: Vec<f64>,
    first: Vec<(bool, f64)>,
    before: Vec<(bool, f64)>,
    second: Vec<bool>,
}

pub(crate) const HEAD: &str = "| fleet, detector | healthy assets | false/100 y (95 % interval) | crossing | ≥30 d % | ≥90 d % | median d | missed % | coverage first % (width d) | coverage 60 d % (width d) | told by 2nd visit below % (of) |\n|---|---|---|---|---|---|---|---|---|---|---|";

impl Tally {
    /// Counts a specimen that stayed healthy.
    pub(crate) fn healthy(&mut self, specimen: &Specimen, flags: &[Flag]) {
        let ends = specimen.measured.first().zip(specimen.measured.last());
        let Some((first, last)) = ends else { return };
        self.healthy += 1;
        self.years += (last.at.days() - first.at.days()) / 365.25;
        let mut counted = f64::NEG_INFINITY;
        let mut times: Vec<f64> = flags.iter().map(|f| f.at.days()).collect();
        times.sort_by(f64::total_cmp);
        for at in times {
            if at - counted > ONCE_DAYS {
                self.false_flags += 1;
                counted = at;
            }
        }
    }

    /// Counts a specimen that crossed within its history.
    pub(crate) fn crossing(&mut self, specimen: &Specimen, flags: &[Flag]) {
        let Some(crossing) = specimen.crossing else { return };
        self.second_below(specimen, flags);
        let early = |f: &&Flag| f.at >= specimen.onset && f.at < crossing;
        let first = flags.iter().filter(early).min_by_key(|f| f.at);
        let lead = first.map_or(0.0, |f| crossing.days() - f.at.days());
        self.leads.push(if first.is_some() { lead.max(1e-9) } else { 0.0 });
        if let Some(times) = first.and_then(|f| f.crossing) {
            self.first.push(held(crossing, &times));
        }
        let at = crossing.plus_days(-60.0);
        let standing =
            flags.iter().flat_map(|f| &f.standing).filter(|s| s.0 <= at && s.0 >= specimen.onset);
        // The latest interval 60 days ahead, if it is not older than 45 days.
        let latest = standing.max_by_key(|s| s.0).filter(|s| at.days() - s.0.days() < 45.0);
        if let Some((_, times)) = latest {
            self.before.push(held(crossing, times));
        }
    }

    /// Counts, of those that were visited twice while truly below the limit, whether they were told
    /// by the second of these visits: all that can be asked of a sudden end.
    fn second_below(&mut self, specimen: &Specimen, flags: &[Flag]) {
        let first = specimen.courses.iter().filter_map(|c| c.crossing).reduce(f64::min);
        let limit = specimen.asset.limit_ohm.map(f64::log10);
        let Some(((first, crossing), limit)) = first.zip(specimen.crossing).zip(limit) else {
            return;
        };
        let begin = crossing.days() - first;
        let below = |at: Stamp| {
            specimen.courses.iter().any(|course| course.level(at.days() - begin) <= limit)
        };
        let mut days: Vec<i64> =
            specimen.measured.iter().filter(|m| below(m.at)).map(|m| m.at.utc_day()).collect();
        days.dedup();
        if let Some(second) = days.get(1) {
            let by = |f: &Flag| f.at >= specimen.onset && f.at.utc_day() <= *second;
            self.second.push(flags.iter().any(by));
        }
    }

    /// Adds another's counts.
    pub(crate) fn merge(&mut self, other: Tally) {
        self.healthy += other.healthy;
        self.years += other.years;
        self.false_flags += other.false_flags;
        self.leads.extend(other.leads);
        self.first.extend(other.first);
        self.before.extend(other.before);
        self.second.extend(other.second);
    }

    /// The rest of a table row.
    pub(crate) fn row(&self) -> String {
        let per = |n: f64| 100.0 * n / self.years.max(1e-9);
        let n = f64::from(self.false_flags);
        let (low, high) = poisson(n);
        let leads = &self.leads;
        let share = |least: f64| {
            100.0 * leads.iter().filter(|l| **l >= least).count() as f64 / leads.len().max(1) as f64
        };
        let missed = 100.0 - share(1e-9);
        let mut sorted = leads.clone();
        sorted.sort_by(f64::total_cmp);
        let median = sorted.get(sorted.len() / 2).copied().unwrap_or(0.0);
        let lead = match leads.is_empty() {
            true => "– | – | – | – ".to_string(),
            false => format!("{:.0} | {:.0} | {median:.0} | {missed:.1}", share(30.0), share(90.0)),
        };
        let second = match self.second.len() {
            0 => "–".to_string(),
            n => {
                let told = self.second.iter().filter(|told| **told).count();
                format!("{:.0} ({n})", 100.0 * told as f64 / n as f64)
            }
        };
        format!(
            "| {} | {:.2} ({:.2}–{:.2}) | {} | {lead} | {} | {} | {second} |",
            self.healthy,
            per(n),
            per(low),
            per(high),
            leads.len(),
            covered(&self.first),
            covered(&self.before),
        )
    }
}

/// Whether an interval held the truth, and its width.
fn held(crossing: Stamp, times: &CrossingTimes) -> (bool, f64) {
    let within = times.lower.is_some_and(|low| low <= crossing)
        && times.upper.is_none_or(|high| crossing <= high);
    let width = match (times.lower, times.upper) {
        (Some(low), Some(high)) => high.days() - low.days(),
        _ => OPEN_DAYS,
    };
    (within, width)
}

fn covered(all: &[(bool, f64)]) -> String {
    if all.is_empty() {
        return "–".into();
    }
    let share = 100.0 * all.iter().filter(|c| c.0).count() as f64 / all.len() as f64;
    let mut widths: Vec<f64> = all.iter().map(|c| c.1).collect();
    widths.sort_by(f64::total_cmp);
    format!("{share:.0} ({:.0})", widths[widths.len() / 2])
}

/// The exact 95 % interval of a Poisson count, through the χ² distribution (Garwood 1936).
fn poisson(n: f64) -> (f64, f64) {
    let quantile = |p: f64, freedom: f64| {
        ChiSquared::new(freedom).map_or(f64::NAN, |chi| chi.inverse_cdf(p) / 2.0)
    };
    let low = if n > 0.0 { quantile(0.025, 2.0 * n) } else { 0.0 };
    (low, quantile(0.975, 2.0 * n + 2.0))
}
