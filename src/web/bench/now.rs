//! What comes next on a sheet: what to do, what the form begins with, what the tester shows.

use super::form::Fields;
use super::look::Look;
use crate::bench::{LiveValue, Point, Settings, Sheet, Watched, discharge_s, words};
use crate::model::{GearKind, Joining, ProofKind, Stamp};
use crate::standards::machine;

/// The next point with its form.
pub(super) struct Now {
    /// The key of the point.
    pub(super) key: String,
    /// Which form it has.
    pub(super) form: &'static str,
    /// The point in words, and with a capital.
    pub(super) words: String,
    pub(super) title: String,
    pub(super) text: String,
    /// A hint below the text; may be empty.
    pub(super) hint: String,
    /// Whether it may be left out, and what the button says.
    pub(super) skip: Option<&'static str>,
    /// The key of the point that leaving out means.
    pub(super) skip_key: String,
    pub(super) plan: PlanForm,
    pub(super) testers: Vec<GearOption>,
    pub(super) parts: Vec<GearOption>,
    pub(super) tester: String,
    pub(super) expected: String,
    pub(super) live: Option<LiveView>,
    /// Seconds of the test so far and of the plan, or of the discharge; none where nothing runs.
    pub(super) count: Option<Count>,
}

/// What the plan's form begins with.
#[derive(Default)]
pub(super) struct PlanForm {
    pub(super) phases: String,
    pub(super) setup: String,
    pub(super) voltage: String,
    pub(super) rated: String,
    pub(super) operator: String,
    pub(super) celsius: String,
    pub(super) of: String,
    pub(super) humidity: String,
}

/// A piece of gear to choose.
pub(super) struct GearOption {
    pub(super) id: String,
    pub(super) words: String,
    pub(super) chosen: bool,
}

/// The last value of the stream.
pub(super) struct LiveView {
    pub(super) value: String,
    pub(super) seconds: String,
}

/// Something that runs for a time.
pub(super) struct Count {
    pub(super) left: String,
    pub(super) left_s: f64,
    pub(super) of: String,
    pub(super) is_over: bool,
}

impl LiveView {
    pub(super) fn of(live: &LiveValue) -> Self {
        let seconds = live.seconds.map(|s| format!("after {s} s")).unwrap_or_default();
        LiveView { value: words::value(&live.value), seconds }
    }
}

impl Count {
    fn of(passed_s: f64, whole_s: f64) -> Self {
        let left_s = (whole_s - passed_s).max(0.0);
        let (left, of) = (words::seconds(left_s), words::seconds(whole_s));
        Count { left, left_s, of, is_over: left_s <= 0.0 }
    }
}

/// What a countdown is counted from.
pub(super) struct Timing<'a> {
    pub(super) watched: &'a Watched,
    /// Seconds of discharge that the asset or its class states.
    pub(super) stated_s: Option<u32>,
    pub(super) settings: &'a Settings,
    pub(super) now: Stamp,
}

/// What runs at a station: the test under way, or a discharge.
pub(super) fn count(timing: &Timing<'_>, sheet: &Sheet) -> Option<Count> {
    let Timing { watched, stated_s, settings, now } = *timing;
    let since = |at: Stamp| now.micros().saturating_sub(at.micros()).max(0) as f64 / 1e6;
    match sheet.next()? {
        Point::Test(_) => {
            sheet.under_way()?;
            let rated_s = sheet.plan.as_ref()?.rated_s;
            let told = watched.test.iter().rev().find_map(|v| Some((v.at, v.seconds?)));
            let passed = match (told, watched.started) {
                (Some((at, seconds)), _) => seconds + since(at),
                (None, Some(at)) => since(at),
                (None, None) => return None,
            };
            Some(Count::of(passed, rated_s))
        }
        Point::Discharge(test) => {
            let (at, applied_s) = sheet.tests.get(test)?.attempt()?.ended?;
            Some(Count::of(since(at), discharge_s(stated_s, applied_s, settings)))
        }
        _ => None,
    }
}

