//! The bench for programs and for the page's own script.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;

use super::look::Look;
use super::now::{Timing, count};
use crate::bench::{LiveValue, Sheet, TestResult, words};
use crate::dossier::words::limit_words;
use crate::store::{Reader, When};
use crate::web::Service;
use crate::web::refusal::Refusal;

/// A station in the list.
#[derive(Serialize)]
pub(in crate::web) struct StationOut {
    station: String,
    asset: Option<String>,
    next: Option<String>,
}

/// The sheet of a station.
#[derive(Serialize)]
pub(in crate::web) struct SheetOut {
    station: String,
    opened: String,
    version: u32,
    asset: String,
    next: Option<String>,
    next_words: Option<String>,
    ended: Option<String>,
    test_voltage_v: Option<f64>,
    rated_s: Option<f64>,
    setup: Option<String>,
    operator: Option<String>,
    tester: Option<String>,
    proofs: Vec<ProofOut>,
    tests: Vec<TestOut>,
    effects: usize,
}

#[derive(Serialize)]
struct ProofOut {
    kind: &'static str,
    moment: &'static str,
    ohms: f64,
    bound: &'static str,
    passed: bool,
}

#[derive(Serialize)]
struct TestOut {
    phase: String,
    begun: bool,
    residual_v: Option<f64>,
    moved_to: Option<String>,
    voided: Option<String>,
    result: Option<ResultOut>,
}

#[derive(Serialize)]
struct ResultOut {
    reading: String,
    readings: usize,
    resistance_ohm: f64,
    bound: &'static str,
    duration_s: Option<f64>,
    temperature_c: Option<f64>,
    left_out: Option<String>,
    limits: Vec<LimitOut>,
    expected_lower_ohm: Option<f64>,
    expected_ohm: Option<f64>,
    expected_upper_ohm: Option<f64>,
    expected_at_c: Option<f64>,
    last_ohm: Option<f64>,
    last_bound: Option<&'static str>,
    says: String,
    verdict: &'static str,
}

#[derive(Serialize)]
struct LimitOut {
    limit: String,
    outcome: &'static str,
    why: &'static str,
}

/// What moves while somebody watches.
#[derive(Serialize)]
pub(in crate::web) struct LiveOut {
    opened: Option<i64>,
    version: u32,
    value: Option<ValueOut>,
    /// Seconds that the test or the discharge still takes; none where nothing runs.
    left_s: Option<f64>,
}

#[derive(Serialize)]
struct ValueOut {
    at: String,
    words: String,
    resistance_ohm: f64,
    bound: &'static str,
    duration_s: Option<f64>,
    delivered_voltage_v: Option<f64>,
}

impl From<LiveValue> for ValueOut {
    fn from(live: LiveValue) -> Self {
        ValueOut {
            at: live.at.to_string(),
            words: words::value(&live.value),
            resistance_ohm: live.value.ohms,
            bound: live.value.bound.word(),
            duration_s: live.seconds,
            delivered_voltage_v: live.delivered_v,
        }
    }
}

impl From<&TestResult> for ResultOut {
    fn from(result: &TestResult) -> Self {
        let shown = &result.shown;
        let expected = result.expected;
        ResultOut {
            reading: shown.id.to_string(),
            readings: result.readings,
            resistance_ohm: shown.value.ohms,
            bound: shown.value.bound.word(),
            duration_s: shown.seconds,
            temperature_c: shown.temperature.map(|t| t.0),
            left_out: shown.left_out.clone(),
            limits: result
                .outcomes
                .iter()
                .map(|(limit, outcome)| LimitOut {
                    limit: limit_words(limit),
                    outcome: outcome.word(),
                    why: outcome.reason(),
                })
                .collect(),
            expected_lower_ohm: expected.map(|e| e.lower),
            expected_ohm: expected.map(|e| e.mid),
            expected_upper_ohm: expected.map(|e| e.upper),
            expected_at_c: expected.map(|e| e.celsius),
            last_ohm: result.before.map(|b| b.0.ohms),
            last_bound: result.before.map(|b| b.0.bound.word()),
            says: result.says.words(),
            verdict: result.verdict.word(),
        }
    }
}

