//! Readings of one asset to visits, and each series of a visit to one point.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::{Corrected, Settings, Suspicions};
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

/// Where a reading came to sit while readings were gathered.
#[derive(Clone, Debug)]
pub struct Seat {
    /// Which reading of the asset, counted from 0.
    nth: usize,
    exclusion: Option<Exclusion>,
    visit: Option<usize>,
    test: usize,
}

impl Seat {
    /// Why it does not enter the trend.
    pub fn exclusion(&self) -> Option<&Exclusion> {
        self.exclusion.as_ref()
    }
}

/// Gathers the corrected readings of one asset into visits and points, one reading after the other,
/// by time. It keeps points, not readings, so that the history of a stream, which may be of any
/// length, takes little memory.
///
/// A visit is the readings of one setup with one tester without a gap longer than the setting.
/// Readings with rising duration are one test: the one nearest the rated duration stands. A later
/// test of the same series in the visit is a retest and replaces it, unless it was broken off so
/// early that it is farther from the rated duration by more than half.
pub struct Gathering<'a> {
    suspicions: &'a Suspicions,
    occasions: &'a [Occasion],
    settings: &'a Settings,
    /// Readings so far.
    readings: usize,
    /// Visits so far.
    visits: usize,
    /// By setup and tester the visit that may go on, and its last reading.
    open: BTreeMap<(Text, Text), (usize, Stamp)>,
    tests: BTreeMap<Place, Tests>,
}

/// A series at a visit.
type Place = (Arc<Series>, usize);

impl<'a> Gathering<'a> {
    /// Nothing yet. `occasions` are the common causes to which this asset belongs.
    pub fn new(
        suspicions: &'a Suspicions,
        occasions: &'a [Occasion],
        settings: &'a Settings,
    ) -> Self {
        let (open, tests) = (BTreeMap::new(), BTreeMap::new());
        Gathering { suspicions, occasions, settings, readings: 0, visits: 0, open, tests }
    }

    /// Takes the next reading.
    pub fn add(&mut self, corrected: &Corrected) -> Seat {
        let nth = self.readings;
        self.readings += 1;
        let exclusion = self.exclusion(corrected);
        if exclusion.is_some() {
            return Seat { nth, exclusion, visit: None, test: 0 };
        }
        let visit = self.visit(&corrected.reading);
        let place = (corrected.reading.series.clone(), visit);
        let test = self.tests.entry(place).or_default().add(nth, corrected, self.settings);
        Seat { nth, exclusion, visit: Some(visit), test }
    }

    /// The visit that a reading belongs to.
    fn visit(&mut self, r: &Reading) -> usize {
        let gap = (self.settings.gap_hours * DAY_MICROS as f64 / 24.0) as i64;
        let visits = &mut self.visits;
        let mut next = || {
            *visits += 1;
            *visits - 1
        };
        let chain = (r.series.setup.clone(), r.tester.clone());
        let (visit, last) = self.open.entry(chain).or_insert_with(|| (next(), r.taken_at));
        if r.taken_at.micros() - last.micros() > gap {
            *visit = next();
        }
        *last = r.taken_at;
        *visit
    }

    /// No more will come: the lines, and which reading stands where.
    pub fn finish(self) -> (Vec<Line>, Chosen) {
        let mut chosen = Chosen(BTreeMap::new());
        let mut lines: BTreeMap<Arc<Series>, Vec<Point>> = BTreeMap::new();
        for ((series, visit), tests) in self.tests {
            let Some((of, point)) = tests.finish() else { continue };
            chosen.0.insert((series.clone(), visit), of);
            lines.entry(series).or_default().push(point);
        }
        let lines = lines.into_iter().map(|(series, mut points)| {
            points.sort_by_key(|p| (p.taken_at, p.reading));
            Line { series, points }
        });
        (lines.collect(), chosen)
    }

    fn exclusion(&self, c: &Corrected) -> Option<Exclusion> {
        if let Some(reason) = &c.voided {
            return Some(Exclusion::Voided(reason.clone()));
        }
        let r = &c.reading;
        if c.overruled.is_none()
            && let Some(s) = self.suspicions.covering(r).find(|s| s.spoils(r))
        {
            return Some(match s.proof.kind {
                ProofKind::Contact => Exclusion::NoContact(s.proof.at),
                _ => Exclusion::ProofFailed(s.proof.at),
            });
        }
        if is_sagged(r, self.settings) && !is_low(r) {
            return Some(Exclusion::VoltageSagged);
        }
        self.occasions.iter().find(|o| o.covers(r)).cloned().map(Exclusion::CommonCause)
    }
}

/// Which reading of each series stands for each visit.
#[derive(Debug)]
pub struct Chosen(BTreeMap<Place, Stands>);

/// A reading, counted over the asset, and the test it is of.
#[derive(Clone, Copy, Debug)]
struct Stands {
    nth: usize,
    test: usize,
}

