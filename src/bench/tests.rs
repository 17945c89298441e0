//! The run sheet walked from its opening to its end: every refusal, skip, undo and repeat.

use super::act::{Act, Entry, Plan, Point, Value};
use super::proving::Settings;
use super::refusal::Refusal;
use super::sheet::{Answer, Sheet};
use super::take::{Command, Facts, Taken, open, take};
use crate::model::{
    Asset, AssetId, Bound, CorrectionKind, Gear, GearKind, Phase, ProofKind, ProofMoment,
    ReadingId, Stamp, Text,
};
use crate::store::{Change, SheetKey};

/// A sheet with all that is known beside it; each command is a minute after the last.
struct Bench {
    sheet: Sheet,
    now: Stamp,
    asset: Asset,
    gear: Vec<Gear>,
    live: Option<Value>,
    starts_itself: bool,
    readings: Vec<Vec<(ReadingId, Option<f64>)>>,
    settings: Settings,
    changes: Vec<Change>,
}

const OPEN: Value = Value { ohms: 550e6, bound: Bound::Over };
const SHORT: Value = Value { ohms: 10e3, bound: Bound::Under };
const MEGOHM: Value = Value { ohms: 1.1e6, bound: Bound::Measured };

fn named(id: &str) -> AssetId {
    AssetId::new(id).unwrap()
}

fn gear(id: &str, kind: GearKind, volts: f64) -> Gear {
    Gear { category: "CAT III".into(), rated_voltage_v: Some(volts), ..Gear::new(id.into(), kind) }
}

fn plan() -> Plan {
    Plan {
        phases: ["U", "V"].map(|label| Phase::new(label).unwrap()).into(),
        setup: "others grounded".into(),
        test_voltage_v: 500.0,
        rated_s: 60.0,
        operator: "Ines".into(),
        temperature: None,
        humidity_pct: None,
    }
}

impl Bench {
    fn opened() -> Self {
        let now = Stamp::from_micros(1_700_000_000_000_000);
        let asset = Asset::first_met(named("YT-014/drive"));
        let act = open(&asset, false).unwrap();
        let key = SheetKey { station: "bench-1".into(), opened: now };
        let sheet = Sheet::of(key, vec![Entry { number: 1, at: now, by: "Ines".into(), act }]);
        Bench {
            sheet: sheet.unwrap(),
            now,
            asset,
            gear: vec![
                gear("BT-1", GearKind::Tester, 1_000.0),
                gear("L-1", GearKind::Lead, 1_000.0),
                gear("L-2", GearKind::Lead, 300.0),
            ],
            live: None,
            starts_itself: true,
            readings: vec![Vec::new(), Vec::new()],
            settings: Settings::default(),
            changes: Vec::new(),
        }
    }

    fn ask(&mut self, command: &Command) -> Result<Taken, Refusal> {
        self.now = self.now.plus_days(1.0 / 1_440.0);
        let facts = Facts {
            now: self.now,
            asset: &self.asset,
            gear: &self.gear,
            live: self.live,
            starts_itself: self.starts_itself,
            readings: &self.readings,
            applied_s: None,
            settings: &self.settings,
        };
        let taken = take(&self.sheet, command, &facts)?;
        let numbers = self.sheet.version() + 1..;
        let entries = numbers.zip(taken.acts.iter().cloned());
        let (at, by) = (self.now, Text::from("Ines"));
        let more = entries.map(|(number, act)| Entry { number, at, by: by.clone(), act });
        self.sheet = self.sheet.with(more.collect());
        self.changes.extend(taken.changes.iter().cloned());
        Ok(taken)
    }

    /// Does what has to go well, and says what comes next.
    fn ok(&mut self, command: Command) -> Option<Point> {
        self.ask(&command).unwrap_or_else(|e| panic!("{command:?}: {e}"));
        self.sheet.next()
    }

    /// Asks for what has to be refused, and that nothing has changed.
    fn refused(&mut self, command: Command) -> String {
        let before = self.sheet.clone();
        let refusal = self.ask(&command).expect_err("it should have been refused");
        assert_eq!(self.sheet, before);
        refusal.to_string()
    }

    fn prove(&mut self, value: Value, expected_ohm: Option<f64>) -> Option<Point> {
        self.live = Some(value);
        self.ok(Command::Prove { by_hand: None, expected_ohm })
    }

