//! A run sheet as the page shows it: its points, its results in words, what was done.

use super::look::Look;
use crate::bench::{Act, Answer, Effect, Point, Proved, Says, Sheet, TestResult, words};
use crate::dossier::words::limit_words;
use crate::model::{ProofMoment, Stamp, TemperatureOf, Verdict};
use crate::visits::Doubt;
use crate::web::pages::Mark;

/// A sheet for its page.
pub(super) struct SheetView {
    pub(super) opened: i64,
    pub(super) version: u32,
    pub(super) asset: String,
    pub(super) kind: String,
    pub(super) started: String,
    pub(super) is_open: bool,
    pub(super) ended: String,
    pub(super) planned: String,
    pub(super) points: Vec<PointView>,
    pub(super) tests: Vec<TestView>,
    /// Whether any of them has begun.
    pub(super) has_begun: bool,
    pub(super) effects: Vec<String>,
    pub(super) log: Vec<LogView>,
    /// What taking back the last step would take back; empty where nothing can be.
    pub(super) undo: String,
    /// Whether a test is under way.
    pub(super) under_way: bool,
    pub(super) tray: usize,
}

/// One point of the plan.
pub(super) struct PointView {
    pub(super) words: String,
    pub(super) state: &'static str,
    pub(super) shape: &'static str,
    pub(super) note: String,
    pub(super) is_next: bool,
}

/// One test with what it gave.
pub(super) struct TestView {
    /// Counted from 1.
    pub(super) number: usize,
    pub(super) phase: String,
    pub(super) state: String,
    pub(super) value: String,
    pub(super) circumstances: String,
    pub(super) limits: Vec<LimitView>,
    pub(super) expected: String,
    pub(super) before: String,
    pub(super) says: String,
    pub(super) verdict: Option<Mark>,
    pub(super) detail: String,
    pub(super) has_readings: bool,
}

/// What a result says against one limit.
pub(super) struct LimitView {
    pub(super) mark: Mark,
    pub(super) words: String,
}

/// One step that was done.
pub(super) struct LogView {
    pub(super) number: u32,
    pub(super) time: String,
    pub(super) words: String,
    pub(super) undone: bool,
}

/// A time to the second, in UTC.
pub(super) fn clock(at: Stamp) -> String {
    let text = at.to_string();
    text.get(..19).map_or_else(|| text.clone(), |t| t.replace('T', " "))
}

impl SheetView {
    /// Whether several of its tests have readings.
    pub(super) fn several(&self) -> bool {
        self.tests.iter().filter(|test| test.has_readings).count() > 1
    }

    pub(super) fn of(look: &Look, sheet: &Sheet) -> Self {
        let undone: Vec<u32> = sheet
            .log
            .iter()
            .filter_map(|entry| match entry.act {
                Act::Undone(number) => Some(number),
                _ => None,
            })
            .collect();
        let log = sheet.log.iter().rev().map(|entry| LogView {
            number: entry.number,
            time: clock(entry.at),
            words: words::entry(sheet, entry),
            undone: undone.contains(&entry.number),
        });
        let ended = sheet.end.as_ref().map(|end| match &end.abandoned {
            None => format!("Finished by {}, {}", end.by, clock(end.at)),
            Some(why) => {
                format!("Ended by {} before all was done, {}: {why}", end.by, clock(end.at))
            }
        });
        let planned = sheet.plan.as_ref().map(|plan| {
            let temperature = plan.temperature.map(|(celsius, of)| format!(", {celsius} °C {of}"));
            let setup = if plan.setup.is_empty() { "" } else { ", setup " };
            format!(
                "{} V for {}{setup}{}, by {}{}",
                plan.test_voltage_v,
                words::seconds(plan.rated_s),
                plan.setup,
                plan.operator,
                temperature.unwrap_or_default()
            )
        });
        let undo = sheet.undoable().map(|entry| words::act(sheet, &entry.act));
        SheetView {
            opened: sheet.key.opened.micros(),
            version: sheet.version(),
            asset: sheet.asset.to_string(),
            kind: look.asset.as_ref().map(|asset| asset.kind.to_string()).unwrap_or_default(),
            started: clock(sheet.key.opened),
            is_open: sheet.end.is_none(),
            ended: ended.unwrap_or_default(),
            planned: planned.unwrap_or_default(),
            points: points(sheet),
            tests: (0..sheet.tests.len()).map(|test| test_view(look, sheet, test)).collect(),
            has_begun: sheet.has_begun(),
            effects: look.effects.iter().map(effect).chain(not_checked(sheet)).collect(),
            log: log.collect(),
            undo: undo.unwrap_or_default(),
            under_way: sheet.under_way().is_some(),
            tray: look.tray,
        }
    }
}

fn points(sheet: &Sheet) -> Vec<PointView> {
    let next = sheet.next();
    let points = sheet.points().into_iter().map(|point| {
        let (state, shape, note) = match sheet.answer(point) {
            Some(Answer::Done) => ("done", "●", String::new()),
            Some(Answer::Failed) => ("failed", "✕", String::new()),
            Some(Answer::Skipped(reason)) => ("left out", "○", reason.to_string()),
            None if next == Some(point) => ("now", "▶", String::new()),
            None if sheet.is_moot(point) => ("left out", "○", String::new()),
            None => ("to come", "·", String::new()),
        };
        let note = match point {
            Point::Gear => sheet.gear.as_ref().map_or(note, |gear| gear.weakest.to_string()),
            Point::Voltage => match sheet.voltage {
                Some(volts) => format!("{volts} V reported; measure yourself"),
                None => note,
            },
            Point::Discharge(test) => match sheet.tests[test].residual_v {
                Some(volts) => format!("residual {volts} V reported; measure yourself"),
                None => note,
            },
            Point::Proof(moment, kind) => {
                let made = sheet.proofs.iter().rev().map(|(_, proved)| proved);
                let last = made.into_iter().find(|p| (p.moment, p.kind) == (moment, kind));
                last.map_or(note, |proved| words::value(&proved.value))
            }
            _ => note,
        };
        let words = words::point(sheet, point);
        PointView { words, state, shape, note, is_next: next == Some(point) }
    });
    points.collect()
}

