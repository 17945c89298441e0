//! What a test has given, at once: beside each limit, beside what the asset's history predicts at
//! this temperature, and in words what to do about it.

use super::act::Value;
use super::readings;
use super::sheet::Sheet;
use crate::dossier::words::{line_words, role_words};
use crate::dossier::{self, Desk, Dossier, DossierError};
use crate::model::{
    AssetId, Bound, Limit, Outcome, Phase, ReadingId, Series, Stamp, TemperatureOf, Text, Verdict,
};
use crate::store::{Reader, When};
use crate::trend::{Assessor, LineAssessment};
use crate::visits::{Doubt, Exclusion, Role, suspicions};

/// What one test of a sheet has given.
#[derive(Clone, Debug, PartialEq)]
pub struct TestResult {
    /// Its place in the plan.
    pub test: usize,
    /// The asset that its readings belong to now.
    pub asset: AssetId,
    /// The phase that they belong to now.
    pub phase: Phase,
    /// How many there are.
    pub readings: usize,
    /// The one that stands for the test.
    pub shown: Shown,
    /// What it says against each limit.
    pub outcomes: Vec<(Limit, Outcome)>,
    /// What is in doubt about it.
    pub doubts: Vec<Doubt>,
    /// What was expected; none where the history gives no number.
    pub expected: Option<Expected>,
    /// The last value before this sheet, and how many visits there were.
    pub before: Option<(Value, Stamp, usize)>,
    /// What to make of it.
    pub says: Says,
    /// What the detector says of the series now, with this reading in it.
    pub verdict: Verdict,
    /// The same in a sentence.
    pub state: String,
}

/// A reading that stands for its test.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// Its id.
    pub id: ReadingId,
    /// What was read.
    pub value: Value,
    /// After so many seconds.
    pub seconds: Option<f64>,
    /// Volts delivered.
    pub delivered_v: Option<f64>,
    /// The nominal test voltage.
    pub test_voltage_v: Option<f64>,
    /// Temperature in °C and what it is of.
    pub temperature: Option<(f64, Option<TemperatureOf>)>,
    /// Why it is left out of the trend, if it is.
    pub left_out: Option<String>,
}

/// What the history of a series predicts for a reading, with 90 % between the ends; ohms as read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Lower end.
    pub lower: f64,
    /// Middle.
    pub mid: f64,
    /// Upper end.
    pub upper: f64,
    /// At this temperature in °C.
    pub celsius: f64,
    /// The temperature was not recorded and is taken from other readings.
    pub taken_from_others: bool,
}

/// What to make of a result.
#[derive(Clone, Debug, PartialEq)]
pub enum Says {
    /// As the history predicts.
    AsExpected,
    /// There is no history yet.
    First,
    /// To be repeated, and why.
    Repeat(String),
    /// The detector's verdict asks for attention.
    Verdict(Verdict),
    /// It does not count, and why.
    Invalid(String),
}

impl Says {
    /// In words.
    pub fn words(&self) -> String {
        match self {
            Says::AsExpected => "as expected".into(),
            Says::First => "nothing to compare with yet".into(),
            Says::Repeat(why) => format!("repeat this test: {why}"),
            Says::Verdict(verdict) => verdict.to_string(),
            Says::Invalid(why) => format!("does not count: {why}"),
        }
    }
}

