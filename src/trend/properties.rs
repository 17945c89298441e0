//! What must hold for any readings: moved in time, scaled, mirrored, shuffled.

use proptest::prelude::*;

use super::fit;
use super::fit_tests::{DAY, LIMIT, point};
use super::reach::Crossing;
use super::straight::{self, Datum};
use super::{kendall, sen};
use crate::model::{Bound, Insulation, Limit, Point, Stamp};

/// Readings around a line, some of them cut off by a range.
fn series() -> impl Strategy<Value = Vec<Datum>> {
    let reading = (0_i32..2000, -1.0_f64..1.0);
    let shape = (-0.002_f64..0.002, 0.02_f64..0.3, 7.9_f64..9.5);
    (prop::collection::vec(reading, 3..30), shape).prop_map(|(readings, (slope, sigma, top))| {
        let datum = |(day, e): (i32, f64)| {
            let y = 8.5 + slope * f64::from(day) + sigma * e;
            let (y, bound) = match y {
                y if y > top => (top, Bound::Over),
                y if y < 6.0 => (6.0, Bound::Under),
                y => (y, Bound::Measured),
            };
            Datum { day: f64::from(day), y, bound }
        };
        readings.into_iter().map(datum).collect()
    })
}

fn close(a: f64, b: f64, scale: f64) -> bool {
    (a - b).abs() <= 1e-6 * scale.abs() + 1e-9
}

fn mirrored(data: &[Datum]) -> Vec<Datum> {
    let turn = |bound| match bound {
        Bound::Measured => Bound::Measured,
        Bound::Over => Bound::Under,
        Bound::Under => Bound::Over,
    };
    data.iter().map(|d| Datum { y: 17.0 - d.y, bound: turn(d.bound), ..*d }).collect()
}