fn test_view(look: &Look, sheet: &Sheet, test: usize) -> TestView {
    let of = &sheet.tests[test];
    let result = look.results.iter().find(|result| result.test == test);
    let is_under_way = sheet.under_way().is_some_and(|(running, _)| running == test);
    let state = match (&of.voided, &of.moved) {
        (Some(why), _) => format!("voided: {why}"),
        (None, Some((asset, phase))) => format!("moved to {asset} {phase}"),
        (None, None) => match sheet.answer(Point::Test(test)) {
            Some(Answer::Skipped(why)) => format!("left out: {why}"),
            _ if is_under_way => "under way".into(),
            _ if result.is_some() => String::new(),
            _ if of.attempts.is_empty() => "to come".into(),
            _ => "no reading yet".into(),
        },
    };
    let mut view = TestView {
        number: test + 1,
        phase: of.phase.to_string(),
        state,
        value: String::new(),
        circumstances: String::new(),
        limits: Vec::new(),
        expected: String::new(),
        before: String::new(),
        says: String::new(),
        verdict: None,
        detail: String::new(),
        has_readings: result.is_some(),
    };
    let Some(result) = result else { return view };
    let shown = &result.shown;
    view.value = words::value(&shown.value);
    view.circumstances = circumstances(result, sheet);
    view.limits = result
        .outcomes
        .iter()
        .map(|(limit, outcome)| {
            let why = match outcome.reason() {
                "" => String::new(),
                why => format!(" ({why})"),
            };
            LimitView { mark: Mark::from(outcome), words: format!("{}{why}", limit_words(limit)) }
        })
        .collect();
    if let Some(e) = &result.expected {
        let ohms = crate::trend::words::ohms;
        let at = if e.taken_from_others { ", taken from other readings" } else { "" };
        view.expected =
            format!("{} to {} at {:.0} °C{at}", ohms(e.lower), ohms(e.upper), e.celsius);
    }
    if let Some((value, at, visits)) = &result.before {
        let visits = if *visits == 1 { "1 visit".to_owned() } else { format!("{visits} visits") };
        view.before = format!("{} on {}, {visits}", words::value(value), at.date());
    }
    if is_under_way {
        return view;
    }
    view.says = result.says.words();
    // What does not count says nothing of the series beside it.
    if !matches!(result.says, Says::Invalid(_)) {
        view.verdict = Some(result.verdict).filter(|v| *v != Verdict::TooFew).map(Mark::from);
        view.detail = result.state.clone();
    }
    view
}

/// What surrounds a value, and what is in doubt about it.
fn circumstances(result: &TestResult, sheet: &Sheet) -> String {
    let shown = &result.shown;
    let mut parts = Vec::new();
    parts.extend(shown.seconds.map(|s| format!("after {s} s")));
    parts.extend(shown.delivered_v.map(|v| format!("{v} V delivered")));
    parts.push(match shown.temperature {
        Some((celsius, Some(TemperatureOf::Winding))) => format!("winding {celsius} °C"),
        Some((celsius, Some(TemperatureOf::Ambient))) => format!("air {celsius} °C"),
        Some((celsius, None)) => format!("{celsius} °C"),
        None => "no temperature".into(),
    });
    let planned = sheet.plan.as_ref().map(|plan| plan.test_voltage_v);
    if let (Some(planned), Some(told)) = (planned, shown.test_voltage_v)
        && planned != told
    {
        parts.push(format!("the tester says {told} V, the sheet {planned} V"));
    }
    if result.readings > 1 {
        parts.push(format!("{} values", result.readings));
    }
    // A bench's line carries the time of its arrival, which is as good as any.
    let told = result.doubts.iter().filter(|doubt| **doubt != Doubt::Time);
    let doubts: Vec<&str> = told.map(|doubt| doubt.word()).collect();
    if !doubts.is_empty() {
        parts.push(format!("in doubt: {}", doubts.join(", ")));
    }
    parts.join("; ")
}

/// That nobody looked at the tester after the tests.
fn not_checked(sheet: &Sheet) -> Option<String> {
    let checked = |p: &Proved| p.moment == ProofMoment::After;
    let missing = sheet.end.is_some()
        && sheet.has_begun()
        && !sheet.proofs.iter().any(|(_, proved)| checked(proved));
    missing.then(|| {
        "The tester was not checked after the tests: whether it was sound to the end is not known."
            .to_owned()
    })
}

/// What a failed check did, in words.
fn effect(effect: &Effect) -> String {
    let assets: Vec<String> =
        effect.assets.iter().map(|(id, n)| format!("{id} ({n} readings)")).collect();
    let assets = match assets.is_empty() {
        true => "no reading was made in that time".to_owned(),
        false => format!(
            "left out of trend and result, unless a person overrules: {}",
            assets.join(", ")
        ),
    };
    let proved = match effect.proved {
        true => format!("until it was proved again at {}", clock(effect.to)),
        false => "until it is proved again".into(),
    };
    format!(
        "The check “{}” after the tests failed. What this tester read from {} on does not count, \
         {proved}; {assets}.",
        effect.proof,
        clock(effect.from)
    )
}
