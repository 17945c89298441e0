//! What many assets say together: a common cause of one day, and how testers differ.
//!
//! Pure functions of residuals, each the distance of a value from what its own series read before.

use std::collections::{BTreeMap, HashMap};

use super::filter::rule;
use crate::model::{AssetId, Bound, Case, Line, Occasion, Shared, Stamp, Text};

/// Values of a series that a new one is compared with, at most and at least.
const BEFORE: std::ops::RangeInclusive<usize> = 3..=6;

/// Least number of assets, and share of them, that make a common cause.
pub const LEAST_ASSETS: usize = 5;
const LEAST_SHARE: f64 = 0.8;

/// An asset of which a series fell this much further than the others, decades, has a trouble of
/// its own: some three times the scatter of a fall.
const APART: f64 = 0.5;

/// An asset counts as fallen from here, decades: more than a good series scatters.
const FALLEN: f64 = 0.15;

/// How testers differ before anything is known of them, decades: two of these are the ±30 % that
/// IEC 61557-2 allows.
const TESTER_SPREAD: f64 = 0.06;

/// Scatter of one residual, decades.
const RESIDUAL_SPREAD: f64 = 0.2;

/// How far one value lies above (positive) or below what its series read before, decades.
#[derive(Clone, Debug, PartialEq)]
pub struct Residual {
    /// Of which asset.
    pub asset: AssetId,
    /// When it was measured.
    pub at: Stamp,
    /// With which tester.
    pub tester: Text,
    /// At which station.
    pub station: Text,
    /// The distance from the median of the last values taken with any tester.
    pub from_all: f64,
    /// The distance from the median of those taken with other testers; none: there are too few.
    pub from_others: Option<f64>,
}

/// The residuals of a case; values that are bounds neither have one nor serve as comparison.
pub fn residuals(case: &Case) -> Vec<Residual> {
    let rule = rule(case.asset.insulation);
    case.lines.iter().flat_map(|line| of_line(case, line, rule)).collect()
}

fn of_line(case: &Case, line: &Line, rule: f64) -> Vec<Residual> {
    let mut points: Vec<_> = line.points.iter().filter(|p| p.bound == Bound::Measured).collect();
    points.sort_by_key(|p| p.taken_at);
    let value = |p: &crate::model::Point| {
        let celsius = p.temperature_c.unwrap_or(22.5);
        p.log_ohm - rule * (celsius - 40.0) / 10.0
    };
    let residual = |i: usize| {
        let point = points[i];
        let before = points[..i].iter().rev();
        let all = median(before.clone().take(*BEFORE.end()).map(|p| value(p)))?;
        let others = before.filter(|p| p.tester != point.tester).take(*BEFORE.end());
        Some(Residual {
            asset: case.asset.id.clone(),
            at: point.taken_at,
            tester: point.tester.clone(),
            station: point.station.clone(),
            from_all: value(point) - all,
            from_others: median(others.map(|p| value(p))).map(|m| value(point) - m),
        })
    };
    (0..points.len()).filter_map(residual).collect()
}

/// The median; none of fewer values than a comparison needs.
fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    (values.len() >= *BEFORE.start()).then(|| values[values.len() / 2])
}

/// What the residuals of one asset share with others, and its fall at each: the middle of its
/// series.
pub fn falls(residuals: &[Residual]) -> BTreeMap<Occasion, f64> {
    let mut all: BTreeMap<Occasion, Vec<f64>> = BTreeMap::new();
    for r in residuals {
        for shared in shared(r).chain([Shared::Day]) {
            let occasion = Occasion { day: r.at.utc_day(), shared };
            all.entry(occasion).or_default().push(r.from_all);
        }
    }
    all.into_iter().map(|(occasion, falls)| (occasion, middle(falls))).collect()
}

/// Whether that is a fall: more than a good series scatters.
pub fn has_fallen(fall: f64) -> bool {
    fall < -FALLEN
}

/// What a residual may share with others beside the day.
fn shared(r: &Residual) -> impl Iterator<Item = Shared> {
    let tester = (!r.tester.is_empty()).then(|| Shared::Tester(r.tester.clone()));
    let station = (!r.station.is_empty()).then(|| Shared::Station(r.station.clone()));
    tester.into_iter().chain(station)
}

