//! Scores the detector on invented fleets, beside three simpler ones for scale:
//! `cargo bench --bench score -- --presets handheld,bench --seeds 101,102,103 --assets 400 --lead 200`.
//!
//! `--assets` is the size of the mixed fleet of each seed (false flags), `--lead` that of the fleet
//! in which all decline (lead times). Online replay: nothing from the future is used.
#![expect(clippy::print_stdout, reason = "the table is the output of this command")]

mod others;
mod speed;
mod tally;

use clap::Parser;
use ohmward::invent::{Fate, Preset, Specimen, fleet};
use ohmward::model::{FindingKind, Insulation};
use ohmward::trend::detect::{Context, Detector, Settings};
use ohmward::trend::learn;
use rayon::prelude::*;
use tally::{Flag, Tally};

/// What to score.
#[derive(Debug, Parser)]
struct Args {
    /// Fleets, by name: handheld, bench, hard, calm, each with modifiers after a plus sign.
    #[arg(long, value_delimiter = ',', default_value = "handheld,bench,hard,calm")]
    presets: Vec<String>,
    /// Seeds; their fleets are pooled.
    #[arg(long, value_delimiter = ',', default_value = "101,102,103,104,105")]
    seeds: Vec<u64>,
    /// Specimens of each seed's mixed fleet.
    #[arg(long, default_value_t = 400)]
    assets: usize,
    /// Specimens of each seed's fleet in which all decline.
    #[arg(long, default_value_t = 200)]
    lead: usize,
    /// Also the simpler detectors.
    #[arg(long)]
    others: bool,
    /// Settings to try, `name=value`.
    #[arg(long, value_delimiter = ',')]
    set: Vec<String>,
    /// Instead of scores: the time that a fleet of so many takes.
    #[arg(long)]
    speed: Option<usize>,
    /// Print every false flag.
    #[arg(long)]
    list: bool,
    /// Given by cargo.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() {
    let args = Args::parse();
    if let Some(assets) = args.speed {
        return speed::print(assets);
    }
    let mut settings = Settings::default();
    for change in &args.set {
        set(&mut settings, change);
    }
    let detector = Detector::new(settings);
    println!("{}", tally::HEAD);
    for name in &args.presets {
        let preset = preset(name);
        let mut tallies = [(); 5].map(|()| Tally::default());
        for &seed in &args.seeds {
            let mixed = fleet(&preset, args.assets, seed);
            let lead = fleet(&preset.clone().declining(), args.lead, seed ^ 0x1ead);
            let lead = if preset.decliners > 0.0 { lead } else { Vec::new() };
            for (specimens, healthy) in [(&mixed, true), (&lead, false)] {
                let context = taught(&detector, &preset, specimens, (seed, healthy, args.assets));
                // A fleet of one: nothing is known but what the one asset says itself.
                let alone = name.split('+').any(|word| word == "alone");
                let count = if args.others { 5 } else { 1 };
                let all: Vec<[Tally; 5]> = specimens
                    .par_iter()
                    .map(|specimen| {
                        let own_context = alone.then(|| {
                            taught(&detector, &preset, std::slice::from_ref(specimen), (0, true, 1))
                        });
                        let context = own_context.as_ref().unwrap_or(&context);
                        let mut own = [(); 5].map(|()| Tally::default());
                        for (which, tally) in own.iter_mut().enumerate().take(count) {
                            let flags = match which {
                                0 => shipped(&detector, specimen, context, args.list && healthy),
                                1 => others::regression(specimen),
                                2 => others::fixed_limit(specimen),
                                3 => others::half_of_baseline(specimen),
                                _ => others::truth(specimen),
                            };
                            if healthy && specimen.fate == Fate::Healthy {
                                tally.healthy(specimen, &flags);
                            }
                            if !healthy {
                                tally.crossing(specimen, &flags);
                            }
                        }
                        own
                    })
                    .collect();
                for own in all {
                    tallies.iter_mut().zip(own).for_each(|(sum, one)| sum.merge(one));
                }
            }
        }
        let names =
            ["detector", "regression", "fixed limit", "half of baseline", "knows the truth"];
        let count = if args.others { 5 } else { 1 };
        for (who, tally) in names.iter().zip(&tallies).take(count) {
            println!("| {name}, {who} {}", tally.row());
        }
    }
}

/// A preset by name with modifiers, such as `handheld+broken+unknown`.
fn preset(name: &str) -> Preset {
    let mut words = name.split('+');
    let mut preset = match words.next().unwrap_or_default() {
        "handheld" => Preset::handheld(),
        "bench" => Preset::bench(),
        "hard" => Preset::hard(),
        "calm" => Preset::calm(),
        other => panic!("expected handheld, bench, hard or calm, found `{other}`"),
    };
    // What is registered is decided last, so that no modifier of the truth overrides it.
    let registers = |word: &&str| matches!(*word, "unknown" | "thermoplastic");
    let (registered, truth): (Vec<&str>, Vec<&str>) = words.partition(registers);
    for word in truth.into_iter().chain(registered) {
        preset = match word {
            "broken" => preset.broken(),
            "thermosetting" => preset.thermosetting(),
            "unknown" => preset.registered(Insulation::Unknown),
            "thermoplastic" => preset.registered(Insulation::Thermoplastic),
            "200k" => Preset { limit_ohm: 200e3, ..preset },
            "separable" => Preset { separable: 1.0, ..preset },
            "joining" => Preset { joining_unknown: 1.0, ..preset },
            "sudden" => Preset { sudden: 0.5, ..preset },
            "dead" => Preset { dead: 1.0, ..preset },
            "swapped" => Preset { testers_swapped: true, gain_off: 0.2, ..preset },
            "exchanged" => Preset { assets_swapped: 0.2, ..preset },
            // Of the context and not of the fleet: see `main`.
            "alone" => preset,
            "wrongphase" => Preset { phases_swapped: 0.05, ..preset },
            "ambient" => Preset { ambient_as_winding: true, ..preset },
            other => panic!("unknown modifier `{other}`"),
        };
    }
    preset
}