    /// Up to the first proof.
    fn isolated() -> Self {
        let mut bench = Bench::opened();
        bench.ok(Command::Plan(plan()));
        bench.ok(Command::Gear { tester: "BT-1".into(), parts: vec!["L-1".into()] });
        bench.ok(Command::Confirm(Point::Isolated));
        bench.ok(Command::Source { read_v: 23.8, expected_v: 24.0 });
        bench.ok(Command::Voltage(0.2));
        bench.ok(Command::Source { read_v: 23.9, expected_v: 24.0 });
        bench.ok(Command::Confirm(Point::Disconnected));
        bench
    }

    fn prove_all(&mut self) -> Option<Point> {
        self.prove(OPEN, None);
        self.prove(SHORT, None);
        self.prove(MEGOHM, Some(1e6))
    }

    /// Up to the first contact.
    fn proved() -> Self {
        let mut bench = Bench::isolated();
        bench.prove_all();
        bench
    }

    /// A test from contact to discharge, with twelve readings.
    fn test(&mut self, test: usize) -> Option<Point> {
        self.ok(Command::Confirm(Point::Contact(test)));
        let id = |record| ReadingId { batch: 7 + test as u64, record, part: 0 };
        self.readings[test] = (1..=12).map(|n| (id(n), Some(5.0 * n as f64))).collect();
        self.ok(Command::End);
        self.now = self.now.plus_days(5.0 / 1_440.0);
        self.ok(Command::Discharged(3.0))
    }
}

fn proof(moment: ProofMoment, kind: ProofKind) -> Option<Point> {
    Some(Point::Proof(moment, kind))
}

#[test]
fn a_whole_run_goes_from_point_to_point() {
    let mut bench = Bench::opened();
    assert_eq!(bench.sheet.next(), Some(Point::Plan));
    assert_eq!(bench.ok(Command::Plan(plan())), Some(Point::Gear));
    let gear = Command::Gear { tester: "BT-1".into(), parts: vec!["L-1".into()] };
    assert_eq!(bench.ok(gear), Some(Point::Isolated));
    assert_eq!(bench.ok(Command::Confirm(Point::Isolated)), Some(Point::SourceBefore));
    let source = || Command::Source { read_v: 23.8, expected_v: 24.0 };
    assert_eq!(bench.ok(source()), Some(Point::Voltage));
    assert_eq!(bench.ok(Command::Voltage(0.2)), Some(Point::SourceAfter));
    assert_eq!(bench.ok(source()), Some(Point::Disconnected));
    let open_before = proof(ProofMoment::Before, ProofKind::Open);
    assert_eq!(bench.ok(Command::Confirm(Point::Disconnected)), open_before);
    assert_eq!(bench.prove_all(), Some(Point::Contact(0)));
    assert_eq!(bench.test(0), Some(Point::Contact(1)));
    assert_eq!(bench.test(1), proof(ProofMoment::After, ProofKind::Open));
    assert_eq!(bench.prove_all(), Some(Point::Finish));
    assert_eq!(bench.ok(Command::Finish), None);
    let proofs = bench.changes.iter().filter(|change| matches!(change, Change::Proof(_)));
    assert_eq!(
        proofs.count(),
        10,
        "two of the voltage function, three before, three after, contacts"
    );
    assert_eq!(bench.sheet.failed_after().count(), 0);
    assert!(matches!(bench.ask(&Command::Undo), Err(Refusal::Ended)));
}

#[test]
fn nothing_out_of_turn_is_taken() {
    let mut bench = Bench::opened();
    let all = [
        Command::Gear { tester: "BT-1".into(), parts: vec![] },
        Command::Confirm(Point::Isolated),
        Command::Source { read_v: 24.0, expected_v: 24.0 },
        Command::Voltage(0.0),
        Command::Prove { by_hand: Some(OPEN), expected_ohm: None },
        Command::Begin,
        Command::End,
        Command::Discharged(0.0),
        Command::Finish,
    ];
    for command in all {
        let why = bench.refused(command);
        assert!(why.contains("what is to be measured is"), "{why}");
    }
    bench.ok(Command::Plan(plan()));
    assert!(bench.refused(Command::Plan(plan())).contains("the gear is"));
    assert!(bench.refused(Command::Confirm(Point::Gear)).contains("the gear"));
}