fn middle(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// One finding about a tester, station or day instead of many about windings.
#[derive(Clone, Debug, PartialEq)]
pub struct CommonCause {
    /// What they share.
    pub shared: Shared,
    /// The last reading among them.
    pub at: Stamp,
    /// The assets that fell together.
    pub assets: Vec<AssetId>,
    /// Those of which a series fell much further: the cause does not explain them.
    pub apart: Vec<AssetId>,
    /// Those that did not fall.
    pub stood: Vec<AssetId>,
    /// The median fall, decades.
    pub fall: f64,
}

impl CommonCause {
    /// How many assets were tested there in all.
    pub fn tested(&self) -> usize {
        self.assets.len() + self.apart.len() + self.stood.len()
    }

    /// What is shared, and on which day.
    pub fn occasion(&self) -> Occasion {
        Occasion { day: self.at.utc_day(), shared: self.shared.clone() }
    }

    fn holds(&self, other: &CommonCause) -> bool {
        other.assets.iter().all(|asset| self.assets.contains(asset))
    }
}

/// Looks for common causes in the residuals of one or more days. The narrowest cause is named: a
/// tester, unless a station explains several testers or far more assets; a day likewise.
pub fn common_cause(residuals: &[Residual]) -> Vec<CommonCause> {
    let mut days: BTreeMap<i64, Vec<&Residual>> = BTreeMap::new();
    for r in residuals {
        days.entry(r.at.utc_day()).or_default().push(r);
    }
    days.into_values().flat_map(|day| of_day(&day)).collect()
}

fn of_day(day: &[&Residual]) -> Vec<CommonCause> {
    // In the order of `Shared`: testers, stations, the day.
    let mut groups: BTreeMap<Shared, Vec<&Residual>> = BTreeMap::new();
    for &r in day {
        for shared in shared(r).chain([Shared::Day]) {
            groups.entry(shared).or_default().push(r);
        }
    }
    let mut found: Vec<CommonCause> = Vec::new();
    for wider in groups.into_iter().filter_map(|(shared, group)| judged(shared, &group)) {
        if matches!(wider.shared, Shared::Tester(_)) {
            found.push(wider);
            continue;
        }
        let explained = |asset: &AssetId| found.iter().any(|cause| cause.assets.contains(asset));
        let more = wider.assets.iter().filter(|asset| !explained(asset)).count();
        let held = found.iter().filter(|cause| wider.holds(cause)).count();
        if held >= 2 || more >= LEAST_ASSETS {
            found.retain(|cause| !wider.holds(cause));
            found.push(wider);
        }
    }
    found
}

fn judged(shared: Shared, group: &[&Residual]) -> Option<CommonCause> {
    let mut by_asset: BTreeMap<&AssetId, Vec<f64>> = BTreeMap::new();
    for r in group {
        by_asset.entry(&r.asset).or_default().push(r.from_all);
    }
    // An asset counts once, with the middle of its series.
    let tested = by_asset.len();
    let (mut fallen, mut stood) = (Vec::new(), Vec::new());
    for (asset, falls) in by_asset {
        let lowest = falls.iter().copied().fold(f64::INFINITY, f64::min);
        let fall = middle(falls);
        match has_fallen(fall) {
            true => fallen.push((asset, fall, lowest)),
            false => stood.push(asset.clone()),
        }
    }
    let share = fallen.len() as f64 / tested.max(1) as f64;
    if fallen.len() < LEAST_ASSETS || share < LEAST_SHARE {
        return None;
    }
    let fall = middle(fallen.iter().map(|(_, fall, _)| *fall).collect());
    let (with, apart): (Vec<_>, Vec<_>) =
        fallen.into_iter().partition(|(_, _, lowest)| *lowest >= fall - APART);
    let ids = |of: Vec<(&AssetId, f64, f64)>| of.into_iter().map(|(id, ..)| id.clone()).collect();
    let at = group.iter().map(|r| r.at).max()?;
    Some(CommonCause { shared, at, assets: ids(with), apart: ids(apart), stood, fall })
}

/// The offset of each tester against its peers and its uncertainty, decades: the mean of its
/// residuals against other testers, drawn towards none as long as there are few. For a day, give
/// residuals of earlier days only.
pub fn tester_offsets(residuals: &[Residual]) -> HashMap<Text, (f64, f64)> {
    offsets(&tester_sums(residuals))
}

/// Number and sum of the residuals of each tester against others, decades.
pub type TesterSums = BTreeMap<Text, (f64, f64)>;

/// The sums of some residuals, from which offsets follow.
pub fn tester_sums(residuals: &[Residual]) -> TesterSums {
    let mut sums = TesterSums::new();
    for r in residuals.iter().filter(|r| !r.tester.is_empty()) {
        // A fault of one winding is no fault of the tester: far residuals count as near ones.
        if let Some(residual) = r.from_others {
            let sum = sums.entry(r.tester.clone()).or_default();
            sum.0 += 1.0;
            sum.1 += residual.clamp(-0.5, 0.5);
        }
    }
    sums
}

/// What [`tester_offsets`] says of sums.
pub fn offsets(sums: &TesterSums) -> HashMap<Text, (f64, f64)> {
    let precision = RESIDUAL_SPREAD.powi(-2);
    let offset = |(tester, (n, sum)): (&Text, &(f64, f64))| {
        let whole = n * precision + TESTER_SPREAD.powi(-2);
        (tester.clone(), (sum * precision / whole, whole.powf(-0.5)))
    };
    sums.iter().map(offset).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn residual(asset: usize, tester: &str, station: &str, fall: f64) -> Residual {
        Residual {
            asset: AssetId::new(&format!("YT-{asset:03}")).unwrap(),
            at: Stamp::from_micros(asset as i64),
            tester: tester.into(),
            station: station.into(),
            from_all: fall,
            from_others: Some(fall),
        }
    }

    #[test]
    fn a_day_of_one_tester_is_one_finding() {
        let mut all: Vec<_> = (0..20).map(|i| residual(i, "IT-1", "bay-1", 0.0)).collect();
        all.extend((20..28).map(|i| residual(i, "IT-2", "bay-2", -0.4)));
        let found = common_cause(&all);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].shared, Shared::Tester("IT-2".into()));
        assert_eq!((found[0].assets.len(), found[0].tested()), (8, 8));
        // Few of many are not a common cause, nor is one asset with many series.
        assert!(common_cause(&all[..24]).is_empty());
        let one: Vec<_> = (0..9).map(|_| residual(1, "IT-2", "bay-2", -0.4)).collect();
        assert!(common_cause(&one).is_empty());
        assert!(common_cause(&[]).is_empty());
    }

    #[test]
    fn a_wet_day_is_named_for_the_day() {
        let of = |i| residual(i, ["", "IT-1", "IT-2"][i % 3], "", -0.5);
        let found = common_cause(&(0..9).map(of).collect::<Vec<_>>());
        assert_eq!(found[0].shared, Shared::Day);
    }

    #[test]
    fn one_cause_is_named_for_all_it_explains() {
        let of = |i: usize, tester: &str, station: &str| residual(i, tester, station, -0.5);
        // One tester at two stations is about the tester, two testers at one about the station.
        let halves = |i: usize| ["1", "2"][i % 2];
        let tester: Vec<_> = (0..12).map(|i| of(i, "IT-1", halves(i))).collect();
        let station: Vec<_> = (0..12).map(|i| of(i, halves(i), "bay-1")).collect();
        let day: Vec<_> = (0..12).map(|i| of(i, halves(i), halves(i))).collect();
        let named = |all: &[Residual]| {
            let found = common_cause(all).into_iter().map(|cause| cause.shared);
            found.collect::<Vec<_>>()
        };
        assert_eq!(named(&tester), [Shared::Tester("IT-1".into())]);
        assert_eq!(named(&station), [Shared::Station("bay-1".into())]);
        assert_eq!(named(&day), [Shared::Day]);
        // One more asset that fell elsewhere does not make it the day's.
        let mut more = tester;
        more.push(of(99, "IT-9", "bay-9"));
        assert_eq!(named(&more), [Shared::Tester("IT-1".into())]);
    }

    #[test]
    fn what_fell_much_further_has_a_trouble_of_its_own() {
        let mut all: Vec<_> = (0..8).map(|i| residual(i, "IT-2", "", -0.4)).collect();
        all.push(residual(8, "IT-2", "", -0.4));
        all.push(residual(8, "IT-2", "", -2.0));
        all.push(residual(9, "IT-2", "", 0.0));
        let found = common_cause(&all);
        assert_eq!((found[0].assets.len(), found[0].tested()), (8, 10));
        assert_eq!(found[0].apart, [AssetId::new("YT-008").unwrap()]);
        assert_eq!(found[0].stood, [AssetId::new("YT-009").unwrap()]);
    }

    #[test]
    fn offsets_are_drawn_towards_none() {
        let of = |n: usize| tester_offsets(&vec![residual(1, "IT-1", "", -0.1); n])["IT-1"];
        let ((few, wide), (many, narrow)) = (of(2), of(500));
        assert!(few > -0.03 && (-0.1..-0.095).contains(&many), "{few} {many}");
        assert!(narrow < 0.01 && wide > 0.05);
    }
}
