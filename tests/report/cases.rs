//! Invented assets of the harbour Kestrel Quay, one for each thing that a report must show well.

use std::fmt::Write;

use ohmward::invent::Dice;
use ohmward::model::Stamp;

use crate::common::House;

/// The day on which every report of these tests is made.
pub(crate) const AS_OF: &str = "2026-05-01T00:00:00Z";

/// Asset ids with what is in them.
pub(crate) const WEEKLY: &str = "STS-2/hoist";
pub(crate) const OVER: &str = "YT-014/drive";
pub(crate) const REWOUND: &str = "RTG-7/gantry";
pub(crate) const TIED: &str = "YT-021/drive";

const HEADER: &str = "taken_at,asset,phase,resistance_ohm,bound,test_voltage_v,duration_s,\
                      temperature_c,temperature_of,humidity_pct,tester,operator,station,remark\n";

/// A store with all of them.
pub(crate) fn quay() -> House {
    let house = House::new();
    let assets = "asset,kind,rated_voltage_v,limit_ohm,insulation,phases,site,remark\n\
        STS-2/hoist,hoist motor,690,5000000,thermosetting,separable,Kestrel Quay berth 2,\n\
        YT-014/drive,traction motor,800,5000000,thermosetting,tied,Kestrel Quay,\n\
        RTG-7/gantry,gantry motor,690,5000000,thermoplastic,separable,Kestrel Quay stack C,form-wound\n\
        YT-021/drive,traction motor,800,5000000,thermosetting,tied,Kestrel Quay,neutral not accessible 電\n";
    house.must(0, &["asset", "import", "--by", "Ines Marlow", &house.file("assets.csv", assets)]);
    let gear = "gear,kind,category,rated_voltage_v,full_scale_ohm,lowest_ohm,due,remark\n\
        IT-1,tester,CAT III,600,550000000,10000,2026-09-01,\n\
        IT-2,tester,CAT III,600,550000000,10000,2026-02-15,calibration overdue\n\
        GL-3,gloves,class 0,1000,,,2026-06-10,\n";
    house.must(0, &["gear", "import", "--by", "Ines Marlow", &house.file("gear.csv", gear)]);
    house.must(0, &["import", &house.file("readings.csv", readings())]);
    let events = "at,asset,kind,remark\n\
        2025-01-20,RTG-7/gantry,rewound,\"new winding, class F\"\n\
        2024-06-11,RTG-7/gantry,washed,\n\
        2025-09-02,STS-2/hoist,cleaned,slip ring dust\n\
        2024-04-02,STS-2/hoist,moved,from berth 4\n\
        2025-11-03,YT-021/drive,washed,salt spray\n";
    house.must(0, &["event", "import", "--by", "Ines Marlow", &house.file("events.csv", events)]);
    let proofs = "at,tester,kind,value,unit,passed,moment,remark\n\
        2025-12-01T06:00:00Z,IT-2,open,550000000,ohm,true,before,\n\
        2025-12-09T15:00:00Z,IT-2,known resistance,3100000,ohm,false,after,reads 40 % high\n\
        2025-12-10T07:00:00Z,IT-2,known resistance,2210000,ohm,true,before,new leads\n\
        2026-04-08T07:00:00Z,IT-1,open,550000000,ohm,true,before,\n";
    house.must(0, &["proof", "import", "--by", "Ines Marlow", &house.file("proofs.csv", proofs)]);
    house
}

fn readings() -> String {
    let mut csv = HEADER.to_owned();
    weekly(&mut csv);
    over(&mut csv);
    rewound(&mut csv);
    tied(&mut csv);
    csv
}

struct Row<'a> {
    at: Stamp,
    asset: &'a str,
    phase: &'a str,
    log_ohm: f64,
    celsius: Option<f64>,
    tester: &'a str,
    full_scale: f64,
    remark: &'a str,
}

fn push(csv: &mut String, row: &Row<'_>) {
    let ohms = 10f64.powf(row.log_ohm);
    let (ohms, bound) = match ohms {
        o if o >= row.full_scale => (row.full_scale, ">"),
        o if o < 10_000.0 => (10_000.0, "<"),
        o => (o, "="),
    };
    // Three significant digits, as a display has them.
    let scale = 10f64.powf(ohms.log10().floor() - 2.0);
    let ohms = (ohms / scale).round() * scale;
    let (celsius, of) = row.celsius.map_or((String::new(), ""), |t| (format!("{t:.1}"), "winding"));
    writeln!(
        csv,
        "{},{},{},{ohms:.0},{bound},500,60,{celsius},{of},58,{},T. Okafor,bay-3,{}",
        row.at, row.asset, row.phase, row.tester, row.remark
    )
    .unwrap();
}

