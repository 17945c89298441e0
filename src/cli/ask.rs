//! `declining`, `assess`, `history`: what is asked of the store.

use serde::Serialize;

use super::args::{Declining, OneAsset};
use super::chart::{Chart, Dot};
use super::output::{self, Format, ohms};
use super::place::{Place, bar};
use super::registers::limit_words;
use super::{Exit, Failure, note};
use crate::dossier::{Desk, Dossier, Evidence, Group, episodes};
use crate::model::{Bound, Finding, FindingKind, FindingState, LimitMeaning, Verdict};
use crate::store::Reader;
use crate::store::sqlite::SqliteReader;
use crate::trend::{Assessor, CrossingTimes, LineAssessment, NoticeKind};
use crate::visits::{Exclusion, Role};

/// The cautions that stand wherever a verdict could be acted on.
pub(crate) const CAUTION: &str = "This informs; it does not say that anything is safe to touch. \
Testing is for qualified people: the maker's procedure and local rules first.";

/// One row of `declining`.
#[derive(Serialize)]
struct DecliningOut {
    asset: String,
    phase: String,
    finding: &'static str,
    since: String,
    #[serde(flatten)]
    evidence: Evidence,
    state: &'static str,
    reason: String,
}

pub(crate) fn declining(place: &mut Place, ask: Declining) -> Result<Exit, Failure> {
    place.reader()?;
    let mut findings = if place.is_past() { past(place)? } else { present(place)? };
    findings.retain(|f| {
        matches!(f.state, FindingState::Open | FindingState::Acknowledged)
            && (ask.all || f.kind != FindingKind::Watch)
    });
    let mut rows: Vec<DecliningOut> = findings.into_iter().map(row).collect();
    rows.sort_by(|a, b| urgency(a).cmp(&urgency(b)));
    let columns = [
        ("asset", "asset"),
        ("phase", "phase"),
        ("finding", "finding"),
        ("since", "since"),
        ("r40_ohm", "now, at 40 °C"),
        ("limit_ohm", "limit"),
        ("decades_per_year", "decades/year"),
        ("reaches_limit_lower", "at limit from"),
        ("reaches_limit_upper", "to"),
        ("reason", "why"),
    ];
    output::rows(place.format, &columns, &rows, "nothing is declining")?;
    if place.format == Format::Table && !rows.is_empty() {
        note(format!("next: `ohmward assess {}` shows the evidence. {CAUTION}", quoted(&rows[0].asset)));
    }
    let urgent = rows.iter().any(|r| {
        r.finding == FindingKind::Declining.word() || r.finding == FindingKind::BelowLimit.word()
    });
    Ok(if urgent { Exit::NeedsPerson } else { Exit::Done })
}

/// The findings as they stand, after what waits has been assessed.
fn present(place: &mut Place) -> Result<Vec<Finding>, Failure> {
    place.assess_all_pending()?;
    Ok(place.reader()?.findings(None, place.when)?)
}

/// The findings as they would have been: assessed anew from what was there.
fn past(place: &Place) -> Result<Vec<Finding>, Failure> {
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let desk = Desk::new(&reader, place.when, &place.config.assess, &assessor)?;
    let assets = reader.assets(place.when)?;
    let bar = bar("assessing", "assets");
    bar.set_length(assets.len() as u64);
    let mut out = Vec::new();
    for asset in assets {
        out.extend(episodes(&desk.open(&asset.id)?));
        bar.inc(1);
    }
    bar.finish_and_clear();
    Ok(out)
}

fn row(finding: Finding) -> DecliningOut {
    let evidence: Evidence = serde_json::from_str(&finding.evidence).unwrap_or_default();
    DecliningOut {
        asset: finding.asset.to_string(),
        phase: finding.phase.map(|p| p.to_string()).unwrap_or_default(),
        finding: finding.kind.word(),
        since: finding.since.to_string(),
        evidence,
        state: finding.state.word(),
        reason: finding.reason.into(),
    }
}

