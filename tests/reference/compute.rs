//! Computes, with the library, the values that the reference expects of each kind of case.

use std::collections::BTreeMap;

use ohmward::model::Bound;
use ohmward::standards::temperature::Rule;
use ohmward::trend::censored::{Model, Row};
use ohmward::trend::crossing::TimeSet;
use ohmward::trend::reason::Counts;
use ohmward::trend::straight::Datum;
use ohmward::trend::{kendall, multiple, normal, ols as least, sen, step, straight, tails};
use serde_json::{Value, json};

use crate::cases::{Case, Results, table};

fn num(text: &str) -> f64 {
    text.parse().unwrap()
}

fn bound(code: &str) -> Bound {
    match code {
        "0" => Bound::Measured,
        "1" => Bound::Over,
        "-1" => Bound::Under,
        other => panic!("censor code {other}"),
    }
}

/// Rows of the case's file whose column `column` is `value`.
fn rows(case: &Case, column: &str, value: &str) -> Vec<BTreeMap<String, String>> {
    let file = case.input["file"].as_str().unwrap();
    table(file).into_iter().filter(|row| row[column] == value).collect()
}

fn put(results: &mut Results, key: impl Into<String>, value: impl Into<Value>) {
    results.insert(key.into(), value.into());
}

fn pair((low, high): (f64, f64)) -> Value {
    json!([low, high])
}

pub(crate) fn ols(case: &Case) -> Results {
    let rows = table(case.input["file"].as_str().unwrap());
    let y: Vec<f64> = rows.iter().map(|r| num(&r["y"])).collect();
    let x: Vec<f64> = rows.iter().map(|r| num(&r["x"])).collect();
    let mut out = Results::new();
    if case.params["design"] == "1, x" {
        let x: Vec<[f64; 2]> = x.iter().map(|x| [1.0, *x]).collect();
        ols_values(&mut out, &least::fit(&x, &y).unwrap());
    } else {
        let x: Vec<[f64; 3]> = x.iter().map(|x| [1.0, *x, x * x]).collect();
        ols_values(&mut out, &least::fit(&x, &y).unwrap());
    }
    out
}

fn ols_values<const P: usize>(out: &mut Results, fit: &least::Ols<P>) {
    put(out, "ols.coef", fit.coef.to_vec());
    put(out, "ols.se", (0..P).map(|k| fit.se(k)).collect::<Vec<_>>());
    put(out, "ols.rss", fit.rss);
    put(out, "ols.residual_sd", fit.residual_sd());
    put(out, "ols.r_squared", fit.r_squared());
    put(out, "ols.df", fit.df);
}

/// ln(kV) = b1 − b2·weeks·exp(−b3·T): linear for fixed b3, so b3 is searched.
pub(crate) fn nelson(case: &Case) -> Results {
    let rows = table(case.input["file"].as_str().unwrap());
    let column = |name: &str| rows.iter().map(|r| num(&r[name])).collect::<Vec<f64>>();
    let (weeks, temp) = (column("weeks"), column("temp_c"));
    let y: Vec<f64> = column("breakdown_kv").iter().map(|v| v.ln()).collect();
    let at = |b3: f64| {
        let x: Vec<[f64; 2]> =
            weeks.iter().zip(&temp).map(|(w, t)| [1.0, -w * (-b3 * t).exp()]).collect();
        least::fit(&x, &y).unwrap()
    };
    // Halving on the derivative of the sum of squares, by the residual along ∂/∂b3.
    let slope = |b3: f64| {
        let fit = at(b3);
        let terms = weeks.iter().zip(&temp).zip(&y).map(|((w, t), y)| {
            let f = -w * (-b3 * t).exp();
            (y - fit.coef[0] - fit.coef[1] * f) * (-t * f)
        });
        terms.sum::<f64>() * fit.coef[1]
    };
    let (mut low, mut high) = (-0.08, -0.04);
    let rising = slope(low) < slope(high);
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if (slope(middle) < 0.0) == rising { low = middle } else { high = middle }
    }
    let b3 = 0.5 * (low + high);
    let fit = at(b3);
    let [b1, b2] = fit.coef;
    let jacobian: Vec<[f64; 3]> = weeks
        .iter()
        .zip(&temp)
        .map(|(w, t)| {
            let f = w * (-b3 * t).exp();
            [1.0, -f, b2 * t * f]
        })
        .collect();
    let df = y.len() - 3;
    let sd = (fit.rss / df as f64).sqrt();
    let unscaled = least::fit(&jacobian, &y).unwrap().unscaled;
    let mut out = Results::new();
    put(&mut out, "nls.coef", vec![b1, b2, b3]);
    put(&mut out, "nls.se", (0..3).map(|k| sd * unscaled[k][k].sqrt()).collect::<Vec<_>>());
    put(&mut out, "nls.rss", fit.rss);
    put(&mut out, "nls.residual_sd", sd);
    put(&mut out, "nls.df", df);
    out
}