impl Now {
    pub(super) fn of(look: &Look, sheet: &Sheet, fields: &Fields, who: &str) -> Option<Now> {
        let point = sheet.next()?;
        let live = look.watched.last.filter(|live| live.at > sheet.since());
        let mut now = Now {
            key: point.key(),
            form: "confirm",
            words: words::point(sheet, point),
            title: capital(&words::point(sheet, point)),
            text: text(look, sheet, point),
            hint: String::new(),
            skip: None,
            skip_key: point.key(),
            plan: PlanForm::default(),
            testers: gear(look, fields, &[GearKind::Tester]),
            parts: gear(look, fields, &PARTS),
            tester: String::new(),
            expected: String::new(),
            live: live.as_ref().map(LiveView::of),
            count: count(&look.timing(), sheet),
        };
        match point {
            Point::Plan => {
                now.form = "plan";
                now.plan = plan(look, sheet, fields, who);
                now.hint = hint(look, sheet);
            }
            Point::Gear => {
                now.form = "gear";
                now.tester = fields.or("tester", look.station.setup.tester.to_string());
            }
            Point::Isolated => {}
            Point::SourceBefore | Point::SourceAfter => {
                now.form = "source";
                let last = sheet.sources.last().map(|source| source.2.to_string());
                now.expected = fields.or("expected_v", last.unwrap_or_default());
                now.skip = Some("Leave the source out");
            }
            Point::Voltage => now.form = "voltage",
            Point::Disconnected => now.skip = Some("Leave out"),
            Point::Proof(_, kind) => {
                now.form = "prove";
                now.skip = Some("Leave this check out");
                if kind == ProofKind::KnownResistance {
                    now.form = "known";
                    now.expected = fields.or("expected_ohm", known(look, sheet));
                }
                if sheet.has_failed() {
                    now.skip = None;
                    now.hint =
                        "The last try failed and is kept. Look at leads, clips and battery, \
                                then repeat it; or end the sheet and take another tester."
                            .into();
                }
            }
            Point::Contact(test) => {
                now.skip = Some("Leave this phase out");
                now.skip_key = Point::Test(test).key();
            }
            Point::Test(_) => {
                now.form = if sheet.under_way().is_some() { "running" } else { "begin" };
                if now.form == "running" && look.watched.is_in_doubt {
                    now.hint = "The seconds of this test began anew, by a restart or at the \
                                tester: release, discharge, and repeat it."
                        .into();
                }
                now.skip = (now.form == "begin").then_some("Leave this phase out");
            }
            Point::Discharge(_) => {
                now.form = "discharge";
                now.skip = Some("End the discharge early");
            }
            Point::Finish => now.form = "finish",
        }
        Some(now)
    }
}

/// What may be chosen beside the tester.
const PARTS: [GearKind; 5] = [
    GearKind::Lead,
    GearKind::Gloves,
    GearKind::KnownSource,
    GearKind::KnownResistance,
    GearKind::Other,
];

fn gear(look: &Look, fields: &Fields, kinds: &[GearKind]) -> Vec<GearOption> {
    let all = look.gear.iter().filter(|gear| kinds.contains(&gear.kind));
    let option = |gear: &crate::model::Gear| {
        let volts = gear.rated_voltage_v.map(|volts| format!("{volts} V"));
        let due = gear.due.filter(|due| *due < look.now).map(|due| format!("due {}", due.date()));
        let mut parts = vec![gear.kind.to_string()];
        parts.extend(Some(gear.category.to_string()).filter(|c| !c.is_empty()));
        parts.extend(volts.into_iter().chain(due));
        GearOption {
            id: gear.id.to_string(),
            words: parts.join(", "),
            chosen: fields.all("part").iter().any(|id| gear.id == *id),
        }
    };
    all.map(option).collect()
}

fn plan(look: &Look, sheet: &Sheet, fields: &Fields, who: &str) -> PlanForm {
    let last = look.last.as_ref();
    let phases = match (last, sheet.joining) {
        (Some(last), _) if !last.phases.is_empty() => {
            last.phases.iter().map(|phase| phase.as_str()).collect::<Vec<_>>().join(", ")
        }
        (_, Joining::Tied) => "all".into(),
        _ => "U, V, W".into(),
    };
    let volts = look
        .station
        .setup
        .test_voltage_v
        .or_else(|| last.and_then(|last| last.test_voltage_v))
        .map(|volts| volts.to_string());
    PlanForm {
        phases: fields.or("phases", phases),
        setup: fields.or("setup", last.map(|last| last.setup.to_string()).unwrap_or_default()),
        voltage: fields.or("test_voltage_v", volts.unwrap_or_default()),
        rated: fields.or("rated_s", look.rated_s.to_string()),
        operator: fields.or("operator", who),
        celsius: fields.or("temperature_c", ""),
        of: fields.or("temperature_of", "winding"),
        humidity: fields.or("humidity_pct", ""),
    }
}