proptest! {
    #[test]
    fn time_shift_and_scale(data in series(), shift in -20_000.0_f64..20_000.0, decades in -3.0_f64..3.0) {
        let moved: Vec<Datum> =
            data.iter().map(|d| Datum { day: d.day + shift, y: d.y + decades, ..*d }).collect();
        match (straight::fit(&data), straight::fit(&moved)) {
            (Ok(a), Ok(b)) => {
                let se = a.estimate.se(1);
                prop_assert!(close(a.slope(), b.slope(), se + a.slope().abs()));
                prop_assert!(close(a.estimate.sigma, b.estimate.sigma, a.estimate.sigma));
                prop_assert!(close(a.lr_chisq(), b.lr_chisq(), 1.0 + a.lr_chisq()));
                let (one, two) = (a.mean_at(500.0), b.mean_at(500.0 + shift));
                prop_assert!(close(one.0 + decades, two.0, 1.0 + one.1));
            }
            (Err(a), Err(b)) => prop_assert_eq!(a, b),
            (a, b) => prop_assert!(false, "{:?} {:?}", a.err(), b.err()),
        }
        let (a, b) = (kendall::mann_kendall(&data), kendall::mann_kendall(&moved));
        prop_assert_eq!(a.map(|m| m.s), b.map(|m| m.s));
    }

    #[test]
    fn mirror(data in series()) {
        let turned = mirrored(&data);
        if let (Ok(a), Ok(b)) = (straight::fit(&data), straight::fit(&turned)) {
            prop_assert!(close(a.slope(), -b.slope(), a.estimate.se(1) + a.slope().abs()));
            prop_assert!(close(a.p_declining(), 1.0 - b.p_declining(), 1.0));
        } else {
            prop_assert!(straight::fit(&data).is_err() && straight::fit(&turned).is_err());
        }
        let (a, b) = (kendall::mann_kendall(&data).unwrap(), kendall::mann_kendall(&turned).unwrap());
        prop_assert_eq!(a.s, -b.s);
        prop_assert!(close(a.variance, b.variance, a.variance));
        if let (Some(a), Some(b)) = (sen::slope_with_bounds(&data), sen::slope_with_bounds(&turned)) {
            prop_assert!(close(a, -b, 1e-3));
        }
    }

    #[test]
    fn order_is_irrelevant(data in series(), seed in any::<u64>()) {
        let mut shuffled = data.clone();
        let mut state = seed | 1;
        for i in (1..shuffled.len()).rev() {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            shuffled.swap(i, (state >> 33) as usize % (i + 1));
        }
        match (straight::fit(&data), straight::fit(&shuffled)) {
            (Ok(a), Ok(b)) => {
                prop_assert!(close(a.slope(), b.slope(), a.estimate.se(1) + a.slope().abs()));
                prop_assert!(close(a.estimate.loglik, b.estimate.loglik, 1.0));
            }
            (a, b) => prop_assert_eq!(a.err(), b.err()),
        }
        prop_assert_eq!(sen::slope_with_bounds(&data), sen::slope_with_bounds(&shuffled));
        let (a, b) = (kendall::mann_kendall(&data).unwrap(), kendall::mann_kendall(&shuffled).unwrap());
        prop_assert_eq!((a.s, a.exact_p_declining), (b.s, b.exact_p_declining));
    }

    /// A maximum is one: no neighbour has a higher likelihood, and the likelihood-ratio set holds
    /// the best crossing.
    #[test]
    fn profile_holds_its_point(data in series(), limit in 5.0_f64..7.5) {
        if let Ok(fit) = straight::fit(&data)
            && fit.estimate.counts.exact > 0
            && let Some(t) = fit.crosser(limit).time()
        {
            let set = fit.profile(limit, 0.90);
            prop_assert!(set.is_some());
            let slack = 1e-6 * (1.0 + t.abs());
            match set.unwrap() {
                super::crossing::TimeSet::Bounded { lower, upper } => {
                    prop_assert!(lower <= t + slack && t <= upper + slack);
                }
                super::crossing::TimeSet::Exclusive { lower, upper } => {
                    prop_assert!(t <= lower + slack || t >= upper - slack);
                }
                super::crossing::TimeSet::WholeLine => {}
            }
        }
    }

    #[test]
    fn without_bounds_the_robust_slope_is_the_median(data in series()) {
        let exact: Vec<Datum> =
            data.iter().map(|d| Datum { bound: Bound::Measured, ..*d }).collect();
        let days: Vec<f64> = exact.iter().map(|d| d.day).collect();
        let y: Vec<f64> = exact.iter().map(|d| d.y).collect();
        let median = sen::theil_sen(&days, &y).map(|t| t.slope);
        match (median, sen::slope_with_bounds(&exact)) {
            (Some(a), Some(b)) => prop_assert!(close(a, b, 1e-3)),
            (a, b) => prop_assert_eq!(a, b),
        }
    }

    /// The field fit: shifted in time and scaled in ohms together with its limit.
    #[test]
    fn field_fit_moves_along(data in series(), shift in -5_000_i64..5_000, decades in -1.0_f64..1.0) {
        let points: Vec<Point> = data
            .iter()
            .enumerate()
            .map(|(i, d)| {
                let celsius = (i % 3 > 0).then(|| 15.0 + f64::from(i as u32 % 7) * 3.0);
                point(d.day as i64, d.y, d.bound, celsius)
            })
            .collect();
        let moved: Vec<Point> = points
            .iter()
            .map(|p| Point {
                taken_at: Stamp::from_micros(p.taken_at.micros() + shift * DAY),
                log_ohm: p.log_ohm + decades,
                ..p.clone()
            })
            .collect();
        let settings = fit::Settings::default();
        let one = fit::fit(&points, Insulation::Unknown, &settings);
        let two = fit::fit(&moved, Insulation::Unknown, &settings);
        match (one, two) {
            (Ok(a), Ok(b)) => {
                let (x, y) = (a.straight(), b.straight());
                let width = x.decades_per_year_interval.1 - x.decades_per_year_interval.0;
                prop_assert!((x.decades_per_year - y.decades_per_year).abs() < 1e-4 * width);
                prop_assert!((x.log_ohm + decades - y.log_ohm).abs() < 1e-4 * (1.0 + x.log_ohm_se));
                prop_assert!((a.p_declining() - b.p_declining()).abs() < 1e-5);
                let raised = Limit { ohms: LIMIT.ohms * 10.0_f64.powf(decades), ..LIMIT };
                match (a.crossing(&LIMIT), b.crossing(&raised)) {
                    (Crossing::Between { point: p, lower, upper }, Crossing::Between { point: q, .. }) => {
                        let gap = q.days() - p.days() - shift as f64;
                        let width = upper.days() - lower.days();
                        prop_assert!(gap.abs() < 1e-3 * (width + 1.0), "{gap} {width}");
                    }
                    (a, b) => prop_assert_eq!(a, b),
                }
            }
            (a, b) => prop_assert_eq!(a.err().map(|e| e.reason), b.err().map(|e| e.reason)),
        }
    }

    /// Whatever comes in, gross errors and all, every search comes to rest.
    #[test]
    fn every_search_comes_to_rest(
        data in prop::collection::vec((0_i64..1500, 4.0_f64..11.5, 0_u8..8, prop::option::of(-10.0_f64..70.0)), 3..25),
        class in 0_usize..4,
        decades in 4.6_f64..9.0,
    ) {
        let points: Vec<Point> = data
            .iter()
            .map(|(day, y, kind, celsius)| {
                let bound = match kind {
                    0..=4 => Bound::Measured,
                    5..=6 => Bound::Over,
                    _ => Bound::Under,
                };
                point(*day, *y, bound, *celsius)
            })
            .collect();
        match fit::fit(&points, Insulation::ALL[class], &fit::Settings::default()) {
            Ok(fit) => {
                let line = fit.straight();
                prop_assert!(line.decades_per_year.is_finite() && line.log_ohm_se.is_finite());
                prop_assert!((0.0..=1.0).contains(&fit.p_declining()));
                let limit = Limit { ohms: 10.0_f64.powf(decades), ..LIMIT };
                match fit.crossing(&limit) {
                    Crossing::Between { lower, point, upper } => {
                        prop_assert!(lower <= point && point <= upper);
                    }
                    Crossing::NoDate { because } => prop_assert!(!because.contains("search")),
                }
            }
            Err(none) => prop_assert_ne!(none.reason, super::reason::NoMaximum::Unresolved),
        }
        let plain: Vec<Datum> = points
            .iter()
            .map(|p| Datum { day: p.taken_at.days(), y: p.log_ohm, bound: p.bound })
            .collect();
        if let Err(reason) = straight::fit(&plain) {
            prop_assert_ne!(reason, super::reason::NoMaximum::Unresolved);
        }
    }
}
