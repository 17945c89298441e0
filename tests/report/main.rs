//! Charts and reports of invented assets: well-formed, complete, the same bytes each time.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod cases;
#[path = "../common/mod.rs"]
mod common;

use ohmward::dossier::{Desk, Dossier, Settings};
use ohmward::model::{AssetId, Stamp};
use ohmward::report::{self, About, Report, chart, csv, html, pdf, svg};
use ohmward::store::When;
use ohmward::store::sqlite::SqliteStore;
use ohmward::trend::Assessor;

/// Keeps what a test drew where somebody wants to look at it.
pub(crate) fn keep(name: &str, bytes: impl AsRef<[u8]>) {
    if let Some(folder) = std::env::var_os("OHMWARD_PICTURES") {
        std::fs::write(std::path::Path::new(&folder).join(name), bytes).unwrap();
    }
}

fn dossier(house: &common::House, asset: &str) -> Dossier {
    let reader = SqliteStore::existing(&house.data()).unwrap().reader().unwrap();
    let when = When { as_of: Stamp::parse(cases::AS_OF).unwrap(), known_at: Stamp::MAX };
    let settings = Settings::default();
    let assessor = Assessor::new(settings.trend.clone());
    let desk = Desk::new(&reader, when, &settings, &assessor).unwrap();
    desk.open(&AssetId::new(asset).unwrap()).unwrap()
}

#[test]
fn charts_stand_in_a_page() {
    let house = cases::quay();
    let mut page = format!(
        "<!doctype html><meta charset=\"utf-8\"><title>charts</title><style>body{{width:800px}}{}</style>",
        svg::stylesheet()
    );
    for asset in [cases::WEEKLY, cases::OVER, cases::REWOUND, cases::TIED] {
        let dossier = dossier(&house, asset);
        let scenes = chart::asset(&dossier, chart::WIDE);
        assert_eq!(scenes.len(), 1);
        for scene in scenes {
            let element = svg::inline(&scene);
            assert!(!element.contains("style=") && !element.contains("NaN"), "{element}");
            page.push_str(&element);
        }
    }
    keep("charts.html", page);
}

/// The report of an asset as a library call makes it.
fn report(house: &common::House, asset: &str) -> Report {
    let reader = SqliteStore::existing(&house.data()).unwrap().reader().unwrap();
    let settings = Settings::default();
    let about = About {
        as_of: Stamp::parse(cases::AS_OF).unwrap(),
        known_at: Stamp::MAX,
        origin: "invented".into(),
        settings: &settings,
    };
    let assessor = Assessor::new(settings.trend.clone());
    let desk = Desk::new(&reader, about.when(), &settings, &assessor).unwrap();
    report::asset(&reader, &desk, &AssetId::new(asset).unwrap(), &about).unwrap()
}

#[test]
fn reports_of_assets() {
    let house = cases::quay();
    for asset in [cases::WEEKLY, cases::OVER, cases::REWOUND, cases::TIED] {
        let report = report(&house, asset);
        let name = asset.replace('/', "-");
        keep(&format!("{name}.html"), html::render(&report).unwrap());
        keep(&format!("{name}.csv"), csv::render(&report).unwrap());
        keep(&format!("{name}.pdf"), pdf::render(&report, pdf::Paper::A4).unwrap());
    }
}