/// Below the limit first, then by the earliest credible crossing, then by age.
fn urgency(row: &DecliningOut) -> (u8, String, String, String) {
    let rank = match FindingKind::parse(row.finding) {
        Ok(FindingKind::BelowLimit) => 0,
        Ok(FindingKind::Declining | FindingKind::Step) => 1,
        Ok(FindingKind::Watch) => 3,
        _ => 2,
    };
    let late = || "9999".to_owned();
    let crossing = row.evidence.reaches_limit_lower.clone().unwrap_or_else(late);
    (rank, crossing, row.since.clone(), row.asset.clone())
}

fn quoted(asset: &str) -> String {
    if asset.contains([' ', '\'', '"']) { format!("'{asset}'") } else { asset.to_owned() }
}

pub(crate) fn assess(place: &mut Place, one: OneAsset) -> Result<Exit, Failure> {
    let asset = place.known_asset(&one.asset)?;
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let dossier =
        Desk::new(&reader, place.when, &place.config.assess, &assessor)?.open(&asset.id)?;
    match place.format {
        Format::Json => output::json(&AssessOut::of(&dossier))?,
        Format::Csv => {
            let out = AssessOut::of(&dossier);
            output::rows(Format::Csv, LINE_COLUMNS, &out.lines, "")?;
        }
        Format::Table => print(&dossier)?,
    }
    let urgent = matches!(dossier.verdict(), Verdict::Declining | Verdict::BelowLimit);
    Ok(if urgent { Exit::NeedsPerson } else { Exit::Done })
}

/// An assessment as it is printed.
#[derive(Serialize)]
struct AssessOut {
    asset: String,
    kind: String,
    verdict: &'static str,
    insulation: &'static str,
    phases: &'static str,
    limits: Vec<String>,
    lines: Vec<LineOut>,
    findings: Vec<DecliningOut>,
    notices: Vec<String>,
    readings: usize,
    left_out: Vec<LeftOutRow>,
    assumptions: &'static str,
    caution: &'static str,
}

#[derive(Serialize)]
struct LineOut {
    phase: String,
    against: String,
    setup: String,
    test_voltage_v: Option<f64>,
    verdict: &'static str,
    limit_ohm: Option<f64>,
    limit_meaning: Option<&'static str>,
    r40_ohm: Option<f64>,
    r40_lower_ohm: Option<f64>,
    r40_upper_ohm: Option<f64>,
    decades_per_year: Option<f64>,
    decades_per_year_lower: Option<f64>,
    decades_per_year_upper: Option<f64>,
    reaches_limit_lower: Option<String>,
    reaches_limit: Option<String>,
    reaches_limit_upper: Option<String>,
    probability: Option<f64>,
    n_measured: usize,
    n_over: usize,
    n_under: usize,
    last_ohm: Option<f64>,
    last_bound: Option<&'static str>,
    last_taken_at: Option<String>,
}

#[derive(Serialize)]
struct LeftOutRow {
    reading: String,
    taken_at: String,
    phase: String,
    why: String,
}

const LINE_COLUMNS: &[output::Column] = &[
    ("phase", "phase"),
    ("verdict", "verdict"),
    ("last_bound", ""),
    ("last_ohm", "last, as read"),
    ("r40_ohm", "at 40 °C"),
    ("r40_lower_ohm", "from"),
    ("r40_upper_ohm", "to"),
    ("decades_per_year", "decades/year"),
    ("n_measured", "measured"),
    ("n_over", "over-range"),
    ("probability", "P(act)"),
];

/// What the numbers rest on; said wherever they are read.
const ASSUMPTIONS: &str = "Probabilities and intervals hold under the detector's model (a level \
that may start to fall at any time, readings scattered about it, temperature by the class of \
insulation) and were checked on simulated fleets only; DEVELOPERS.md has the rates of false and \
missed findings.";