/// What the standard says of the test voltage, and what tied phases mean.
fn hint(look: &Look, sheet: &Sheet) -> String {
    let mut hints = Vec::new();
    if let Some(rated) = look.asset.as_ref().and_then(|asset| asset.rated_voltage_v) {
        let (low, high) = machine::test_voltage(rated);
        let range = if low == high { format!("{low} V") } else { format!("{low} to {high} V") };
        hints.push(format!(
            "IEEE Std 43 tests a winding rated {rated} V at {range}; the maker's procedure goes first."
        ));
    }
    match sheet.joining {
        Joining::Tied => hints.push(
            "Its phases are joined inside: one test “all” sees them together, and three tests see \
             the same insulation three times."
                .into(),
        ),
        Joining::Unknown => hints.push(
            "Whether its phases are joined inside is not known: a star without accessible neutral \
             or a delta is one test “all”."
                .into(),
        ),
        Joining::Separable => {}
    }
    hints.join(" ")
}

/// The value of the known resistance: as on this sheet before, or as its register row says.
fn known(look: &Look, sheet: &Sheet) -> String {
    let before = sheet.proofs.iter().rev().find_map(|(_, proved)| proved.expected_ohm);
    let chosen = |gear: &&crate::model::Gear| {
        gear.kind == GearKind::KnownResistance
            && sheet.gear.as_ref().is_some_and(|set| set.parts.contains(&gear.id))
    };
    let registered = || {
        let gear = look.gear.iter().find(chosen)?;
        match ohmward_parsers::read_resistance(&gear.remark) {
            Ok(ohmward_parsers::Resistance::Measured(ohms)) => Some(ohms),
            _ => None,
        }
    };
    before.or_else(registered).map(crate::trend::words::ohms).unwrap_or_default()
}

fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map(|c| c.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

/// What to do, in our own words from the trade's practice.
fn text(look: &Look, sheet: &Sheet, point: Point) -> String {
    let phase = |test: usize| sheet.tests[test].phase.to_string();
    let starts_itself = look.station.setup.starts_itself;
    match point {
        Point::Plan => {
            "A value belongs on one line only with values measured in the same way: same \
                        setup, same test voltage, same time."
                .into()
        }
        Point::Gear => "Rated gloves, and leads with a category and voltage for this place. The \
                        weakest part decides what the set is good for."
            .into(),
        Point::Isolated => "Switch off, isolate on all poles, lock and tag. Confirm only what you \
                            have done or seen yourself."
            .into(),
        Point::SourceBefore => "With this gear, look at a source whose voltage you know, in the \
                                function that you will use at the part."
            .into(),
        Point::Voltage => "At the part: every conductor against every other and against the case. \
                           Enter the highest voltage read. It stands here as reported, and says \
                           nothing of touching."
            .into(),
        Point::SourceAfter => "The same source once more: it shows that the tester still worked \
                               while you looked at the part."
            .into(),
        Point::Disconnected => "Disconnect inverter, sensors, surge protection and whatever else \
                                the test voltage can harm, and note it in the setup."
            .into(),
        Point::Proof(_, ProofKind::Open) => "Leads apart in the air, test voltage on. The tester \
                                             has to read over-range."
            .into(),
        Point::Proof(_, ProofKind::Shorted) => "Leads clipped to each other, test voltage on. The \
                                                tester has to read the bottom of its range."
            .into(),
        Point::Proof(..) => format!(
            "Leads on a resistance whose value you know. The reading has to be within {:.0} % of it.",
            100.0 * look.settings.tolerance
        ),
        Point::Contact(test) => format!(
            "One lead on {}, the other on bare metal of the case, the rest as the setup says. \
             Through paint or rust even bad insulation reads well: look, and rub the clip in.{}",
            phase(test),
            if starts_itself {
                " From the confirmation on, values belong to this phase."
            } else {
                ""
            }
        ),
        Point::Test(test) if sheet.under_way().is_none() => {
            format!(
                "Press this button and the tester's together: from then on values belong to {}.",
                phase(test)
            )
        }
        Point::Test(test) => format!(
            "Start the test at the tester and keep everybody clear. Values belong to {} until you \
             release it.",
            phase(test)
        ),
        Point::Discharge(test) => format!(
            "Leave the leads on {} and let the tester discharge it, or ground it as your procedure \
             says; disconnect nothing before. Absorbed charge comes back: measure what remains.",
            phase(test)
        ),
        Point::Finish => "All points are answered. Finishing closes the sheet; readings can still \
                          be moved or voided later."
            .into(),
    }
}
