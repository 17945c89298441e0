//! What many assets say together: a common cause of one day, and how testers differ.
//!
//! Pure functions of residuals, each the distance of a value from what its own series read before.

use std::collections::{BTreeMap, HashMap};

use super::filter::rule;
use crate::model::{AssetId, Bound, Case, Line, Stamp, Text};

/// Values of a series that a new one is compared with, at most and at least.
const BEFORE: std::ops::RangeInclusive<usize> = 3..=6;

/// Least number of assets, and share of them, that make a common cause.
const LEAST_ASSETS: usize = 5;
const LEAST_SHARE: f64 = 0.8;

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

/// What many series fell together on.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shared {
    /// One tester on one day.
    Tester(Text),
    /// One station on one day.
    Station(Text),
    /// The day alone.
    Day,
}

/// One finding about a tester, station or day instead of many about windings.
#[derive(Clone, Debug, PartialEq)]
pub struct CommonCause {
    /// What they share.
    pub shared: Shared,
    /// The last reading among them.
    pub at: Stamp,
    /// The assets that fell.
    pub assets: Vec<AssetId>,
    /// How many assets were tested there in all.
    pub tested: usize,
    /// The median fall, decades.
    pub fall: f64,
}

/// Looks for common causes in the residuals of one or more days. The narrowest cause is named: a
/// day only if neither one tester nor one station explains it.
pub fn common_cause(residuals: &[Residual]) -> Vec<CommonCause> {
    let mut days: BTreeMap<i64, Vec<&Residual>> = BTreeMap::new();
    for r in residuals {
        days.entry(r.at.utc_day()).or_default().push(r);
    }
    days.into_values().flat_map(|day| of_day(&day)).collect()
}

fn of_day(day: &[&Residual]) -> Vec<CommonCause> {
    let mut groups: BTreeMap<Shared, Vec<&Residual>> = BTreeMap::new();
    for &r in day {
        let stated = [Shared::Tester(r.tester.clone()), Shared::Station(r.station.clone())];
        let names = [&r.tester, &r.station];
        for (shared, _) in stated.into_iter().zip(names).filter(|(_, name)| !name.is_empty()) {
            groups.entry(shared).or_default().push(r);
        }
    }
    let mut found: Vec<CommonCause> = Vec::new();
    for (shared, group) in groups {
        // A station with one tester of its own is the same cause twice.
        let cause = judged(shared, &group);
        found.extend(cause.filter(|c| found.iter().all(|f| f.assets != c.assets)));
    }
    match found.is_empty() {
        true => judged(Shared::Day, day).into_iter().collect(),
        false => found,
    }
}

fn judged(shared: Shared, group: &[&Residual]) -> Option<CommonCause> {
    let mut assets: BTreeMap<&AssetId, Vec<f64>> = BTreeMap::new();
    for r in group {
        assets.entry(&r.asset).or_default().push(r.from_all);
    }
    let tested = assets.len();
    // An asset counts once, with the middle of its series.
    let falls = assets.into_iter().map(|(asset, mut falls)| {
        falls.sort_by(f64::total_cmp);
        (asset, falls[falls.len() / 2])
    });
    let fallen: Vec<_> = falls.filter(|(_, fall)| *fall < -FALLEN).collect();
    let share = fallen.len() as f64 / tested.max(1) as f64;
    if fallen.len() < LEAST_ASSETS || share < LEAST_SHARE {
        return None;
    }
    let mut falls: Vec<f64> = fallen.iter().map(|(_, fall)| *fall).collect();
    falls.sort_by(f64::total_cmp);
    Some(CommonCause {
        shared,
        at: group.iter().map(|r| r.at).max()?,
        assets: fallen.into_iter().map(|(asset, _)| asset.clone()).collect(),
        tested,
        fall: falls[falls.len() / 2],
    })
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
        assert_eq!((found[0].assets.len(), found[0].tested), (8, 8));
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
    fn offsets_are_drawn_towards_none() {
        let of = |n: usize| tester_offsets(&vec![residual(1, "IT-1", "", -0.1); n])["IT-1"];
        let ((few, wide), (many, narrow)) = (of(2), of(500));
        assert!(few > -0.03 && (-0.1..-0.095).contains(&many), "{few} {many}");
        assert!(narrow < 0.01 && wide > 0.05);
    }
}