#[test]
fn sources_of_energy_and_what_is_energised_get_no_sheet() {
    let pack = Asset { kind: "battery pack".into(), ..Asset::first_met(named("YT-014/traction")) };
    let why = open(&pack, false).unwrap_err().to_string();
    assert!(why.contains("a source of energy (`battery`)"), "{why}");
    let machine = Asset::first_met(named("YT-014/drive"));
    let why = open(&machine, true).unwrap_err().to_string();
    assert!(why.contains("said to be energised"), "{why}");
}

#[test]
fn a_plan_says_something_that_can_be_done() {
    let mut bench = Bench::opened();
    let wrong = [
        Plan { phases: vec![], ..plan() },
        Plan { phases: vec![Phase::new("U").unwrap(); 2], ..plan() },
        Plan { test_voltage_v: 0.0, ..plan() },
        Plan { rated_s: f64::NAN, ..plan() },
        Plan { rated_s: 7_200.0, ..plan() },
        Plan { operator: Text::default(), ..plan() },
        Plan { humidity_pct: Some(120.0), ..plan() },
    ];
    for plan in wrong {
        bench.refused(Command::Plan(plan));
    }
}

#[test]
fn gear_below_the_test_voltage_is_refused() {
    let mut bench = Bench::opened();
    bench.ok(Command::Plan(plan()));
    let weak = Command::Gear { tester: "BT-1".into(), parts: vec!["L-2".into()] };
    assert!(bench.refused(weak).contains("rated 300 V"));
}

#[test]
fn a_voltage_at_the_part_stops_the_run() {
    let mut bench = Bench::opened();
    bench.ok(Command::Plan(plan()));
    bench.ok(Command::Gear { tester: "BT-1".into(), parts: vec![] });
    bench.ok(Command::Confirm(Point::Isolated));
    // The source does not show on the tester: nothing it says of the part counts.
    let dumb = bench.ok(Command::Source { read_v: 0.0, expected_v: 24.0 });
    assert_eq!(dumb, Some(Point::SourceBefore));
    let skip = Command::Skip { point: Point::SourceBefore, reason: "no time".into() };
    assert!(bench.refused(skip).contains("a check of the tester failed"));
    bench.ok(Command::Source { read_v: 24.0, expected_v: 24.0 });
    assert!(bench.refused(Command::Voltage(-398.0)).contains("energised or charged"));
    assert!(bench.refused(Command::Voltage(20.0)).contains("energised or charged"));
    assert_eq!(bench.ok(Command::Voltage(19.9)), Some(Point::SourceAfter));
}

#[test]
fn a_failed_proof_before_holds_the_run_until_it_passes() {
    let mut bench = Bench::isolated();
    let nothing = Command::Prove { by_hand: None, expected_ohm: None };
    assert!(bench.refused(nothing).contains("no value has come"));
    let open_before = proof(ProofMoment::Before, ProofKind::Open);
    assert_eq!(bench.prove(MEGOHM, None), open_before, "open leads on scale: damp or broken");
    let point = open_before.unwrap();
    let skip = Command::Skip { point, reason: "it is always like that".into() };
    assert!(bench.refused(skip).contains("a check of the tester failed"));
    assert_eq!(bench.prove(OPEN, None), proof(ProofMoment::Before, ProofKind::Shorted));
    let kept = bench.changes.iter().filter_map(|change| match change {
        Change::Proof(proof) if proof.kind == ProofKind::Open => Some(proof.passed),
        _ => None,
    });
    assert_eq!(kept.collect::<Vec<_>>(), [false, true], "the failed one is kept");
}

#[test]
fn a_known_resistance_needs_its_value_and_may_be_left_out() {
    let mut bench = Bench::isolated();
    bench.prove(OPEN, None);
    bench.prove(SHORT, None);
    let without = Command::Prove { by_hand: Some(MEGOHM), expected_ohm: None };
    assert!(bench.refused(without).contains("expected_ohm"));
    let point = Point::Proof(ProofMoment::Before, ProofKind::KnownResistance);
    let silent = Command::Skip { point, reason: Text::default() };
    assert!(bench.refused(silent).contains("say why"));
    let skip = Command::Skip { point, reason: "there is none here".into() };
    assert_eq!(bench.ok(skip), Some(Point::Contact(0)));
    assert_eq!(bench.sheet.answer(point), Some(&Answer::Skipped("there is none here".into())));
}

