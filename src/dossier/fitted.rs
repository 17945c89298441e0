//! The censored regression as it is printed: what an engineer can check and redo.

use serde::Serialize;

use crate::trend::evidence::LineEvidence;
use crate::trend::fit::Trendline;
use crate::trend::reach::Crossing;
use crate::trend::words::log_ohms;

/// The fit of one line.
#[derive(Serialize)]
pub struct FitOut {
    /// `ok`, or the name of the reason why there is no estimate.
    status: &'static str,
    /// What the readings prove by themselves.
    proven: String,
    /// What the regression alone would say; the detector decides.
    verdict_alone: &'static str,
    n_measured: usize,
    n_over: usize,
    n_under: usize,
    without_temperature: Option<usize>,
    straight: Option<TrendlineOut>,
    broken_stick: Option<TrendlineOut>,
    p_declining: Option<f64>,
    sen_decades_per_year: Option<f64>,
    mann_kendall_p_declining: Option<f64>,
    limits: Vec<AgainstOut>,
}

#[derive(Serialize)]
struct TrendlineOut {
    onset: Option<String>,
    reference: String,
    r40_ohm: f64,
    log10_se: f64,
    decades_per_year: f64,
    decades_per_year_lower: f64,
    decades_per_year_upper: f64,
    scatter_decades: f64,
    decades_per_10_k: f64,
    decades_per_10_k_sd: f64,
}

#[derive(Serialize)]
struct AgainstOut {
    limit_ohm: f64,
    meaning: &'static str,
    last_reading: &'static str,
    why: &'static str,
    crossing_lower: Option<String>,
    crossing: Option<String>,
    crossing_upper: Option<String>,
    no_date_because: Option<&'static str>,
}

pub fn fit_out(line: &LineEvidence) -> FitOut {
    let (status, proven, fit) = match &line.fit {
        Ok(fit) => ("ok", fit.proven, Some(fit)),
        Err(none) => (none.reason.name(), none.proven, None),
    };
    FitOut {
        status,
        proven: proven.words(),
        verdict_alone: line.verdict.word(),
        n_measured: line.counts.exact,
        n_over: line.counts.over,
        n_under: line.counts.under,
        without_temperature: fit.map(|f| f.without_temperature()),
        straight: fit.map(|f| trendline(&f.straight())),
        broken_stick: fit.and_then(|f| f.broken()).map(|t| trendline(&t)),
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
                AgainstOut {
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

fn trendline(t: &Trendline) -> TrendlineOut {
    TrendlineOut {
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

impl FitOut {
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
        let line = |name: &str, t: &TrendlineOut| {
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
