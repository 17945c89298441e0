//! The bench for programs and for the page's own script.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use serde::Serialize;
use utoipa::ToSchema;

use super::look::Look;
use super::now::{Timing, count};
use crate::bench::{LiveValue, Sheet, TestResult, words};
use crate::dossier::words::limit_words;
use crate::store::{Reader, When};
use crate::web::Service;
use crate::web::refusal::Refusal;

/// A station in the list.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct StationOut {
    /// Its name.
    #[schema(example = "bench-1")]
    station: String,
    /// The asset of its open sheet; null: none is open.
    #[schema(example = "YT-014/drive")]
    asset: Option<String>,
    /// The key of the next step, as in a sheet.
    #[schema(example = "test-1")]
    next: Option<String>,
}

/// The sheet of a station: what was done on it so far, what comes next, and what its tests say.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct SheetOut {
    /// The station.
    #[schema(example = "bench-1")]
    station: String,
    /// When it was opened: with the station, the name of the sheet.
    #[schema(example = "2026-03-02T08:15:00Z")]
    opened: String,
    /// Acts on it so far. A command that was made for another version is refused.
    #[schema(example = 12)]
    version: u32,
    /// The asset.
    #[schema(example = "YT-014/drive")]
    asset: String,
    /// The key of the next step; null: there is none. In their order: `plan`, `gear`, `isolated`,
    /// `source-before`, `voltage`, `source-after`, `disconnected`; the checks of the tester
    /// (`open-before`, `known-before` and others); for each test, counted from 1, `contact-1`,
    /// `test-1`, `discharge-1`; the checks again (`open-after` and others); `finish`.
    #[schema(example = "discharge-1")]
    next: Option<String>,
    /// The same in words.
    next_words: Option<String>,
    /// When it was finished or given up; null: it is open.
    ended: Option<String>,
    /// Planned nominal test voltage in volts.
    #[schema(example = 500.0)]
    test_voltage_v: Option<f64>,
    /// Planned seconds of each test.
    #[schema(example = 60.0)]
    rated_s: Option<f64>,
    /// What else defines comparability.
    #[schema(example = "others grounded")]
    setup: Option<String>,
    /// Who measures.
    #[schema(example = "R. Hale")]
    operator: Option<String>,
    /// The tester.
    #[schema(example = "BT-1")]
    tester: Option<String>,
    /// The checks of the tester, as they were made.
    proofs: Vec<CheckOut>,
    /// The tests, in the order of the plan.
    tests: Vec<TestOut>,
    /// How many of its readings are left out by what was found later.
    effects: usize,
}

/// A check of the tester.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct CheckOut {
    /// What was checked.
    #[schema(example = "open")]
    kind: &'static str,
    /// `before` or `after` the tests.
    #[schema(example = "before")]
    moment: &'static str,
    /// What it read, in ohms; what they mean is `bound`.
    #[schema(example = 550e6)]
    ohms: f64,
    /// `=` measured, `>` at least, `<` at most.
    #[schema(example = ">")]
    bound: &'static str,
    /// Whether that is as it has to be.
    passed: bool,
}

/// The test of one phase.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct TestOut {
    /// What the live lead is on.
    #[schema(example = "U")]
    phase: String,
    /// Whether it was begun.
    begun: bool,
    /// Volts that were left after the discharge; null: not measured yet.
    #[schema(example = 0.4)]
    residual_v: Option<f64>,
    /// The asset that its readings were moved to.
    moved_to: Option<String>,
    /// Why its readings do not count.
    voided: Option<String>,
    /// What came of it; null: nothing yet.
    result: Option<ResultOut>,
}

/// What came of a test.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct ResultOut {
    /// The reading that stands for it.
    #[schema(example = "12.345")]
    reading: String,
    /// Readings of the test in all.
    readings: usize,
    /// Ohms; what they mean is `bound`.
    #[schema(example = 410e6)]
    resistance_ohm: f64,
    /// `=` measured, `>` at least, `<` at most.
    #[schema(example = "=")]
    bound: &'static str,
    /// Seconds of applied voltage.
    #[schema(example = 60.0)]
    duration_s: Option<f64>,
    /// Degrees Celsius.
    #[schema(example = 22.0)]
    temperature_c: Option<f64>,
    /// Why it is left out of the trend.
    left_out: Option<String>,
    /// The result against each limit.
    limits: Vec<OutcomeOut>,
    /// What was to be expected by the earlier readings, in ohms: the lower end.
    expected_lower_ohm: Option<f64>,
    /// The middle of it.
    expected_ohm: Option<f64>,
    /// The upper end.
    expected_upper_ohm: Option<f64>,
    /// The temperature in degrees Celsius for which that holds.
    expected_at_c: Option<f64>,
    /// What was read at the visit before, in ohms.
    last_ohm: Option<f64>,
    /// What that means: `=`, `>` or `<`.
    last_bound: Option<&'static str>,
    /// What the result says beside what was expected, in words.
    says: String,
    /// The verdict on this phase, this test included.
    #[schema(example = "steady")]
    verdict: &'static str,
}

/// A result against a limit.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct OutcomeOut {
    /// The limit in words.
    #[schema(example = "5 MΩ at 40 °C")]
    limit: String,
    /// `meets`, `below`, `cannot tell` or `invalid`.
    #[schema(example = "meets")]
    outcome: &'static str,
    /// Why; empty where it says itself.
    why: &'static str,
}

/// What moves while somebody watches.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct LiveOut {
    /// When the sheet was opened, in microseconds since 1970; null: there has never been one.
    opened: Option<i64>,
    /// Acts on it so far.
    version: u32,
    /// The last value since the last act.
    value: Option<ValueOut>,
    /// Seconds that the test or the discharge still takes; none where nothing runs.
    left_s: Option<f64>,
}

/// A value as it came.
#[derive(Serialize, ToSchema)]
pub(in crate::web) struct ValueOut {
    /// When.
    #[schema(example = "2026-03-02T08:15:00Z")]
    at: String,
    /// In words.
    #[schema(example = "> 550 MΩ")]
    words: String,
    /// Ohms; what they mean is `bound`.
    #[schema(example = 550e6)]
    resistance_ohm: f64,
    /// `=` measured, `>` at least, `<` at most.
    #[schema(example = ">")]
    bound: &'static str,
    /// Seconds of applied voltage, where the tester tells them.
    duration_s: Option<f64>,
    /// Delivered voltage in volts, where the tester tells it.
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
                .map(|(limit, outcome)| OutcomeOut {
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
        let proofs = sheet.proofs.iter().map(|(_, proved)| CheckOut {
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
    responses((status = 200, description = "Stations.", body = Vec<StationOut>)))]
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
    responses((status = 200, description = "The sheet.", body = Option<SheetOut>)))]
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
        body = LiveOut)))]
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
