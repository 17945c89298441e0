//! The detector as scored and the detector as used are one: an invented fleet through the real
//! binary (file, store, visits, replay) raises the alarms that the bare detector raises.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod common;

use std::collections::BTreeSet;

use common::House;
use ohmward::export::{CanonicalWriter, Row};
use ohmward::invent::{Preset, fleet};
use ohmward::model::{Asset, Event, FindingKind, ReadingId};
use ohmward::registry::write_rows;
use ohmward::trend::detect::{Context, Detector, Settings};

#[test]
fn what_is_scored_is_what_is_used() {
    let preset = Preset { separable: 0.5, temperature_missing: 0.2, ..Preset::handheld() };
    let mut specimens = fleet(&preset, 30, 7_001);
    let mut declining = fleet(&preset.clone().declining(), 40, 7_002);
    for (n, specimen) in declining.iter_mut().enumerate() {
        // Ids of their own: both fleets count from one.
        let renamed = ohmward::model::AssetId::new(&format!("QC-{n:02}/hoist")).unwrap();
        specimen.asset.id = renamed.clone();
        specimen.events.iter_mut().for_each(|e| e.asset = renamed.clone());
    }
    specimens.extend(declining);

    // As the detector sees it when it is scored.
    let mut context = Context::default();
    for m in specimens.iter().flat_map(|s| &s.measured) {
        if let Some(celsius) = m.temperature_c {
            context.temperatures.add(m.at, &m.station, celsius);
        }
    }
    let detector = Detector::new(Settings::default());
    let mut expected = BTreeSet::new();
    for specimen in &specimens {
        let mut case = specimen.case().unwrap();
        for point in case.lines.iter_mut().flat_map(|l| &mut l.points) {
            // A file holds whole per cents.
            point.humidity_pct = point.humidity_pct.map(f64::round);
        }
        for alarm in detector.detect(&case, &context).alarms {
            if alarm.kind != FindingKind::Watch {
                let phase = alarm.phase.map(|p| p.to_string()).unwrap_or_default();
                let at = alarm.first_flagged_at;
                expected.insert(format!("{},{phase},{at},{}", specimen.asset.id, alarm.kind));
            }
        }
    }
    assert!(expected.len() > 8, "the fleet should give something to compare: {expected:?}");

    // As it is used.
    let house = House::new();
    let assets: Vec<Asset> = specimens.iter().map(|s| s.asset.clone()).collect();
    let events: Vec<Event> = specimens.iter().flat_map(|s| s.events.clone()).collect();
    let mut buffer = Vec::new();
    write_rows(&mut buffer, &assets).unwrap();
    let assets = house.file("assets.csv", &buffer);
    buffer.clear();
    write_rows(&mut buffer, &events).unwrap();
    let events = house.file("events.csv", &buffer);
    let mut rows: Vec<Row> = Vec::new();
    for reading in specimens.iter().flat_map(|s| s.readings().unwrap()) {
        rows.push(Row {
            id: ReadingId { batch: 1, record: 1, part: 0 },
            asset: reading.series.asset.as_str().into(),
            phase: reading.series.phase.as_str().into(),
            reading,
        });
    }
    rows.sort_by_key(|row| row.reading.taken_at);
    let mut csv = Vec::new();
    let mut writer = CanonicalWriter::new(&mut csv).unwrap();
    for row in rows {
        writer.row(&row, false).unwrap();
    }
    writer.finish().unwrap();
    let readings = house.file("readings.csv", &csv);
    house.must(0, &["import", &assets, &readings, &events]);
    let out = house.must(0, &["replay", "--format", "csv"]).out;
    let raised: BTreeSet<String> = out
        .lines()
        .skip(1)
        .map(|line| line.split(',').take(4).collect::<Vec<_>>().join(","))
        .collect();
    assert_eq!(raised, expected);

    // And the findings that stand are the last of them.
    let standing = house.json(&["finding", "list"]);
    for row in standing.as_array().unwrap().iter().filter(|f| f["finding"] != "watch") {
        let key = format!(
            "{},{},{},{}",
            row["asset"].as_str().unwrap(),
            row["phase"].as_str().unwrap(),
            row["since"].as_str().unwrap(),
            row["finding"].as_str().unwrap()
        );
        assert!(expected.contains(&key), "{key}");
    }
}
