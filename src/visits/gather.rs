//! Readings of one asset to visits, and each series of a visit to one point.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Corrected, Settings, Suspicion};
use crate::model::{
    Bound, DAY_MICROS, Line, Occasion, Point, ProofKind, Reading, Series, Stamp, TemperatureOf,
    Text,
};

/// Why a reading does not enter the trend.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Exclusion {
    /// A person voided it, with this reason.
    Voided(Text),
    /// A proof of its tester failed, at this instant.
    ProofFailed(Stamp),
    /// It is high, and contact at the part was not confirmed, as noted at this instant.
    NoContact(Stamp),
    /// It is high, and the tester delivered too little voltage for a high reading to mean much.
    VoltageSagged,
    /// It fell together with the readings of many other assets, with which it shares this.
    CommonCause(Occasion),
}

/// What a reading is in its visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    /// It stands for its series at this visit.
    Counts,
    /// Another reading of the same test stands: nearer the rated duration.
    Timed,
    /// A later retest of the same visit stands.
    Retested,
    /// It does not enter the trend.
    LeftOut(Exclusion),
}

/// A reading and what was done with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The reading.
    pub corrected: Corrected,
    /// What it is in its visit.
    pub role: Role,
    /// The visit, counted from 0 over the asset; none when left out.
    pub visit: Option<usize>,
    /// The test of its series within the visit, counted from 0: readings of one test share it.
    pub test: usize,
}

/// Gathers the corrected readings of one asset (by time) into visits and points.
///
/// A visit is the readings of one setup with one tester without a gap longer than the setting.
/// Readings with rising duration are one test: the one nearest the rated duration stands. A later
/// test of the same series in the visit is a retest and replaces it, unless it was broken off so
/// early that it is farther from the rated duration by more than half.
///
/// `occasions` are the common causes to which this asset belongs.
pub fn gather(
    readings: Vec<Corrected>,
    suspicions: &[Suspicion],
    occasions: &[Occasion],
    settings: &Settings,
) -> (Vec<Judged>, Vec<Line>) {
    let gap = (settings.gap_hours * DAY_MICROS as f64 / 24.0) as i64;
    let mut judged: Vec<Judged> = Vec::with_capacity(readings.len());
    let mut open: BTreeMap<(Text, Text), (usize, Stamp)> = BTreeMap::new();
    let mut visits = 0;
    for corrected in readings {
        let r = &corrected.reading;
        let exclusion = exclusion(&corrected, suspicions, occasions, settings);
        let visit = match exclusion {
            Some(_) => None,
            None => {
                let chain = (r.series.setup.clone(), r.tester.clone());
                let entry = open.entry(chain).or_insert_with(|| {
                    visits += 1;
                    (visits - 1, r.taken_at)
                });
                if r.taken_at.micros() - entry.1.micros() > gap {
                    visits += 1;
                    entry.0 = visits - 1;
                }
                entry.1 = r.taken_at;
                Some(entry.0)
            }
        };
        let role = exclusion.map_or(Role::Counts, Role::LeftOut);
        judged.push(Judged { corrected, role, visit, test: 0 });
    }
    let mut groups: BTreeMap<(Arc<Series>, usize), Vec<usize>> = BTreeMap::new();
    for (i, j) in judged.iter().enumerate() {
        if let Some(visit) = j.visit {
            groups.entry((j.corrected.reading.series.clone(), visit)).or_default().push(i);
        }
    }
    let mut lines: BTreeMap<Arc<Series>, Vec<Point>> = BTreeMap::new();
    for ((series, _), members) in groups {
        let tests = tests(&members, &judged);
        let chosen = choose(&members, &tests, &judged, settings);
        for (n, &i) in members.iter().enumerate() {
            judged[i].test = tests[n];
            judged[i].role = match n {
                _ if n == chosen => Role::Counts,
                _ if tests[n] == tests[chosen] => Role::Timed,
                _ => Role::Retested,
            };
        }
        let retests = members
            .iter()
            .filter(|&&i| judged[i].role == Role::Retested)
            .map(|&i| (judged[i].corrected.reading.log_ohm(), judged[i].corrected.reading.bound))
            .collect();
        let point = point(&judged[members[chosen]].corrected, retests, settings);
        lines.entry(series).or_default().push(point);
    }
    let lines = lines
        .into_iter()
        .map(|(series, mut points)| {
            points.sort_by_key(|p| (p.taken_at, p.reading));
            Line { series, points }
        })
        .collect();
    (judged, lines)
}