#[test]
fn what_protects_people_is_not_left_out() {
    let mut bench = Bench::opened();
    let skip = |point| Command::Skip { point, reason: "we are in a hurry".into() };
    assert!(bench.refused(skip(Point::Plan)).contains("cannot be left out"));
    bench.ok(Command::Plan(plan()));
    assert!(bench.refused(skip(Point::Gear)).contains("cannot be left out"));
    bench.ok(Command::Gear { tester: "BT-1".into(), parts: vec![] });
    assert!(bench.refused(skip(Point::Isolated)).contains("cannot be left out"));
    bench.ok(Command::Confirm(Point::Isolated));
    bench.ok(skip(Point::SourceBefore));
    assert!(bench.refused(skip(Point::Voltage)).contains("cannot be left out"));
    assert!(bench.refused(skip(Point::Disconnected)).contains("not what comes next"));
}

#[test]
fn the_discharge_is_waited_for() {
    let mut bench = Bench::proved();
    bench.ok(Command::Confirm(Point::Contact(0)));
    bench.readings[0] = vec![(ReadingId { batch: 7, record: 1, part: 0 }, Some(60.0))];
    assert_eq!(bench.ok(Command::End), Some(Point::Discharge(0)));
    // A minute after the end of a one-minute test: three of the four minutes are left.
    assert!(bench.refused(Command::Discharged(0.0)).contains("wait 3 min more"));
    bench.now = bench.now.plus_days(2.0 / 1_440.0);
    let still = bench.ok(Command::Discharged(85.0));
    assert_eq!(still, Some(Point::Discharge(0)), "85 V remain");
    assert_eq!(bench.ok(Command::Discharged(3.0)), Some(Point::Contact(1)));
    assert_eq!(bench.sheet.tests[0].residual_v, Some(3.0));
}

#[test]
fn a_button_starts_the_test_where_the_stream_does_not() {
    let mut bench = Bench::proved();
    bench.starts_itself = false;
    assert_eq!(bench.ok(Command::Confirm(Point::Contact(0))), Some(Point::Test(0)));
    assert_eq!(bench.sheet.under_way(), None);
    bench.ok(Command::Begin);
    assert_eq!(bench.sheet.under_way().map(|(test, _)| test), Some(0));
    assert!(bench.refused(Command::Begin).contains("under way"));
    for command in [Command::Repeat(0), Command::Abandon("tea".into())] {
        assert!(bench.refused(command).contains("under way"));
    }
    let skip = Command::Skip { point: Point::Test(0), reason: "tea".into() };
    assert!(bench.refused(skip).contains("under way"));
    // The stream told no seconds: the minute until the end was pressed counts, and three refusals.
    bench.ok(Command::End);
    let (_, applied_s) = bench.sheet.tests[0].attempt().unwrap().ended.unwrap();
    assert_eq!(applied_s, 300.0);
}

#[test]
fn a_phase_may_be_left_out_with_its_contact_and_discharge() {
    let mut bench = Bench::proved();
    let skip = Command::Skip { point: Point::Test(0), reason: "lead cut off".into() };
    assert_eq!(bench.ok(skip), Some(Point::Contact(1)));
    let skip = Command::Skip { point: Point::Contact(1), reason: "no second clip".into() };
    assert_eq!(bench.ok(skip), Some(Point::Test(1)));
    bench.ok(Command::Begin);
    assert_eq!(bench.sheet.under_way().map(|(test, _)| test), Some(1));
}

#[test]
fn the_last_step_is_taken_back_with_its_proof() {
    let mut bench = Bench::isolated();
    bench.prove(MEGOHM, None);
    let failed = bench.changes.pop().unwrap();
    bench.ok(Command::Undo);
    assert!(matches!((failed, bench.changes.pop()),
        (Change::Proof(made), Some(Change::ProofVoid(void))) if made == void));
    assert_eq!(bench.sheet.next(), proof(ProofMoment::Before, ProofKind::Open));
    assert!(bench.sheet.proofs.is_empty());
    for point in [
        Point::Disconnected,
        Point::SourceAfter,
        Point::Voltage,
        Point::SourceBefore,
        Point::Isolated,
        Point::Gear,
        Point::Plan,
    ] {
        assert_eq!(bench.ok(Command::Undo), Some(point));
    }
    assert!(bench.refused(Command::Undo).contains("nothing to take back"));
    assert_eq!(bench.ok(Command::Plan(plan())), Some(Point::Gear), "and it goes on from there");
}