fn counts_values(out: &mut Results, counts: Counts) {
    put(out, "n", counts.all());
    put(out, "n_exact", counts.exact);
    put(out, "n_right", counts.over);
    put(out, "n_left", counts.under);
}

pub(crate) fn censored_regression(case: &Case) -> Results {
    let rows = rows(case, "dataset", case.input["dataset"].as_str().unwrap());
    let names = case.expected["ml.coef_names"]["value"].clone();
    let mut out = Results::new();
    put(&mut out, "ml.coef_names", names);
    if rows[0]["x2"] == "NA" {
        let rows: Vec<Row<3>> = rows
            .iter()
            .map(|r| Row { terms: [1.0, num(&r["x1"]), num(&r["y"])], bound: bound(&r["censor"]) })
            .collect();
        censored_values(&mut out, &rows);
    } else {
        let rows: Vec<Row<4>> = rows
            .iter()
            .map(|r| Row {
                terms: [1.0, num(&r["x1"]), num(&r["x2"]), num(&r["y"])],
                bound: bound(&r["censor"]),
            })
            .collect();
        censored_values(&mut out, &rows);
    }
    out
}

fn censored_values<const K: usize>(out: &mut Results, rows: &[Row<K>]) {
    let model = Model::new(rows);
    counts_values(out, model.counts());
    let peak = model.peak().unwrap();
    let fit = model.estimate(&peak);
    let null: Vec<Row<2>> =
        rows.iter().map(|r| Row { terms: [1.0, r.terms[K - 1]], bound: r.bound }).collect();
    let null = Model::new(&null).peak().unwrap().loglik;
    let chisq = 2.0 * (fit.loglik - null);
    put(out, "ml.status", "ok");
    put(out, "ml.coef", fit.coef[..K - 1].to_vec());
    put(out, "ml.se", (0..K - 1).map(|k| fit.se(k)).collect::<Vec<_>>());
    put(out, "ml.sigma", fit.sigma);
    put(out, "ml.log_sigma", fit.coef[K - 1]);
    put(out, "ml.se_log_sigma", fit.se(K - 1));
    put(out, "ml.vcov", json!(fit.vcov.iter().map(|r| r.to_vec()).collect::<Vec<_>>()));
    put(out, "ml.loglik", fit.loglik);
    put(out, "ml.loglik_null", null);
    put(out, "ml.lr_chisq", chisq);
    put(out, "ml.lr_df", K - 2);
    put(out, "ml.lr_p", tails::chi2_sf((K - 2) as f64, chisq));
    put(out, "ml.wald_z", (0..K - 1).map(|k| fit.coef[k] / fit.se(k)).collect::<Vec<_>>());
}

fn set_values(out: &mut Results, key: &str, set: Option<TimeSet>) {
    let Some(set) = set else { return };
    put(out, format!("{key}.type"), set.name());
    let (lower, upper) = set.ends().unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    let finite = |v: f64| {
        if v.is_infinite() { json!(if v > 0.0 { "inf" } else { "-inf" }) } else { json!(v) }
    };
    put(out, format!("{key}.lower"), finite(lower));
    put(out, format!("{key}.upper"), finite(upper));
}