impl Chosen {
    /// A reading with what was done with it.
    pub fn judge(&self, corrected: Corrected, seat: Seat) -> Judged {
        let Seat { nth, exclusion, visit, test } = seat;
        let stands = visit.and_then(|visit| self.0.get(&(corrected.reading.series.clone(), visit)));
        let role = match (exclusion, stands) {
            (Some(why), _) => Role::LeftOut(why),
            (None, Some(stands)) if stands.nth == nth => Role::Counts,
            (None, Some(stands)) if stands.test == test => Role::Timed,
            (None, _) => Role::Retested,
        };
        Judged { corrected, role, visit, test }
    }
}

/// Gathers all readings of one asset (by time), as [`Gathering`] does, and tells what each is.
pub fn gather(
    readings: Vec<Corrected>,
    suspicions: &Suspicions,
    occasions: &[Occasion],
    settings: &Settings,
) -> (Vec<Judged>, Vec<Line>) {
    let mut gathering = Gathering::new(suspicions, occasions, settings);
    let seats: Vec<Seat> = readings.iter().map(|corrected| gathering.add(corrected)).collect();
    let (lines, chosen) = gathering.finish();
    let judged = readings.into_iter().zip(seats).map(|(c, seat)| chosen.judge(c, seat));
    (judged.collect(), lines)
}

/// The tests of one series at one visit.
#[derive(Default)]
struct Tests {
    /// Tests begun.
    begun: usize,
    /// The duration of the last reading.
    last: Option<f64>,
    /// Of each test that may yet stand its nearest reading, the oldest test first.
    candidates: Vec<Candidate>,
    /// The values of the test that goes on.
    current: Lowest,
    /// The values of tests that cannot stand any more.
    others: Lowest,
}

struct Candidate {
    stands: Stands,
    /// How far it is from the rated duration.
    off: f64,
    point: Point,
    /// The values of its test, once that has ended.
    values: Lowest,
}

impl Tests {
    /// Takes the next reading, and says which test it is of: durations rise within a test.
    fn add(&mut self, nth: usize, c: &Corrected, settings: &Settings) -> usize {
        let duration = c.reading.duration_s;
        let rising = matches!((self.last, duration), (Some(a), Some(b)) if b > a);
        if self.begun == 0 || !rising {
            self.end_test();
            self.begun += 1;
        }
        self.last = duration;
        let (test, off) = (self.begun - 1, off_rated(&c.reading, settings));
        self.current.add(c.reading.bound, c.reading.log_ohm());
        let of_test = self.candidates.last().filter(|best| best.stands.test == test);
        if of_test.is_none_or(|best| off < best.off) {
            // Of the tests that came about as near to the rated duration as any the last one stands,
            // so an earlier test that was no nearer has no chance left.
            for beaten in self.candidates.extract_if(.., |earlier| earlier.off >= off) {
                self.others.add_all(&beaten.values);
            }
            let nearest = self.candidates.first().map_or(off, |first| first.off);
            if off <= nearest + NEARLY {
                let (stands, values) = (Stands { nth, test }, Lowest::default());
                self.candidates.push(Candidate { stands, off, point: point(c, settings), values });
            }
        }
        test
    }

    /// The test that went on has ended: its values are its candidate's, where it has one.
    fn end_test(&mut self) {
        let values = std::mem::take(&mut self.current);
        match self.candidates.last_mut() {
            Some(last) if last.stands.test + 1 == self.begun => last.values = values,
            _ => self.others.add_all(&values),
        }
    }

    /// The reading that stands, and its point; none when there was no reading.
    fn finish(mut self) -> Option<(Stands, Point)> {
        self.end_test();
        let Candidate { stands, mut point, .. } = self.candidates.pop()?;
        for earlier in &self.candidates {
            self.others.add_all(&earlier.values);
        }
        point.retests = self.others.iter().collect();
        Some((stands, point))
    }
}

/// So many retests of each bound are kept, the lowest: what rules ask of retests is how many were
/// as low as something, and three are the most that any of them asks for.
const LOWEST: usize = 4;

/// The lowest values of each bound, rising.
#[derive(Clone, Copy, Default)]
struct Lowest {
    values: [[f64; LOWEST]; Bound::ALL.len()],
    held: [u8; Bound::ALL.len()],
}

impl Lowest {
    fn add(&mut self, bound: Bound, log_ohm: f64) {
        let (values, held) = (&mut self.values[bound as usize], &mut self.held[bound as usize]);
        let n = usize::from(*held);
        let at = values[..n].partition_point(|v| *v <= log_ohm);
        if at == LOWEST {
            return;
        }
        let n = (n + 1).min(LOWEST);
        values.copy_within(at..n - 1, at + 1);
        (values[at], *held) = (log_ohm, n as u8);
    }

    fn add_all(&mut self, other: &Lowest) {
        other.iter().for_each(|(log_ohm, bound)| self.add(bound, log_ohm));
    }

    fn iter(&self) -> impl Iterator<Item = (f64, Bound)> {
        Bound::ALL.iter().flat_map(|&bound| {
            let n = usize::from(self.held[bound as usize]);
            self.values[bound as usize][..n].iter().map(move |log_ohm| (*log_ohm, bound))
        })
    }
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

/// What a reading is to the trend, without its retests.
fn point(c: &Corrected, settings: &Settings) -> Point {
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
        retests: Vec::new(),
    }
}