#[test]
fn a_test_that_has_run_is_repeated_and_not_taken_back() {
    let mut bench = Bench::proved();
    bench.ok(Command::Confirm(Point::Contact(0)));
    assert_eq!(bench.ok(Command::Undo), Some(Point::Test(0)), "no value has come yet");
    assert_eq!(bench.ok(Command::Undo), Some(Point::Contact(0)));
    bench.ok(Command::Confirm(Point::Contact(0)));
    bench.readings[0] = vec![(ReadingId { batch: 7, record: 1, part: 0 }, Some(60.0))];
    assert!(bench.refused(Command::Undo).contains("values of this test have come"));
    bench.ok(Command::End);
    assert!(bench.refused(Command::Undo).contains("a test that has run"));
    bench.now = bench.now.plus_days(5.0 / 1_440.0);
    bench.ok(Command::Discharged(3.0));
    assert!(bench.refused(Command::Repeat(1)).contains("no readings"));
    assert_eq!(bench.ok(Command::Repeat(0)), Some(Point::Contact(0)));
    assert_eq!(bench.test(0), Some(Point::Contact(1)));
    assert_eq!(bench.sheet.tests[0].attempts.len(), 2, "what was taken back is none");
}

#[test]
fn a_failed_proof_after_is_said_and_does_not_hold_the_end() {
    let mut bench = Bench::proved();
    bench.test(0);
    bench.test(1);
    bench.prove(OPEN, None);
    let known = proof(ProofMoment::After, ProofKind::KnownResistance);
    assert_eq!(bench.prove(OPEN, None), known, "shorted leads read over-range: a broken lead");
    bench.prove(MEGOHM, Some(1e6));
    assert_eq!(
        bench.sheet.failed_after().map(|p| p.kind).collect::<Vec<_>>(),
        [ProofKind::Shorted]
    );
    let failed = bench.changes.iter().any(
        |change| matches!(change, Change::Proof(p) if !p.passed && p.moment == ProofMoment::After),
    );
    assert!(failed);
    assert_eq!(bench.ok(Command::Finish), None);
}

#[test]
fn readings_are_voided_and_moved_also_after_the_end() {
    let mut bench = Bench::proved();
    bench.test(0);
    let void = |reason: &str| Command::Void { test: 0, reason: reason.into() };
    assert!(bench.refused(void("")).contains("say why"));
    assert!(bench.refused(Command::Void { test: 1, reason: "x".into() }).contains("no readings"));
    bench.ok(Command::Abandon("the wrong machine".into()));
    bench.changes.clear();
    let (asset, reason) = (named("YT-015/drive"), Text::from("it was YT-015"));
    bench.ok(Command::Move { test: None, asset: asset.clone(), phase: None, reason });
    let moved = bench.changes.iter().filter(|change| {
        matches!(change, Change::Correction(c) if c.kind
            == CorrectionKind::Move { asset: asset.clone(), phase: Phase::new("U").unwrap() })
    });
    assert_eq!(moved.count(), 12);
    assert_eq!(bench.sheet.tests[0].moved, Some((asset, Phase::new("U").unwrap())));
    assert_eq!(bench.sheet.tests[1].moved, None, "it had no readings");
    bench.ok(void("and the clip was off"));
    assert_eq!(bench.sheet.tests[0].voided.as_deref(), Some("and the clip was off"));
    assert!(bench.refused(Command::Finish).contains("has ended"));
}

#[test]
fn the_same_acts_give_the_same_sheet() {
    let mut bench = Bench::proved();
    bench.test(0);
    let again = Sheet::of(bench.sheet.key.clone(), bench.sheet.log.clone()).unwrap();
    assert_eq!(again, bench.sheet);
    let headless = bench.sheet.log[1..].to_vec();
    assert_eq!(Sheet::of(bench.sheet.key.clone(), headless), None);
    assert!(matches!(bench.sheet.log[0].act, Act::Opened { .. }));
}
