//! The table `[bench]`: as written, as meant.

use serde::Deserialize;

use crate::bench::Settings;

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Bench {
    least_discharge_s: Option<f64>,
    known_tolerance: Option<f64>,
}

/// The numbers of the run sheet as meant.
pub(super) fn meant(bench: &Bench) -> Result<Settings, String> {
    let mut settings = Settings::default();
    match bench.least_discharge_s {
        Some(s) if !(0.0..=86_400.0).contains(&s) => {
            return Err(format!(
                "bench.least_discharge_s: expected seconds up to a day, found {s}"
            ));
        }
        Some(s) => settings.least_discharge_s = s,
        None => {}
    }
    match bench.known_tolerance {
        Some(part) if !(part > 0.0 && part < 1.0) => Err(format!(
            "bench.known_tolerance: expected a part of the value between 0 and 1, found {part}"
        )),
        Some(part) => {
            settings.tolerance = part;
            Ok(settings)
        }
        None => Ok(settings),
    }
}
