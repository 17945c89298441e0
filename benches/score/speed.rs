//! How long a whole fleet takes from cold: `cargo bench --bench score -- --speed 10000`.

use std::time::Instant;

use ohmward::invent::{Preset, fleet};
use ohmward::model::{Case, Insulation};
use ohmward::trend::detect::{Context, Detector, Settings};
use ohmward::trend::learn;
use rayon::prelude::*;

/// Days between visits.
const MONTH: f64 = 30.44;

/// Prints wall time on two threads for fleets of three phases and 25 visits, that of learning from
/// them, and the median for one asset of 50 visits on one thread. The detector alone: the cases
/// lie ready in memory.
pub(crate) fn print(assets: usize) {
    let two = rayon::ThreadPoolBuilder::new().num_threads(2).build().expect("two threads");
    let context = Context::default();
    for (name, separable, class) in [
        ("tied, thermoplastic", 0.0, Insulation::Thermoplastic),
        ("separable, thermoplastic", 1.0, Insulation::Thermoplastic),
        ("separable, unknown", 1.0, Insulation::Unknown),
    ] {
        let preset = Preset { separable, ..Preset::handheld().registered(class) };
        let cases = |visits: f64, assets| -> Vec<Case> {
            let preset = Preset { span_days: visits * MONTH, ..preset.clone() };
            let all = fleet(&preset, assets, 77);
            all.iter().map(|s| s.case().expect("invented values are valid")).collect()
        };
        let all = cases(25.0, assets);
        let cold = Instant::now();
        let detector = Detector::new(Settings::default());
        let detect = |case| detector.detect(case, &context).alarms.len();
        let alarms: usize = two.install(|| all.par_iter().map(detect).sum());
        let whole = cold.elapsed().as_secs_f64();
        println!(
            "{name}: {assets} assets of 3 phases and 25 visits: {whole:.1} s, {alarms} alarms"
        );
        let start = Instant::now();
        let lesson = |case| learn::lesson(&detector, case, &context);
        let lessons = two.install(|| all.par_iter().map(lesson).collect());
        let learnt = learn::learn(&detector, lessons).len();
        let whole = start.elapsed().as_secs_f64();
        println!("  learning from them: {whole:.1} s for {learnt} quarters");
        let mut times = Vec::new();
        for case in cases(50.0, 200) {
            let start = Instant::now();
            std::hint::black_box(detector.detect(&case, &context));
            times.push(1e3 * start.elapsed().as_secs_f64());
        }
        times.sort_by(f64::total_cmp);
        println!("  one of 50 visits: median {:.1} ms", times[times.len() / 2]);
    }
}