/// Everything that the fleet tells of temperatures; the estimates use earlier days only.
fn context(specimens: &[Specimen]) -> Context {
    let mut context = Context::default();
    for m in specimens.iter().flat_map(|s| &s.measured) {
        if let Some(celsius) = m.temperature_c {
            context.temperatures.add(m.at, &m.station, celsius);
        }
    }
    context
}

/// The context with what the fleet teaches, where any of it is used. A fleet in which all decline
/// is taught by a mixed one of the same seed, whose testers are its own: no real fleet is like it.
fn taught(
    detector: &Detector,
    preset: &Preset,
    specimens: &[Specimen],
    (seed, healthy, assets): (u64, bool, usize),
) -> Context {
    let mut own = context(specimens);
    let settings = detector.settings();
    if settings.learnt_priors || settings.learnt_testers {
        let teachers = match healthy {
            true => specimens.to_vec(),
            false => fleet(preset, assets, seed ^ 0x1ead),
        };
        let of_teachers = context(&teachers);
        let lesson = |s: &Specimen| {
            learn::lesson(detector, &s.case().expect("invented values are valid"), &of_teachers)
        };
        own.learnt = learn::learn(detector, teachers.par_iter().map(lesson).collect());
    }
    own
}

/// The detector as it ships.
fn shipped(detector: &Detector, specimen: &Specimen, context: &Context, list: bool) -> Vec<Flag> {
    let case = specimen.case().expect("invented values are valid");
    let found = detector.detect(&case, context);
    let alarms = found.alarms.iter().filter(|alarm| alarm.kind != FindingKind::Watch);
    let mut flags = Vec::new();
    for alarm in alarms {
        let until = alarm.cleared_at.unwrap_or(ohmward::model::Stamp::MAX);
        let standing = found
            .projections
            .iter()
            .filter(|p| p.as_of >= alarm.first_flagged_at && p.as_of < until)
            .map(|p| (p.as_of, p.crossing))
            .collect();
        if list && specimen.fate == Fate::Healthy {
            println!("{} {:?} {:.2}", specimen.asset.id, alarm, specimen.courses[0].levels[0]);
        }
        flags.push(Flag { at: alarm.first_flagged_at, crossing: Some(alarm.crossing), standing });
    }
    flags
}

/// Changes one setting, so that alternatives can be compared without a rebuild.
fn set(settings: &mut Settings, change: &str) {
    let (name, value) = change.split_once('=').expect("name=value");
    let value: f64 = value.parse().expect("a number");
    let f = &mut settings.filter;
    let place = match name {
        "alarm" => &mut settings.alarm,
        "watch" => &mut settings.watch,
        "clear" => &mut settings.clear,
        "drop" => &mut settings.drop,
        "imbalance" => &mut settings.imbalance,
        "near" => &mut settings.near_days,
        "fewest" => {
            settings.fewest = value as u32;
            return;
        }
        "learnt_priors" => {
            settings.learnt_priors = value > 0.0;
            return;
        }
        "learnt_testers" => {
            settings.learnt_testers = value > 0.0;
            return;
        }
        "onset" => &mut f.onset,
        "faster" => &mut f.faster,
        "slower" => &mut f.slower,
        "jump" => &mut f.jump,
        "end" => &mut f.end,
        "wander_healthy" => &mut f.wander_healthy,
        "wander_declining" => &mut f.wander_declining,
        "redraw" => &mut f.redraw,
        "wet" => &mut f.wet,
        "wet_days" => &mut f.wet_days,
        "wet_depth" => &mut f.wet_depth,
        "gross" => &mut f.gross,
        "gross_middle" => &mut f.gross_middle,
        "start_declining" => &mut f.start_declining,
        "start_low" => &mut f.start_low,
        "start_weight" => &mut f.start.0,
        "start_mean" => &mut f.start.1,
        "start_sd" => &mut f.start.2,
        "horizon" => &mut f.horizon_days,
        "humid" => &mut f.humid.0,
        "humid_sd" => &mut f.humid.1,
        "s0" => &mut f.sigmas[0].0,
        "s1" => &mut f.sigmas[1].0,
        "s2" => &mut f.sigmas[2].0,
        "w0" => &mut f.sigmas[0].1,
        "w1" => &mut f.sigmas[1].1,
        "w2" => &mut f.sigmas[2].1,
        other => panic!("unknown setting `{other}`"),
    };
    *place = value;
}
