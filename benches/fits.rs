//! How fast lines are fitted: 50 readings a series, 30 % of them over-range, as on one thread.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use ohmward::model::{
    Asset, AssetId, Bound, Case, Insulation, Line, Phase, Point, ReadingId, Series, Stamp,
};
use ohmward::trend::straight::{self, Datum};
use ohmward::trend::{fit, kendall, ols, sen};

/// Numbers between 0 and 1 that are the same in every run (xorshift).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Roughly normal.
    fn scatter(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// Invented series over four years that fall from above the range into it.
fn series(count: usize, n: usize) -> Vec<Vec<Datum>> {
    let mut numbers = Numbers(0x9E37_79B9_7F4A_7C15);
    (0..count)
        .map(|_| {
            let slope = -0.5 / 1461.0 * (0.5 + numbers.next());
            let top = 9.0;
            (0..n)
                .map(|i| {
                    let day = 1461.0 * i as f64 / n as f64 + 3.0 * numbers.next();
                    let y = top + 0.12 + slope * day + 0.1 * numbers.scatter();
                    if y > top {
                        Datum { day, y: top, bound: Bound::Over }
                    } else {
                        Datum { day, y, bound: Bound::Measured }
                    }
                })
                .collect()
        })
        .collect()
}

fn points(data: &[Datum]) -> Vec<Point> {
    let mut numbers = Numbers(77);
    let one = |(i, d): (usize, &Datum)| Point {
        reading: ReadingId { batch: 1, record: i as u64 + 1, part: 0 },
        taken_at: Stamp::from_micros((d.day * 86_400e6) as i64),
        log_ohm: d.y,
        bound: d.bound,
        temperature_c: (numbers.next() < 0.7).then_some(15.0 + 15.0 * numbers.next()),
        temperature_sd: 1.0,
        humidity_pct: None,
        tester: "T1".into(),
        station: "".into(),
        retests: Vec::new(),
    };
    data.iter().enumerate().map(one).collect()
}

fn fits(c: &mut Criterion) {
    let all = series(1_000, 50);
    let over: usize = all.iter().flatten().filter(|d| d.bound == Bound::Over).count();
    assert!((13_000..=17_500).contains(&over), "{over} of 50,000 over-range");
    let mut group = c.benchmark_group("series of 50");
    group.throughput(Throughput::Elements(all.len() as u64));
    group.sample_size(20);
    group.bench_function("censored line with standard errors", |b| {
        b.iter(|| {
            for data in &all {
                let rows = straight::rows(data);
                let model = ohmward::trend::censored::Model::new(&rows);
                let estimate = model.peak().map(|peak| model.estimate(&peak));
                black_box(estimate.is_ok());
            }
        });
    });
    group.bench_function("censored line with likelihood ratio", |b| {
        b.iter(|| {
            for data in &all {
                black_box(straight::fit(data).is_ok());
            }
        });
    });
    group.bench_function("Theil-Sen and Mann-Kendall", |b| {
        b.iter(|| {
            for data in &all {
                let days: Vec<f64> = data.iter().map(|d| d.day).collect();
                let y: Vec<f64> = data.iter().map(|d| d.y).collect();
                black_box((sen::theil_sen(&days, &y), kendall::mann_kendall(data)));
            }
        });
    });
    group.bench_function("slope with bounds and Mann-Kendall", |b| {
        b.iter(|| {
            for data in &all {
                black_box((sen::slope_with_bounds(data), kendall::mann_kendall(data)));
            }
        });
    });
    group.bench_function("ordinary least squares", |b| {
        b.iter(|| {
            for data in &all {
                let days: Vec<f64> = data.iter().map(|d| d.day).collect();
                let y: Vec<f64> = data.iter().map(|d| d.y).collect();
                black_box(ols::line(&days, &y).is_some());
            }
        });
    });
    group.finish();
}

fn field(c: &mut Criterion) {
    let lines: Vec<Vec<Point>> = series(300, 25).iter().map(|d| points(d)).collect();
    let mut group = c.benchmark_group("field series of 25");
    group.throughput(Throughput::Elements(lines.len() as u64));
    group.sample_size(10);
    group.bench_function("fit with priors", |b| {
        b.iter(|| {
            for points in &lines {
                let settings = fit::Settings::default();
                black_box(fit::fit(points, Insulation::Unknown, &settings).is_ok());
            }
        });
    });
    let cases: Vec<Case> = lines.chunks(3).filter_map(case).collect();
    group.throughput(Throughput::Elements(3 * cases.len() as u64));
    group.bench_function("assessed", |b| {
        let settings = ohmward::trend::evidence::Settings::default();
        b.iter(|| {
            for case in &cases {
                black_box(ohmward::trend::evidence::evidence(case, &settings).verdict);
            }
        });
    });
    group.finish();
}

fn case(phases: &[Vec<Point>]) -> Option<Case> {
    let id = AssetId::new("RTG-3/hoist").ok()?;
    let line = |(label, points): (&str, &Vec<Point>)| {
        let series = Series {
            asset: id.clone(),
            phase: Phase::new(label).ok()?,
            against: "case".into(),
            setup: "".into(),
            test_voltage: None,
        };
        Some(Line { series: series.into(), points: points.clone() })
    };
    let lines = ["U", "V", "W"].into_iter().zip(phases).filter_map(line).collect();
    Some(Case { asset: Asset::first_met(id.clone()), lines, events: Vec::new() })
}

criterion_group!(benches, fits, field);
criterion_main!(benches);