pub(crate) fn trend(case: &Case) -> Results {
    let data: Vec<Datum> = rows(case, "series", case.input["series"].as_str().unwrap())
        .iter()
        .map(|r| Datum { day: num(&r["day"]), y: num(&r["log10_ohm"]), bound: bound(&r["censor"]) })
        .collect();
    let limit = case.params["limit_log10_ohm"].as_f64().unwrap();
    let day_new = case.params["day_new"].as_f64().unwrap();
    let levels: Vec<(u32, f64)> = case.params["levels"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| ((100.0 * v.as_f64().unwrap()).round() as u32, v.as_f64().unwrap()))
        .collect();
    let mut out = Results::new();
    let counts = straight::counts(&data);
    counts_values(&mut out, counts);
    match straight::fit(&data) {
        Ok(fit) => ml_values(&mut out, &fit, limit, day_new, &levels),
        Err(reason) => {
            put(&mut out, "ml.status", "not_estimable");
            put(&mut out, "ml.reason", reason.name());
        }
    }
    if let Some(mk) = kendall::mann_kendall(&data) {
        put(&mut out, "mk.s", mk.s);
        put(&mut out, "mk.var_s", mk.variance);
        put(&mut out, "mk.z", mk.z);
        put(&mut out, "mk.p_two_sided", mk.p_two_sided());
        put(&mut out, "mk.p_declining", mk.p_declining());
        if let Some(p) = mk.exact_p_declining {
            put(&mut out, "mk.exact_p_declining", p);
        }
    }
    if counts.exact == counts.all() {
        uncensored_values(&mut out, &data, limit, day_new, &levels);
    }
    out
}

fn ml_values(
    out: &mut Results,
    fit: &straight::StraightFit,
    limit: f64,
    day_new: f64,
    levels: &[(u32, f64)],
) {
    let e = &fit.estimate;
    put(out, "ml.status", "ok");
    put(out, "ml.intercept", fit.intercept());
    put(out, "ml.slope_per_day", fit.slope());
    put(out, "ml.sigma", e.sigma);
    put(out, "ml.log_sigma", e.coef[2]);
    put(out, "ml.se_intercept", e.se(0));
    put(out, "ml.se_slope", e.se(1));
    put(out, "ml.se_log_sigma", e.se(2));
    put(out, "ml.vcov", json!(e.vcov));
    put(out, "ml.loglik", e.loglik);
    put(out, "ml.loglik_null", fit.loglik_level);
    put(out, "ml.lr_chisq", fit.lr_chisq());
    put(out, "ml.lr_p_two_sided", fit.p_two_sided());
    put(out, "ml.lr_p_declining", fit.p_declining());
    put(out, "ml.wald_z", fit.wald_z());
    put(out, "ml.wald_p_declining", normal::cdf(fit.wald_z()));
    let (mean, se) = fit.mean_at(day_new);
    put(out, "ml.mean_new", mean);
    put(out, "ml.se_mean_new", se);
    let crosser = fit.crosser(limit);
    put(out, "cross.ml.time_days", crosser.time().unwrap());
    put(out, "cross.ml.direction", if fit.slope() < 0.0 { "declining" } else { "rising" });
    for (name, level) in levels {
        let q = normal::two_sided(*level);
        put(out, format!("ml.slope_ci{name}"), pair(fit.slope_ci(*level)));
        set_values(out, &format!("cross.ml.delta{name}"), crosser.delta(q));
        set_values(out, &format!("cross.ml.fieller{name}"), Some(crosser.fieller(q)));
        set_values(out, &format!("cross.ml.profile{name}"), fit.profile(limit, *level));
    }
}