/// What each test of a sheet has given so far; tests without readings are not among them.
///
/// # Errors
/// When the store cannot be read.
pub fn results(
    reader: &dyn Reader,
    sheet: &Sheet,
    settings: &dossier::Settings,
    assessor: &Assessor,
) -> Result<Vec<TestResult>, DossierError> {
    let of_tests = readings::of_tests(reader, sheet)?;
    if of_tests.iter().all(Vec::is_empty) {
        return Ok(Vec::new());
    }
    let before = Stamp::from_micros(sheet.key.opened.micros() - 1);
    let before = When { as_of: before, known_at: Stamp::MAX };
    let now = Desk::new(reader, When::ALWAYS, settings, assessor)?;
    let then = Desk::new(reader, before, settings, assessor)?;
    let temperatures = dossier::context(reader)?.temperatures;
    let mut opened: Vec<(AssetId, Dossier, Option<Dossier>)> = Vec::new();
    let mut out = Vec::new();
    for (test, ids) in of_tests.iter().enumerate() {
        let of = &sheet.tests[test];
        let (asset, phase) = match &of.moved {
            Some((asset, phase)) => (asset, phase),
            None => (&sheet.asset, &of.phase),
        };
        if !opened.iter().any(|(id, ..)| id == asset) {
            let history = match then.open(asset) {
                Ok(dossier) => Some(dossier),
                // It was not known before this sheet.
                Err(DossierError::NoAsset(_)) => None,
                Err(e) => return Err(e),
            };
            opened.push((asset.clone(), now.open(asset)?, history));
        }
        let Some((_, dossier, history)) = opened.iter().find(|(id, ..)| id == asset) else {
            continue;
        };
        let Some(entry) = standing(dossier, ids) else { continue };
        let reading = &entry.judged.corrected.reading;
        let line = line(dossier, &reading.series);
        let earlier = history.as_ref().and_then(|history| self::line(history, &reading.series));
        let temperature_sd = match reading.temperature_of {
            Some(TemperatureOf::Winding) => settings.visits.winding_sd,
            Some(TemperatureOf::Ambient) => settings.visits.ambient_sd,
            None => settings.visits.unstated_sd,
        };
        let (celsius, sd) = match reading.temperature_c {
            Some(celsius) => (celsius, temperature_sd),
            None => temperatures.estimate(reading.taken_at, &reading.station),
        };
        let expected = earlier.and_then(|line| line.habit).map(|habit| {
            let log = habit.expected(reading.taken_at, celsius, sd);
            Expected {
                lower: 10f64.powf(log.lower),
                mid: 10f64.powf(log.mid),
                upper: 10f64.powf(log.upper),
                celsius,
                taken_from_others: reading.temperature_c.is_none(),
            }
        });
        let last = earlier.and_then(|line| {
            let last = line.last.as_ref()?;
            let value = Value { ohms: 10f64.powf(last.log_ohm), bound: last.bound };
            Some((value, last.taken_at, line.n_measured + line.n_over + line.n_under))
        });
        let left_out = match &entry.judged.role {
            role @ Role::LeftOut(_) => Some(role_words(role)),
            _ => None,
        };
        let shown = Shown {
            id: entry.judged.corrected.id,
            value: Value { ohms: reading.ohms, bound: reading.bound },
            seconds: reading.duration_s,
            delivered_v: reading.delivered_voltage_v,
            test_voltage_v: reading.series.test_voltage.map(|v| v.get()),
            temperature: reading.temperature_c.map(|c| (c, reading.temperature_of)),
            left_out,
        };
        let verdict = line.map_or(Verdict::TooFew, |line| line.verdict);
        let says = says(&shown, entry, expected, last.map(|l| l.0), verdict, ids.len() > 1);
        out.push(TestResult {
            test,
            asset: asset.clone(),
            phase: phase.clone(),
            readings: ids.len(),
            shown,
            outcomes: entry.outcomes.clone(),
            doubts: entry.doubts.clone(),
            expected,
            before: last,
            says,
            verdict,
            state: line.map(line_words).unwrap_or_default(),
        });
    }
    Ok(out)
}

/// The reading that stands for a test: the one that counts, else the last one that was timed.
fn standing<'d>(
    dossier: &'d Dossier,
    ids: &[(ReadingId, Option<f64>)],
) -> Option<&'d dossier::Entry> {
    let own = |entry: &&dossier::Entry| ids.iter().any(|(id, _)| *id == entry.judged.corrected.id);
    let mut all: Vec<&dossier::Entry> = dossier.entries.iter().filter(own).collect();
    let counts = all.iter().rposition(|entry| entry.judged.role == Role::Counts);
    match counts {
        Some(i) => Some(all.swap_remove(i)),
        None => all.pop(),
    }
}

