//! The censored regression as it is told: what an engineer can check and redo.

use serde::Serialize;
use utoipa::ToSchema;

use crate::trend::evidence::LineEvidence;
use crate::trend::fit::Trendline;
use crate::trend::reach::Crossing;
use crate::trend::words::log_ohms;

/// The fit of one line.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct FitStatement {
    /// `ok`, or the name of the reason why there is no estimate.
    pub status: &'static str,
    /// What the readings prove by themselves.
    pub proven: String,
    /// What the regression alone would say; the detector decides.
    pub verdict_alone: &'static str,
    /// Points on scale.
    pub n_measured: usize,
    /// Over-range points.
    pub n_over: usize,
    /// Under-range points.
    pub n_under: usize,
    /// Points whose temperature is not known.
    pub without_temperature: Option<usize>,
    /// A straight line.
    pub straight: Option<TrendlineStatement>,
    /// Level, then a fall.
    pub broken_stick: Option<TrendlineStatement>,
    /// The p-value of no decline.
    pub p_declining: Option<f64>,
    /// The slope after Theil and Sen, decades a year.
    pub sen_decades_per_year: Option<f64>,
    /// The p-value of no decline after Mann and Kendall.
    pub mann_kendall_p_declining: Option<f64>,
    /// Where it meets each limit.
    pub limits: Vec<AgainstStatement>,
}

/// A fitted line.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TrendlineStatement {
    /// When the fall begins; none: a straight line.
    pub onset: Option<String>,
    /// The time at which `r40_ohm` holds.
    pub reference: String,
    /// Ohms at 40 °C at that time.
    pub r40_ohm: f64,
    /// Standard error of its log10.
    pub log10_se: f64,
    /// Slope, negative when falling.
    pub decades_per_year: f64,
    /// Lower end of its interval.
    pub decades_per_year_lower: f64,
    /// Upper end of its interval.
    pub decades_per_year_upper: f64,
    /// Scatter about it.
    pub scatter_decades: f64,
    /// Temperature coefficient.
    pub decades_per_10_k: f64,
    /// Its standard deviation.
    pub decades_per_10_k_sd: f64,
}

/// Where the fitted line meets a limit.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct AgainstStatement {
    /// The limit in ohm.
    pub limit_ohm: f64,
    /// What it is a limit of.
    pub meaning: &'static str,
    /// What the last reading says against it.
    pub last_reading: &'static str,
    /// Why that does not decide or count.
    pub why: &'static str,
    /// Lower end of the time at which the line meets it.
    pub crossing_lower: Option<String>,
    /// That time.
    pub crossing: Option<String>,
    /// Its upper end.
    pub crossing_upper: Option<String>,
    /// Why there is no such time.
    pub no_date_because: Option<&'static str>,
}

impl FitStatement {
    /// Tells a fit.
    pub fn of(line: &LineEvidence) -> Self {
        let (status, proven, fit) = match &line.fit {
            Ok(fit) => ("ok", fit.proven, Some(fit)),
            Err(none) => (none.reason.name(), none.proven, None),
        };
        FitStatement {
            status,
            proven: proven.words(),
            verdict_alone: line.verdict.word(),
            n_measured: line.counts.exact,
            n_over: line.counts.over,
            n_under: line.counts.under,
            without_temperature: fit.map(|f| f.without_temperature()),
            straight: fit.map(|f| TrendlineStatement::of(&f.straight())),
            broken_stick: fit.and_then(|f| f.broken()).map(|t| TrendlineStatement::of(&t)),
            p_declining: fit.map(|f| f.p_declining()),
            sen_decades_per_year: fit.and_then(|f| f.sen_decades_per_year),
            mann_kendall_p_declining: fit.and_then(|f| f.mk_p_declining),
            limits: line
                .limits
                .iter()
                .map(|against| {
                    let (lower, point, upper, because) = match &against.crossing {
                        Some(Crossing::Between { lower, point, upper }) => {
                            (Some(lower), Some(point), Some(upper), None)
                        }
                        Some(Crossing::NoDate { because }) => (None, None, None, Some(*because)),
                        None => (None, None, None, Some("there is no fit")),
                    };
                    AgainstStatement {
                        limit_ohm: against.limit.ohms,
                        meaning: against.limit.meaning.word(),
                        last_reading: against.outcome.word(),
                        why: against.outcome.reason(),
                        crossing_lower: lower.map(ToString::to_string),
                        crossing: point.map(ToString::to_string),
                        crossing_upper: upper.map(ToString::to_string),
                        no_date_because: because,
                    }
                })
                .collect(),
        }
    }
}

impl TrendlineStatement {
    fn of(t: &Trendline) -> Self {
        TrendlineStatement {
            onset: t.onset.map(|at| at.to_string()),
            reference: t.reference.to_string(),
            r40_ohm: 10f64.powf(t.log_ohm),
            log10_se: t.log_ohm_se,
            decades_per_year: t.decades_per_year,
            decades_per_year_lower: t.decades_per_year_interval.0,
            decades_per_year_upper: t.decades_per_year_interval.1,
            scatter_decades: t.sigma,
            decades_per_10_k: t.kappa,
            decades_per_10_k_sd: t.kappa_sd,
        }
    }
}

impl FitStatement {
    /// The fit in a few lines for a person.
    pub fn words(&self) -> Vec<String> {
        let mut out = Vec::new();
        let Some(straight) = &self.straight else {
            out.push(format!(
                "fit: no estimate ({}); {}",
                self.status.replace('_', " "),
                self.proven
            ));
            return out;
        };
        let line = |name: &str, t: &TrendlineStatement| {
            let onset = t.onset.as_ref().map(|o| format!(" from {}", &o[..10])).unwrap_or_default();
            format!(
                "{name}{onset}: {:+.2} decades a year ({:+.2} to {:+.2}), now {} at 40 °C",
                t.decades_per_year,
                t.decades_per_year_lower,
                t.decades_per_year_upper,
                log_ohms(t.r40_ohm.log10())
            )
        };
        out.push(line("straight line", straight));
        if let Some(broken) = &self.broken_stick {
            out.push(line("level, then a fall", broken));
        }
        let shown = self.broken_stick.as_ref().unwrap_or(straight);
        out.push(format!(
            "scatter {:.2} decades, temperature {:+.3} ± {:.3} decades per 10 K, p of no decline {:.1e}{}",
            shown.scatter_decades,
            shown.decades_per_10_k,
            shown.decades_per_10_k_sd,
            self.p_declining.unwrap_or(1.0),
            match (self.sen_decades_per_year, self.mann_kendall_p_declining) {
                (Some(sen), Some(p)) => format!("; robust: {sen:+.2} decades a year, p {p:.1e}"),
                _ => String::new(),
            }
        ));
        for against in &self.limits {
            let limit = format!("{} {}", log_ohms(against.limit_ohm.log10()), against.meaning);
            out.push(match (&against.crossing_lower, &against.crossing_upper) {
                (Some(a), Some(b)) => {
                    format!("the fitted line meets {limit} between {} and {}", &a[..10], &b[..10])
                }
                _ => format!(
                    "the fitted line gives no date for {limit}: {}",
                    against.no_date_because.unwrap_or("the interval is open")
                ),
            });
        }
        out
    }
}
