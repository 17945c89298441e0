//! Charts and reports of invented assets: well-formed, complete, the same bytes each time.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod cases;
#[path = "../common/mod.rs"]
mod common;
mod forms;

use ohmward::dossier::{Desk, Dossier, Settings};
use ohmward::model::{AssetId, Stamp};
use ohmward::report::{self, About, Paper, Report, chart, csv, html, pdf, svg};
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
fn reports_of_assets_are_whole_in_every_form() {
    let house = cases::quay();
    for asset in [cases::WEEKLY, cases::OVER, cases::REWOUND, cases::TIED] {
        let report = report(&house, asset);
        let name = asset.replace('/', "-");
        let page = html::render(&report).unwrap();
        keep(&format!("{name}.html"), &page);
        forms::well_formed(&page);
        keep(&format!("{name}.csv"), csv::render(&report).unwrap());
        for (paper, ending) in [(Paper::A4, "pdf"), (Paper::Letter, "letter.pdf")] {
            let bytes = pdf::render(&report, paper).unwrap();
            keep(&format!("{name}.{ending}"), &bytes);
            let text = forms::pdf_text(&bytes);
            for words in [
                "Insulation report",
                "What was tested",
                "Verdict",
                "Trend and projection",
                "Visits",
                "Left out of the trend",
                "Data quality",
                "Testers, gear and proofs",
                "Who tested",
                "Method and settings",
                "never when insulation fails",
                "MΩ at 40 °C",
                "safe to touch",
                "page 1 of",
                asset,
            ] {
                assert!(text.contains(words), "{asset}: `{words}` is missing\n{text}");
            }
        }
    }
}

#[test]
fn a_report_says_what_carries_it() {
    let house = cases::quay();
    let text = |asset| forms::pdf_text(&pdf::render(&report(&house, asset), Paper::A4).unwrap());
    let weekly = text(cases::WEEKLY);
    assert!(weekly.contains("▼ DECLINING") && weekly.contains("156 visits"), "{weekly}");
    assert!(text(cases::OVER).contains("every visit was over-range: no slope and no date"));
    let rewound = text(cases::REWOUND);
    assert!(rewound.contains("starts a new epoch") && rewound.contains("● STEADY"), "{rewound}");
    let tied = text(cases::TIED);
    for words in ["all phases as one", "a proof of its tester failed on 2025-12-09", "FAILED"] {
        assert!(tied.contains(words), "`{words}`\n{tied}");
    }
    assert!(tied.contains("2026-02-15 (overdue)"), "{tied}");
    // A letter that the font lacks is replaced where one can see it.
    assert!(tied.contains("not accessible \u{fffd}"), "{tied}");
}

#[test]
fn formula_cells_are_harmless() {
    let house = cases::quay();
    let out = house.must(0, &["report", cases::TIED, "--as", "csv", "--as-of", cases::AS_OF]).out;
    let mut reader = ::csv::Reader::from_reader(out.as_bytes());
    let column = reader.headers().unwrap().iter().position(|h| h == "remark").unwrap();
    let remarks: Vec<String> = reader.records().map(|r| r.unwrap()[column].to_owned()).collect();
    assert_eq!(remarks.len(), 66);
    assert_eq!(remarks.iter().filter(|r| *r == "'=damp cover").count(), 3);
    assert!(!remarks.iter().any(|r| r.starts_with('=')));
}

#[test]
fn the_same_question_gives_the_same_bytes() {
    let house = cases::quay();
    for (asset, name) in [(Some(cases::REWOUND), "asset"), (None, "fleet")] {
        for form in ["html", "pdf", "csv"] {
            let make = |file: String| {
                let path = house.path(&file);
                let mut args = vec!["report"];
                args.extend(asset);
                args.extend(["-o", path.as_str(), "--as-of", cases::AS_OF]);
                house.must(0, &args);
                std::fs::read(path).unwrap()
            };
            let [first, second] = [1, 2].map(|n| make(format!("{name}-{n}.{form}")));
            assert!(first == second && !first.is_empty(), "{name} {form}");
            keep(&format!("{name}.{form}"), first);
        }
    }
}

#[test]
fn the_fleet_report_says_what_is_urgent_and_what_was_not_tested() {
    let house = cases::quay();
    let path = house.path("fleet.pdf");
    house.must(0, &["report", "-o", &path, "--as-of", cases::AS_OF, "--tested-within", "10"]);
    let text = forms::pdf_text(&std::fs::read(path).unwrap());
    for words in [
        "What needs attention",
        "Coverage",
        "every 10 days",
        "by the model's own account",
        "The fleet by month",
        "IT-2",
        cases::WEEKLY,
        cases::TIED,
    ] {
        assert!(text.contains(words), "`{words}`\n{text}");
    }
    let page = house.must(0, &["report", "--as-of", cases::AS_OF]).out;
    forms::well_formed(&page);
    let csv = house.must(0, &["report", "--format", "csv", "--as-of", cases::AS_OF]).out;
    for asset in [cases::WEEKLY, cases::OVER, cases::REWOUND, cases::TIED] {
        assert!(csv.lines().any(|l| l.starts_with(asset)), "{asset}\n{csv}");
    }
}

#[test]
fn a_report_of_then_knows_what_was_known_then() {
    let house = cases::quay();
    let rows = |more: &[&str]| {
        let mut args = vec!["report", cases::OVER, "--as", "csv"];
        args.extend(more);
        house.must(0, &args).out
    };
    let before = rows(&[]);
    let mut reader = ::csv::Reader::from_reader(before.as_bytes());
    let column = reader.headers().unwrap().iter().position(|h| h == "recorded_at").unwrap();
    let known = reader.records().map(|r| r.unwrap()[column].to_owned()).max().unwrap();
    let late =
        "taken_at,asset,phase,resistance_ohm\n2026-04-30T08:00:00Z,YT-014/drive,U,400000000\n";
    house.must(0, &["import", &house.file("late.csv", late)]);
    assert_eq!(rows(&[]).lines().count(), before.lines().count() + 1);
    assert_eq!(rows(&["--known-at", &known]), before);
    let page = house.must(0, &["report", cases::OVER, "--known-at", &known]).out;
    assert!(page.contains("as it was known on"), "{page}");
}

#[test]
fn wrong_questions_are_told() {
    let house = cases::quay();
    assert!(
        house.must(2, &["report", "-o", "fleet.doc"]).err.contains("ends in .html, .pdf or .csv")
    );
    assert!(house.must(3, &["report", "YT-999/drive"]).err.contains("there is no asset"));
    house.must(2, &["report", "--tested-within", "0"]);
    let nowhere = house.path("nowhere/fleet.pdf");
    assert!(house.must(3, &["report", "-o", &nowhere]).err.contains("cannot write"));
}