fn day(date: &str) -> Stamp {
    Stamp::parse(date).unwrap()
}

/// Three years of weekly visits; V falls in the last nine months.
fn weekly(csv: &mut String) {
    let mut dice = Dice::new(7, 1);
    for week in 0..156 {
        let visit =
            day("2023-05-02T08:00:00Z").plus_days(7.0 * f64::from(week) + dice.between(-1.0, 1.0));
        let celsius = 16.0 - 9.0 * (visit.days() / 365.25 * std::f64::consts::TAU).cos();
        for (i, phase) in ["U", "V", "W"].into_iter().enumerate() {
            let fall = if i == 1 { -0.0065 * f64::from((week - 117).max(0)) * 7.0 } else { 0.0 };
            let log_ohm =
                8.55 + 0.05 * i as f64 - 0.008 * (celsius - 20.0) + fall + dice.normal(0.0, 0.07);
            let at = Stamp::from_micros(
                (visit.plus_days(i as f64 / 720.0)).micros() / 1_000_000 * 1_000_000,
            );
            push(
                csv,
                &Row {
                    at,
                    asset: WEEKLY,
                    phase,
                    log_ohm,
                    celsius: Some(celsius),
                    tester: "IT-1",
                    full_scale: 550e6,
                    remark: "",
                },
            );
        }
    }
}

/// Nothing but over-range, every month for two years.
fn over(csv: &mut String) {
    for month in 0..24 {
        let visit = day("2024-05-06T09:30:00Z").plus_days(30.0 * f64::from(month));
        for (i, phase) in ["U", "V", "W"].into_iter().enumerate() {
            let at = visit.plus_days(i as f64 / 1440.0);
            push(
                csv,
                &Row {
                    at,
                    asset: OVER,
                    phase,
                    log_ohm: 10.2,
                    celsius: Some(21.0),
                    tester: "IT-1",
                    full_scale: 550e6,
                    remark: "",
                },
            );
        }
    }
}

/// Declines until the limit, is rewound, and is good again; half a year without any test before.
fn rewound(csv: &mut String) {
    let mut dice = Dice::new(7, 2);
    for month in (0..30).filter(|m| !(9..14).contains(m)) {
        let visit = day("2023-10-10T10:00:00Z")
            .plus_days(30.0 * f64::from(month) + dice.between(-3.0, 3.0));
        let after = visit > day("2025-01-20");
        let celsius = 18.0 + 7.0 * (visit.days() / 365.25 * std::f64::consts::TAU).sin();
        for (i, phase) in ["U", "V", "W"].into_iter().enumerate() {
            let level = match (after, i) {
                (true, _) => 8.5,
                (false, 2) => 8.0 - 0.13 * f64::from(month),
                (false, _) => 8.1,
            };
            let log_ohm = level - 0.0301 * (celsius - 30.0) + dice.normal(0.0, 0.06);
            let at = Stamp::from_micros(
                visit.plus_days(i as f64 / 720.0).micros() / 1_000_000 * 1_000_000,
            );
            let celsius = (month % 5 != 3).then_some(celsius);
            push(
                csv,
                &Row {
                    at,
                    asset: REWOUND,
                    phase,
                    log_ohm,
                    celsius,
                    tester: "IT-1",
                    full_scale: 550e6,
                    remark: "",
                },
            );
        }
    }
}

/// One node for direct current: all three leads read the same fall; one visit fell to a failed proof.
fn tied(csv: &mut String) {
    let mut dice = Dice::new(7, 3);
    for month in 0..22 {
        let visit = day("2024-07-10T12:00:00Z").plus_days(30.4 * f64::from(month));
        let visit = Stamp::from_micros(visit.micros() / 1_000_000 * 1_000_000);
        let tester = if month == 17 { "IT-2" } else { "IT-1" };
        let node = 8.3 - 0.075 * f64::from((month - 6i32).max(0)) + dice.normal(0.0, 0.05);
        for (i, phase) in ["U", "V", "W"].into_iter().enumerate() {
            let log_ohm = node + dice.normal(0.0, 0.02);
            let at = visit.plus_days(i as f64 / 1440.0);
            let remark = if month == 17 { "=damp cover" } else { "" };
            push(
                csv,
                &Row {
                    at,
                    asset: TIED,
                    phase,
                    log_ohm,
                    celsius: Some(22.0),
                    tester,
                    full_scale: 550e6,
                    remark,
                },
            );
        }
    }
}