fn uncensored_values(
    out: &mut Results,
    data: &[Datum],
    limit: f64,
    day_new: f64,
    levels: &[(u32, f64)],
) {
    let days: Vec<f64> = data.iter().map(|d| d.day).collect();
    let y: Vec<f64> = data.iter().map(|d| d.y).collect();
    if let Some(ts) = sen::theil_sen(&days, &y) {
        put(out, "theil_sen.slope_per_day", ts.slope);
        put(out, "theil_sen.intercept", ts.intercept);
        for (name, level) in levels {
            put(out, format!("theil_sen.ci{name}"), pair(ts.ci(*level)));
        }
    }
    let Some(fit) = least::line(&days, &y) else { return };
    put(out, "ols.intercept", fit.coef[0]);
    put(out, "ols.slope_per_day", fit.coef[1]);
    put(out, "ols.df", fit.df);
    let crosser = fit.crosser(limit);
    if let Some(t) = crosser.time() {
        put(out, "cross.ols.time_days", t);
    }
    if fit.df == 0 {
        return;
    }
    put(out, "ols.residual_sd", fit.residual_sd());
    put(out, "ols.r_squared", fit.r_squared());
    put(out, "ols.se_intercept", fit.se(0));
    put(out, "ols.se_slope", fit.se(1));
    put(out, "ols.t", fit.t());
    put(out, "ols.p_declining", fit.p_declining());
    put(out, "ols.p_two_sided", fit.p_two_sided());
    let (mean, se) = fit.mean_at(day_new);
    put(out, "ols.mean_new", mean);
    put(out, "ols.se_mean_new", se);
    for (name, level) in levels {
        let q = fit.multiplier(*level);
        put(out, format!("ols.slope_ci{name}"), pair(fit.ci(1, *level)));
        put(out, format!("ols.intercept_ci{name}"), pair(fit.ci(0, *level)));
        put(out, format!("ols.mean_ci{name}"), pair((mean - q * se, mean + q * se)));
        let prediction = fit.prediction(day_new, *level);
        put(out, format!("ols.prediction_interval{name}"), pair(prediction));
        set_values(out, &format!("cross.ols.delta{name}"), crosser.delta(q));
        set_values(out, &format!("cross.ols.fieller{name}"), Some(crosser.fieller(q)));
    }
}

pub(crate) fn multiple_testing(case: &Case) -> Results {
    let p: Vec<f64> = rows(case, "set", case.input["set"].as_str().unwrap())
        .iter()
        .map(|r| num(&r["p_value"]))
        .collect();
    let mut out = Results::new();
    let bh = multiple::benjamini_hochberg(&p);
    for q in case.params["q"].as_array().unwrap() {
        let rejected = bh.iter().filter(|a| **a <= q.as_f64().unwrap()).count();
        put(&mut out, format!("bh.n_rejected_q{q}"), rejected);
    }
    put(&mut out, "bh.adjusted", bh);
    put(&mut out, "holm.adjusted", multiple::holm(&p));
    put(&mut out, "by.adjusted", multiple::benjamini_yekutieli(&p));
    put(&mut out, "bonferroni.adjusted", multiple::bonferroni(&p));
    out
}

pub(crate) fn fleet(case: &Case) -> Results {
    let mut series: BTreeMap<String, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for row in table(case.input["file"].as_str().unwrap()) {
        assert_eq!(row["censor"], "0");
        let one = series.entry(format!("{}-{}", row["asset"], row["phase"])).or_default();
        one.0.push(num(&row["day"]));
        one.1.push(num(&row["log10_ohm"]));
    }
    let p: Vec<f64> =
        series.values().map(|(days, y)| least::line(days, y).unwrap().p_declining()).collect();
    let adjusted = multiple::benjamini_hochberg(&p);
    let names: Vec<&String> = series.keys().collect();
    let mut out = Results::new();
    for q in case.params["q"].as_array().unwrap() {
        let rejected: Vec<&String> = names
            .iter()
            .zip(&adjusted)
            .filter(|(_, a)| **a <= q.as_f64().unwrap())
            .map(|(name, _)| *name)
            .collect();
        put(&mut out, format!("bh.rejected_q{q}"), json!(rejected));
    }
    put(&mut out, "series", json!(names));
    put(&mut out, "ols.p_declining", p);
    put(&mut out, "bh.adjusted", adjusted);
    out
}