fn line<'d>(dossier: &'d Dossier, series: &Series) -> Option<&'d LineAssessment> {
    let lines = dossier.groups.iter().flat_map(|group| &group.assessment.lines);
    lines.into_iter().find(|line| *line.series == *series)
}

/// What to make of a result. A low one comes first, whatever else is to be said of it.
fn says(
    shown: &Shown,
    entry: &dossier::Entry,
    expected: Option<Expected>,
    last: Option<Value>,
    verdict: Verdict,
    timed: bool,
) -> Says {
    let repeat = |why: &str| Says::Repeat(why.to_owned());
    match &entry.judged.role {
        Role::LeftOut(Exclusion::VoltageSagged) => return repeat("the voltage sagged"),
        Role::LeftOut(_) => {
            let words = shown.left_out.clone().unwrap_or_default();
            return Says::Invalid(words.trim_start_matches("left out: ").to_owned());
        }
        _ => {}
    }
    if entry.outcomes.iter().any(|(_, outcome)| *outcome == Outcome::Below) {
        return match verdict {
            Verdict::BelowLimit => Says::Verdict(verdict),
            _ => repeat("it is below a limit, and one value alone is not sure"),
        };
    }
    if entry.doubts.contains(&Doubt::Duration) {
        return repeat(match timed {
            true => "it did not come to the rated time",
            false => "it was not measured for the rated time",
        });
    }
    let Value { ohms, bound } = shown.value;
    match (expected, last) {
        (Some(expected), _) if bound != Bound::Over && ohms < expected.lower => {
            return repeat("lower than its history predicts");
        }
        (Some(expected), _) if bound != Bound::Under && ohms > expected.upper => {
            return repeat("higher than its history predicts; look at the contact first");
        }
        (None, Some(last)) if bound == Bound::Measured && ohms < last.ohms => {
            return repeat("on scale, and the last value was over-range above it");
        }
        _ => {}
    }
    match (verdict, expected.is_some() || last.is_some()) {
        (Verdict::Watch | Verdict::Declining | Verdict::BelowLimit, _) => Says::Verdict(verdict),
        (_, true) => Says::AsExpected,
        (_, false) => Says::First,
    }
}

/// What a failed check after the tests did to readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// What failed, as the sheet has it.
    pub proof: Text,
    /// From when on the readings of the tester don't count.
    pub from: Stamp,
    /// Up to when; more may come until it is proved again.
    pub to: Stamp,
    /// Whether a later good check ends it.
    pub proved: bool,
    /// The assets concerned with the readings made on them, this sheet's own first.
    pub assets: Vec<(AssetId, usize)>,
}

/// What the failed checks of a sheet did: to its own readings and to those of other assets.
///
/// # Errors
/// When the store cannot be read.
pub fn effects(
    reader: &dyn Reader,
    sheet: &Sheet,
    settings: &dossier::Settings,
) -> Result<Vec<Effect>, DossierError> {
    let Some(gear) = &sheet.gear else { return Ok(Vec::new()) };
    if sheet.failed_after().next().is_none() {
        return Ok(Vec::new());
    }
    let rows = reader.proofs(Some(&gear.tester), When::ALWAYS)?;
    let proofs: Vec<_> = rows.into_iter().map(|row| row.value).collect();
    let mut out = Vec::new();
    for suspicion in suspicions(&proofs, &settings.visits) {
        let own = sheet.log.iter().any(|entry| entry.at == suspicion.proof.at);
        if !own || suspicion.proof.moment != crate::model::ProofMoment::After {
            continue;
        }
        let mut assets: Vec<(AssetId, usize)> = Vec::new();
        for (asset, _) in reader.uses_of_tester(&gear.tester, suspicion.from, suspicion.to)? {
            match assets.iter_mut().find(|(id, _)| *id == asset) {
                Some((_, n)) => *n += 1,
                None => assets.push((asset, 1)),
            }
        }
        assets.sort_by_key(|(id, _)| *id != sheet.asset);
        out.push(Effect {
            proof: suspicion.proof.kind.word().into(),
            from: suspicion.from,
            to: suspicion.to,
            proved: suspicion.proved.is_some(),
            assets,
        });
    }
    Ok(out)
}