impl SheetOut {
    fn of(look: &Look, sheet: &Sheet) -> Self {
        let next = sheet.next();
        let plan = sheet.plan.as_ref();
        let tests = sheet.tests.iter().enumerate().map(|(i, test)| TestOut {
            phase: test.phase.to_string(),
            begun: !test.attempts.is_empty(),
            residual_v: test.residual_v,
            moved_to: test.moved.as_ref().map(|(asset, _)| asset.to_string()),
            voided: test.voided.as_ref().map(ToString::to_string),
            result: look.results.iter().find(|r| r.test == i).map(ResultOut::from),
        });
        let proofs = sheet.proofs.iter().map(|(_, proved)| ProofOut {
            kind: proved.kind.word(),
            moment: proved.moment.word(),
            ohms: proved.value.ohms,
            bound: proved.value.bound.word(),
            passed: proved.passed,
        });
        SheetOut {
            station: look.station.name.to_string(),
            opened: sheet.key.opened.to_string(),
            version: sheet.version(),
            asset: sheet.asset.to_string(),
            next: next.map(|point| point.key()),
            next_words: next.map(|point| words::point(sheet, point)),
            ended: sheet.end.as_ref().map(|end| end.at.to_string()),
            test_voltage_v: plan.map(|plan| plan.test_voltage_v),
            rated_s: plan.map(|plan| plan.rated_s),
            setup: plan.map(|plan| plan.setup.to_string()),
            operator: plan.map(|plan| plan.operator.to_string()),
            tester: sheet.gear.as_ref().map(|gear| gear.tester.to_string()),
            proofs: proofs.collect(),
            tests: tests.collect(),
            effects: look.effects.len(),
        }
    }
}

/// The stations, each with the asset of its open sheet and the next step.
#[utoipa::path(get, path = "/v1/bench", tag = "bench", operation_id = "bench_stations",
    responses((status = 200, description = "Stations.", body = Vec<Object>)))]
pub(in crate::web) async fn stations(State(service): State<Arc<Service>>) -> Json<Vec<StationOut>> {
    let all = service.shared.bench.all();
    let out = all.iter().map(|station| {
        let open = station.watched().sheet.filter(|sheet| sheet.end.is_none());
        StationOut {
            station: station.name.to_string(),
            asset: open.as_ref().map(|sheet| sheet.asset.to_string()),
            next: open.and_then(|sheet| Some(sheet.next()?.key())),
        }
    });
    Json(out.collect())
}

/// The latest sheet of a station; `null` where there has never been one.
#[utoipa::path(get, path = "/v1/bench/{station}", tag = "bench", operation_id = "bench_station",
    params(("station" = String, Path, description = "Its name.", example = "bench-1")),
    responses((status = 200, description = "The sheet.", body = Option<Object>)))]
pub(in crate::web) async fn station(
    State(service): State<Arc<Service>>,
    Path(name): Path<String>,
) -> Result<Json<Option<SheetOut>>, Refusal> {
    let look = service.look(name, None).await?;
    Ok(Json(look.sheet.as_ref().map(|sheet| SheetOut::of(&look, sheet))))
}

/// What moves while somebody watches a station.
#[utoipa::path(get, path = "/v1/bench/{station}/live", tag = "bench", operation_id = "bench_live",
    params(("station" = String, Path, description = "Its name.", example = "bench-1")),
    responses((status = 200, description = "The last value and what is left of the test.",
        body = Object)))]
pub(in crate::web) async fn live(
    State(service): State<Arc<Service>>,
    Path(name): Path<String>,
) -> Result<Json<LiveOut>, Refusal> {
    let station = service.shared.bench.find(&name)?;
    let watched = station.watched();
    let sheet = watched.sheet.as_ref();
    let since = sheet.map(Sheet::since);
    let value = watched.last.filter(|live| since.is_none_or(|since| live.at > since));
    let mut left_s = None;
    if let Some(sheet) = sheet.filter(|sheet| sheet.end.is_none()) {
        let id = sheet.asset.clone();
        let asset = service.ask(move |reader| reader.asset(&id, When::ALWAYS)).await?;
        let stated_s = asset.and_then(|asset| asset.discharge_s);
        let (settings, now) = (service.shared.bench.settings(), service.shared.clock.now());
        let timing = Timing { watched: &watched, stated_s, settings: &settings, now };
        left_s = count(&timing, sheet).map(|count| count.left_s);
    }
    Ok(Json(LiveOut {
        opened: sheet.map(|sheet| sheet.key.opened.micros()),
        version: sheet.map_or(0, Sheet::version),
        value: value.map(ValueOut::from),
        left_s,
    }))
}
