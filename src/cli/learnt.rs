//! `learnt`: what the fleet's own history says of its classes and testers.

use serde::Serialize;

use super::output::{self, Format};
use super::place::{Place, bar};
use super::{Exit, Failure, note};
use crate::replay::learnt as run;
use crate::store::sqlite::SqliteStore;

/// What one class of assets, or one tester, taught by the start of a quarter.
#[derive(Serialize)]
struct LearntOut {
    quarter: String,
    of: String,
    assets: Option<u32>,
    asset_years: Option<f64>,
    level_ohm: Option<f64>,
    level_spread_decades: Option<f64>,
    scatter_decades: Option<f64>,
    decades_per_10_k: Option<f64>,
    onsets_per_asset_year: Option<f64>,
    offset_decades: Option<f64>,
    offset_sd: Option<f64>,
}

pub(crate) fn learnt(place: &mut Place) -> Result<Exit, Failure> {
    let store = SqliteStore::existing(&place.dir)?;
    let bar = bar("learning", "assets");
    let progress = |done: usize, of: usize| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    };
    let mut quarters = run(&|| store.reader(), place.when, &place.config.assess, &progress)?;
    bar.finish_and_clear();
    // For reading, the latest quarter; programs get them all.
    if place.format == Format::Table {
        quarters = quarters.pop().into_iter().collect();
    }
    let mut rows = Vec::new();
    for learnt in &quarters {
        let quarter = learnt.quarter.to_string();
        for ((kind, insulation), taught) in &learnt.classes {
            rows.push(LearntOut {
                quarter: quarter.clone(),
                of: format!("{kind}, {insulation}"),
                assets: Some(taught.assets),
                asset_years: Some(taught.years),
                level_ohm: Some(10f64.powf(taught.level.0)),
                level_spread_decades: Some(taught.level.1),
                scatter_decades: Some(taught.scatter),
                decades_per_10_k: Some(taught.coefficient),
                onsets_per_asset_year: Some(taught.onset),
                offset_decades: None,
                offset_sd: None,
            });
        }
        let mut testers: Vec<_> = learnt.testers.iter().collect();
        testers.sort_by_key(|(tester, _)| (*tester).clone());
        for (tester, (offset, sd)) in testers {
            rows.push(LearntOut {
                quarter: quarter.clone(),
                of: format!("tester {tester}"),
                assets: None,
                asset_years: None,
                level_ohm: None,
                level_spread_decades: None,
                scatter_decades: None,
                decades_per_10_k: None,
                onsets_per_asset_year: None,
                offset_decades: Some(*offset),
                offset_sd: Some(*sd),
            });
        }
    }
    let columns = [
        ("quarter", "from"),
        ("of", "of"),
        ("assets", "assets"),
        ("level_ohm", "level at 40 °C"),
        ("level_spread_decades", "± decades"),
        ("scatter_decades", "scatter"),
        ("decades_per_10_k", "per 10 K"),
        ("onsets_per_asset_year", "onsets/year"),
        ("offset_decades", "offset"),
        ("offset_sd", "±"),
    ];
    output::rows(place.format, &columns, &rows, "nothing learnt yet: a quarter has to end first")?;
    note(
        "shown, and not used: on fresh simulated fleets the detector did no better with it \
         (fixtures/scores.md)",
    );
    Ok(Exit::Done)
}