fn exclusion(
    c: &Corrected,
    suspicions: &[Suspicion],
    occasions: &[Occasion],
    settings: &Settings,
) -> Option<Exclusion> {
    if let Some(reason) = &c.voided {
        return Some(Exclusion::Voided(reason.clone()));
    }
    let r = &c.reading;
    if c.overruled.is_none()
        && let Some(s) = suspicions.iter().find(|s| s.covers(&r.tester, r.taken_at) && s.spoils(r))
    {
        return Some(match s.proof.kind {
            ProofKind::Contact => Exclusion::NoContact(s.proof.at),
            _ => Exclusion::ProofFailed(s.proof.at),
        });
    }
    if is_sagged(r, settings) && !is_low(r) {
        return Some(Exclusion::VoltageSagged);
    }
    occasions.iter().find(|o| o.covers(r)).cloned().map(Exclusion::CommonCause)
}

/// Whether the tester delivered less than it should at this reading.
pub(super) fn is_sagged(r: &Reading, settings: &Settings) -> bool {
    match (r.delivered_voltage_v, r.series.test_voltage) {
        (Some(delivered), Some(nominal)) => {
            delivered < settings.least_voltage_ratio * nominal.get()
        }
        _ => false,
    }
}

/// Whether the resistance is so low that a sound tester's voltage may sag: below 1 kΩ per volt of
/// nominal voltage, where IEC 61557-2 asks no more than 1 mA of it. With a margin of ten, since
/// small testers give way earlier.
pub(super) fn is_low(r: &Reading) -> bool {
    let nominal = r.series.test_voltage.map_or(500.0, |v| v.get());
    r.bound != Bound::Over && r.ohms < 10.0 * 1_000.0 * nominal
}

/// Half as far again still counts as the rated time: ln 1.5.
const NEARLY: f64 = 0.405;

/// Whether a reading was taken near the rated time; a duration that nobody stated counts as rated.
pub fn near_rated(r: &Reading, settings: &Settings) -> bool {
    off_rated(r, settings) <= NEARLY
}

/// How far a duration is from the rated one, as the logarithm of their ratio; a missing one counts
/// as rated.
fn off_rated(r: &Reading, settings: &Settings) -> f64 {
    match r.duration_s {
        Some(s) if s > 0.0 => (s / settings.rated_duration_s).ln().abs(),
        Some(_) => f64::INFINITY,
        None => 0.0,
    }
}

/// Which test each member belongs to, counted within the visit: durations rise within a test.
fn tests(members: &[usize], judged: &[Judged]) -> Vec<usize> {
    let mut test = 0;
    let mut last: Option<f64> = None;
    let mut of = Vec::with_capacity(members.len());
    for (n, &i) in members.iter().enumerate() {
        let duration = judged[i].corrected.reading.duration_s;
        let rising = matches!((last, duration), (Some(a), Some(b)) if b > a);
        if n > 0 && !rising {
            test += 1;
        }
        last = duration;
        of.push(test);
    }
    of
}

/// The position among the members of the reading that stands for the visit.
fn choose(members: &[usize], tests: &[usize], judged: &[Judged], settings: &Settings) -> usize {
    let off: Vec<f64> =
        members.iter().map(|&i| off_rated(&judged[i].corrected.reading, settings)).collect();
    let nearest = off.iter().copied().fold(f64::INFINITY, f64::min);
    // The last test that came about as near as any; within it the nearest.
    let last_near = off.iter().rposition(|&o| o <= nearest + NEARLY).unwrap_or(members.len() - 1);
    let same_test = (0..members.len()).filter(|&n| tests[n] == tests[last_near]);
    same_test.min_by(|&a, &b| off[a].total_cmp(&off[b])).unwrap_or(last_near)
}

fn point(c: &Corrected, retests: Vec<(f64, Bound)>, settings: &Settings) -> Point {
    let r = &c.reading;
    let temperature_sd = match (r.temperature_c, r.temperature_of) {
        (None, _) => 0.0,
        (Some(_), Some(TemperatureOf::Winding)) => settings.winding_sd,
        (Some(_), Some(TemperatureOf::Ambient)) => settings.ambient_sd,
        (Some(_), None) => settings.unstated_sd,
    };
    Point {
        reading: c.id,
        taken_at: r.taken_at,
        log_ohm: r.log_ohm(),
        bound: r.bound,
        temperature_c: r.temperature_c,
        temperature_sd,
        humidity_pct: r.humidity_pct,
        tester: r.tester.clone(),
        station: r.station.clone(),
        retests,
    }
}
