//! Speed of the detector: one visit folded into one series, one asset of three phases and fifty visits.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use ohmward::invent::{Preset, fleet};
use ohmward::model::{Bound, Insulation};
use ohmward::trend::detect::{Context, Detector, Settings};
use ohmward::trend::filter::{Observation, State, Turn};

fn visit(c: &mut Criterion) {
    let detector = Detector::new(Settings::default());
    for class in [Insulation::Thermoplastic, Insulation::Unknown] {
        let prior = detector.prior(class);
        for (name, gap, bound) in [
            ("weekly, on scale", 7.0, Bound::Measured),
            ("monthly, on scale", 30.0, Bound::Measured),
            ("monthly, over-range", 30.0, Bound::Over),
        ] {
            let seen = Observation {
                log_ohm: 8.7,
                bound,
                temperature_c: 21.0,
                temperature_sd: 1.0,
                humidity_pct: Some(60.0),
                gross: 0.02,
                tester_sd: 0.0,
            };
            let mut state = State::start(detector.grid(), prior);
            c.bench_function(&format!("visit, {}, {name}", class.word()), |b| {
                b.iter(|| {
                    state.visit(detector.grid(), prior, gap, Turn::None, black_box(&seen));
                });
            });
        }
    }
}

fn asset(c: &mut Criterion) {
    let detector = Detector::new(Settings::default());
    let context = Context::default();
    let preset = Preset { separable: 1.0, span_days: 50.0 * 30.44, ..Preset::handheld() };
    for class in [Insulation::Thermoplastic, Insulation::Unknown] {
        let preset = preset.clone().registered(class);
        let case = fleet(&preset, 1, 7)[0].case().expect("invented values are valid");
        c.bench_function(&format!("asset, 3 phases, 50 visits, {}", class.word()), |b| {
            b.iter(|| detector.detect(black_box(&case), &context));
        });
    }
}

criterion_group!(benches, visit, asset);
criterion_main!(benches);