impl AssessOut {
    fn of(dossier: &Dossier) -> Self {
        AssessOut {
            asset: dossier.asset.id.to_string(),
            kind: dossier.asset.kind.to_string(),
            verdict: dossier.verdict().word(),
            insulation: dossier.asset.insulation.word(),
            phases: dossier.asset.joining.word(),
            limits: dossier.asset.limits().map(|l| limit_words(&l)).collect(),
            lines: dossier
                .groups
                .iter()
                .flat_map(|g| g.assessment.lines.iter().map(|l| line_out(g, l)))
                .collect(),
            findings: episodes(dossier).into_iter().map(row).collect(),
            notices: dossier.groups.iter().flat_map(notices).collect(),
            readings: dossier.entries.len(),
            left_out: dossier
                .left_out()
                .map(|e| LeftOutRow {
                    reading: e.judged.corrected.id.to_string(),
                    taken_at: e.judged.corrected.reading.taken_at.to_string(),
                    phase: e.judged.corrected.reading.series.phase.to_string(),
                    why: role_words(&e.judged.role),
                })
                .collect(),
            assumptions: ASSUMPTIONS,
            caution: CAUTION,
        }
    }
}

fn line_out(group: &Group, line: &LineAssessment) -> LineOut {
    let power = |v: f64| 10f64.powf(v);
    let time = |t: Option<crate::model::Stamp>| t.map(|t| t.to_string());
    LineOut {
        phase: line.series.phase.to_string(),
        against: line.series.against.to_string(),
        setup: group.setup.to_string(),
        test_voltage_v: group.test_voltage.map(|v| v.get()),
        verdict: line.verdict.word(),
        limit_ohm: line.limit.map(|l| l.ohms),
        limit_meaning: line.limit.map(|l| l.meaning.word()),
        r40_ohm: line.level.map(|l| power(l.mid)),
        r40_lower_ohm: line.level.map(|l| power(l.lower)),
        r40_upper_ohm: line.level.map(|l| power(l.upper)),
        decades_per_year: line.decades_per_year.map(|d| d.mid),
        decades_per_year_lower: line.decades_per_year.map(|d| d.lower),
        decades_per_year_upper: line.decades_per_year.map(|d| d.upper),
        reaches_limit_lower: time(line.crossing.lower),
        reaches_limit: time(line.crossing.mid),
        reaches_limit_upper: time(line.crossing.upper),
        probability: line.probability,
        n_measured: line.n_measured,
        n_over: line.n_over,
        n_under: line.n_under,
        last_ohm: line.last.as_ref().map(|p| power(p.log_ohm)),
        last_bound: line.last.as_ref().map(|p| p.bound.word()),
        last_taken_at: line.last.as_ref().map(|p| p.taken_at.to_string()),
    }
}

fn notices(group: &Group) -> Vec<String> {
    let words = |kind: &NoticeKind| match kind {
        NoticeKind::Repeat => "one low value alone: repeat this test".to_owned(),
        NoticeKind::UnrecordedRepair => {
            "the level rose and stayed: was something done that is not recorded? (`ohmward event add`)"
                .to_owned()
        }
        NoticeKind::TemperatureTaken(what) => format!("no temperature was recorded: {what}"),
    };
    let detection = &group.assessment.detection;
    detection
        .notices
        .iter()
        .map(|n| {
            let phase = n.phase.as_ref().map(|p| format!(" {p}")).unwrap_or_default();
            format!("{}{phase}: {}", n.at.date(), words(&n.kind))
        })
        .collect()
}