/// The numbers inside `name[a=1,b=2]`.
fn arguments(key: &str) -> (String, Vec<f64>) {
    let (name, rest) = key.split_once('[').unwrap();
    let inside = rest.strip_suffix(']').unwrap();
    let values = inside.split(',').map(|part| num(part.split_once('=').unwrap().1)).collect();
    (name.to_owned(), values)
}

pub(crate) fn temperature(case: &Case) -> Results {
    let mut out = Results::new();
    for key in case.expected.keys() {
        let (name, args) = arguments(key);
        let (what, rule) = name.split_once('.').unwrap();
        let rule = match rule {
            "halving10" => Rule::Halving10,
            "exp4230" => Rule::Exp4230,
            "exp1245" => Rule::Exp1245,
            other => panic!("rule {other}"),
        };
        let value = match what {
            "factor" => rule.factor(args[0]),
            _ => rule.to_40(args[1], args[0]),
        };
        put(&mut out, key, value);
    }
    out
}

pub(crate) fn step_change(case: &Case) -> Results {
    let rows = rows(case, "series", case.input["series"].as_str().unwrap());
    let days: Vec<f64> = rows.iter().map(|r| num(&r["day"])).collect();
    let x: Vec<f64> = rows.iter().map(|r| num(&r["value"])).collect();
    let least = case.params["min_segment"].as_u64().unwrap() as usize;
    let penalty = case.params["penalty_per_change"].as_f64().unwrap();
    let mut out = Results::new();
    let pettitt = step::pettitt(&x).unwrap();
    put(&mut out, "pettitt.u", pettitt.u);
    put(&mut out, "pettitt.k", pettitt.k);
    put(&mut out, "pettitt.first_index_after", pettitt.first_after);
    put(&mut out, "pettitt.p_approx", pettitt.p);
    let shift = step::mean_shift(&x, least).unwrap();
    put(&mut out, "mean_shift.first_index_after", shift.first_after);
    put(&mut out, "mean_shift.sse", shift.sse);
    put(&mut out, "mean_shift.mean_before", shift.before);
    put(&mut out, "mean_shift.mean_after", shift.after);
    put(&mut out, "pelt.change_indices", step::pelt(&x, least, penalty));
    let both = step::trend_shift(&days, &x, least).unwrap();
    put(&mut out, "trend_shift.first_index_after", both.first_after);
    put(&mut out, "trend_shift.coef", both.coef.to_vec());
    put(&mut out, "trend_shift.rss", both.rss);
    put(&mut out, "trend_shift.f", both.f);
    out
}

pub(crate) fn cusum(case: &Case) -> Results {
    let rows = rows(case, "series", case.input["series"].as_str().unwrap());
    let x: Vec<f64> = rows.iter().map(|r| num(&r["value"])).collect();
    let param = |key: &str| case.params[key].as_f64().unwrap();
    let sums = step::cusum(&x, param("target"), param("k"), param("h"));
    let mut out = Results::new();
    put(&mut out, "cusum.high", sums.high);
    put(&mut out, "cusum.low", sums.low);
    put(&mut out, "cusum.first_signal_high_index", json!(sums.first_high));
    put(&mut out, "cusum.first_signal_low_index", json!(sums.first_low));
    out
}

pub(crate) fn special(case: &Case) -> Results {
    let mut out = Results::new();
    for key in case.expected.keys() {
        let (name, args) = arguments(key);
        let value = match name.as_str() {
            "norm.log_sf" => normal::log_sf(args[0]),
            "norm.log_cdf" => normal::log_cdf(args[0]),
            "norm.pdf_over_sf" => normal::hazard(args[0]),
            "norm.isf" => normal::isf(args[0]),
            "t.isf" => tails::t_isf(args[0], args[1]),
            "t.cdf" => tails::t_cdf(args[0], args[1]),
            "chi2.isf" => tails::chi2_isf(args[0], args[1]),
            "chi2.sf" => tails::chi2_sf(args[0], args[1]),
            other => panic!("function {other}"),
        };
        put(&mut out, key, value);
    }
    out
}