/// The assessment for a person: verdict, chart, numbers, what was left out and why.
fn print(dossier: &Dossier) -> Result<(), Failure> {
    let asset = &dossier.asset;
    let limits: Vec<String> = asset.limits().map(|l| limit_words(&l)).collect();
    output::line(format!("{}: {}", asset.id, dossier.verdict().word().to_uppercase()))?;
    output::line(format!(
        "{}, insulation {}, phases {}, limit {}",
        asset.kind,
        asset.insulation,
        asset.joining,
        if limits.is_empty() { "none".to_owned() } else { limits.join(" and ") }
    ))?;
    if dossier.groups.is_empty() {
        output::line("no readings count yet")?;
    }
    for group in &dossier.groups {
        let volts = group.test_voltage.map_or("voltage not stated".into(), |v| format!("{} V", v.get()));
        let setup = if group.setup.is_empty() { String::new() } else { format!(", {}", group.setup) };
        let against = if group.against_case { "to case" } else { "between phases" };
        output::line(format!("\n{against} at {volts}{setup}"))?;
        for line in chart(group).draw() {
            output::line(line)?;
        }
        let lines: Vec<LineOut> =
            group.assessment.lines.iter().map(|l| line_out(group, l)).collect();
        output::rows(Format::Table, LINE_COLUMNS, &lines, "")?;
        for line in &group.assessment.lines {
            output::line(format!("  {}: {}", line.series.phase, in_words(line)))?;
        }
        for notice in notices(group) {
            output::line(format!("  note: {notice}"))?;
        }
    }
    let findings = episodes(dossier);
    if !findings.is_empty() {
        output::line("\nfindings")?;
    }
    for f in &findings {
        let phase = f.phase.as_ref().map(|p| format!(" {p}")).unwrap_or_default();
        let end = f.until.map(|t| format!(" to {}", t.date())).unwrap_or_default();
        output::line(format!("  {} since {}{end}{phase}: {}", f.kind, f.since.date(), f.reason))?;
    }
    let left_out: Vec<_> = dossier.left_out().collect();
    if !left_out.is_empty() {
        output::line(format!("\nleft out of the trend: {} readings", left_out.len()))?;
    }
    for entry in left_out.iter().take(10) {
        let c = &entry.judged.corrected;
        output::line(format!(
            "  {} {} {}: {}",
            c.id,
            c.reading.taken_at.date(),
            c.reading.series.phase,
            role_words(&entry.judged.role)
        ))?;
    }
    output::line(format!("\n{ASSUMPTIONS}\n{CAUTION}"))?;
    Ok(())
}

fn chart(group: &Group) -> Chart<'static> {
    let dots = group
        .case
        .lines
        .iter()
        .flat_map(|line| {
            let letter = line.series.phase.as_str().chars().next_back().unwrap_or('?');
            line.points.iter().map(move |p| Dot {
                at: p.taken_at,
                log_ohm: p.log_ohm,
                bound: p.bound,
                letter,
            })
        })
        .collect();
    let limits = group.case.asset.limits();
    let name = |meaning: LimitMeaning| match meaning {
        LimitMeaning::At40 => "limit (40 °C)",
        LimitMeaning::AsRead => "limit",
        LimitMeaning::Isolation { .. } => "isolation",
    };
    Chart {
        dots,
        limits: limits.map(|l| (l.ohms, name(l.meaning))).collect(),
        events: group.case.events.iter().map(|e| (e.at, e.kind.word().to_owned())).collect(),
        size: (64, 14),
    }
}

/// The state of a line in a sentence: what is known, how surely, and why there is no date.
fn in_words(line: &LineAssessment) -> String {
    let n = line.n_measured + line.n_over + line.n_under;
    let lowest_bound = match &line.last {
        Some(p) if p.bound == Bound::Over => {
            format!("last above {}", ohms(10f64.powf(p.log_ohm)))
        }
        Some(p) if p.bound == Bound::Under => {
            format!("last below {}", ohms(10f64.powf(p.log_ohm)))
        }
        Some(p) => format!("last {}", ohms(10f64.powf(p.log_ohm))),
        None => return "no readings".into(),
    };
    let date = match (line.verdict, line.crossing) {
        (Verdict::BelowLimit, _) => "it is below the limit now".to_owned(),
        (Verdict::Declining | Verdict::Watch, CrossingTimes { lower: Some(a), upper: Some(b), .. }) => {
            format!("the trend reaches the limit between {} and {}", a.date(), b.date())
        }
        (Verdict::Declining | Verdict::Watch, CrossingTimes { lower: Some(a), .. }) => {
            format!("the trend reaches the limit from {} on, with an open end", a.date())
        }
        (Verdict::Declining | Verdict::Watch, _) => {
            "no date can be given: the trend does not reach the limit within the horizon".to_owned()
        }
        (Verdict::TooFew, _) => "no date can be given: too few visits".to_owned(),
        (Verdict::Steady, _) if line.n_measured == 0 => {
            "every visit was over-range: no slope and no date".to_owned()
        }
        (Verdict::Steady, _) => "no decline to be seen, so no date".to_owned(),
    };
    let visits = if n == 1 { "1 visit".to_owned() } else { format!("{n} visits") };
    format!("{}, {visits}, {lowest_bound}; {date}", line.verdict)
}

/// One row of `history`.
#[derive(Serialize)]
struct HistoryOut {
    reading: String,
    taken_at: String,
    phase: String,
    against: String,
    setup: String,
    test_voltage_v: Option<f64>,
    bound: &'static str,
    resistance_ohm: f64,
    delivered_voltage_v: Option<f64>,
    duration_s: Option<f64>,
    temperature_c: Option<f64>,
    temperature_of: Option<&'static str>,
    tester: String,
    operator: String,
    visit: Option<usize>,
    used: String,
    result: String,
    recorded_at: String,
    from: String,
    remark: String,
}

pub(crate) fn history(place: &mut Place, one: OneAsset) -> Result<Exit, Failure> {
    let asset = place.known_asset(&one.asset)?;
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let dossier =
        Desk::new(&reader, place.when, &place.config.assess, &assessor)?.open(&asset.id)?;
    let mut sources = Sources { reader: &reader, names: Default::default() };
    let mut rows = Vec::with_capacity(dossier.entries.len());
    for entry in &dossier.entries {
        let c = &entry.judged.corrected;
        let r = &c.reading;
        let result: Vec<String> = entry
            .outcomes
            .iter()
            .map(|(limit, outcome)| {
                let why = outcome.reason();
                let why = if why.is_empty() { String::new() } else { format!(" ({why})") };
                format!("{} {}{why}", outcome.word(), limit_words(limit))
            })
            .collect();
        rows.push(HistoryOut {
            reading: c.id.to_string(),
            taken_at: r.taken_at.to_string(),
            phase: r.series.phase.to_string(),
            against: r.series.against.to_string(),
            setup: r.series.setup.to_string(),
            test_voltage_v: r.series.test_voltage.map(|v| v.get()),
            bound: r.bound.word(),
            resistance_ohm: r.ohms,
            delivered_voltage_v: r.delivered_voltage_v,
            duration_s: r.duration_s,
            temperature_c: r.temperature_c,
            temperature_of: r.temperature_of.map(|t| t.word()),
            tester: r.tester.to_string(),
            operator: r.operator.to_string(),
            visit: entry.judged.visit,
            used: used(entry),
            result: result.join("; "),
            recorded_at: entry.recorded_at.to_string(),
            from: sources.name(c.id.batch)?,
            remark: r.remark.to_string(),
        });
    }
    let columns = [
        ("reading", "reading"),
        ("taken_at", "taken"),
        ("phase", "phase"),
        ("bound", ""),
        ("resistance_ohm", "resistance"),
        ("temperature_c", "°C"),
        ("tester", "tester"),
        ("used", "in the trend"),
        ("result", "result"),
        ("from", "from"),
    ];
    output::rows(place.format, &columns, &rows, "no readings")?;
    Ok(Exit::Done)
}

fn used(entry: &crate::dossier::Entry) -> String {
    let c = &entry.judged.corrected;
    let mut words = role_words(&entry.judged.role);
    if let Some(from) = &c.moved_from {
        words.push_str(&format!(", moved from {} {}", from.asset, from.phase));
    }
    if let Some(why) = &c.overruled {
        words.push_str(&format!(", proof overruled: {why}"));
    }
    words
}

/// What was done with a reading, in words.
fn role_words(role: &Role) -> String {
    match role {
        Role::Counts => "counts".into(),
        Role::Timed => "same test, another duration".into(),
        Role::Retested => "replaced by a retest".into(),
        Role::LeftOut(Exclusion::Voided(why)) => format!("left out: void ({why})"),
        Role::LeftOut(Exclusion::ProofFailed(at)) => {
            format!("left out: a proof of its tester failed on {}", at.date())
        }
        Role::LeftOut(Exclusion::VoltageSagged) => {
            "left out: the voltage sagged, so a high value means little".into()
        }
    }
}

/// Names of batches, each asked for once.
struct Sources<'a> {
    reader: &'a SqliteReader,
    names: std::collections::HashMap<u64, String>,
}

impl Sources<'_> {
    fn name(&mut self, batch: u64) -> Result<String, Failure> {
        if let Some(name) = self.names.get(&batch) {
            return Ok(name.clone());
        }
        let name = self.reader.batch(batch)?.map(|b| b.source.name.to_string()).unwrap_or_default();
        self.names.insert(batch, name.clone());
        Ok(name)
    }
}
