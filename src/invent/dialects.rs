//! The exports of Kestrel Quay as files: three dialects, as three people's tools would write them.

use super::quay::{Export, FLEET, QuayReading};
use crate::model::{DAY_MICROS, Stamp};
use std::collections::BTreeMap;

/// A file of the quay.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuayFile {
    /// Its name.
    pub name: String,
    /// Its bytes, in the encoding of its tool.
    pub bytes: Vec<u8>,
}

/// The export files that hold these readings, by name.
pub fn files(readings: &[QuayReading]) -> Vec<QuayFile> {
    let mut groups: BTreeMap<(Export, String, &str), Vec<&QuayReading>> = BTreeMap::new();
    for reading in readings {
        let Some(machine) = FLEET.iter().find(|m| m.id == reading.asset) else { continue };
        let month = reading.at.to_string()[..7].to_owned();
        groups.entry((machine.export, month, reading.tester)).or_default().push(reading);
    }
    groups
        .into_iter()
        .map(|((export, month, tester), rows)| match export {
            Export::Yard => QuayFile {
                name: format!("yard-{}-{month}.csv", tester.to_lowercase()),
                bytes: windows_1252(&yard(tester, &rows)),
            },
            Export::Bench => {
                QuayFile { name: format!("bench-{month}.log"), bytes: bench(&rows).into_bytes() }
            }
            Export::Cranes => {
                QuayFile { name: format!("cranes-{month}.tsv"), bytes: cranes(&rows).into_bytes() }
            }
        })
        .collect()
}

/// The two rows that every real export seems to hold: a number that could be two things, and a
/// machine that nobody wrote down.
pub fn with_slips(mut file: QuayFile, at: Stamp) -> QuayFile {
    let (date, time) = local(at);
    let slips = format!(
        "{date};{time};YT-011/drive;L1;500;1.234;20;60;\r\n{date};{time};;L2;500;212;20;60;machine not written down\r\n"
    );
    file.bytes.extend(windows_1252(&slips));
    file
}

/// Semicolons, decimal commas, local time to the minute, Windows-1252.
fn yard(tester: &str, rows: &[&QuayReading]) -> String {
    let mut text = format!("# Kestrel Quay, invented\r\nGerät;{tester}\r\nPrüfer;M. Okafor\r\n");
    text.push_str(
        "Datum;Uhrzeit;Prüfling;Messstelle;Un [V];Riso [MOhm];Temperatur [°C];Feuchte;Bemerkung\r\n",
    );
    for r in rows {
        let (date, time) = local(r.at);
        let label = match r.label {
            "U" => "L1",
            "V" => "L2",
            "W" => "L3",
            other => other,
        };
        let value = if r.over {
            ">550".to_owned()
        } else {
            format!("{}", (r.ohms / 1e3).round() / 1e3).replace('.', ",")
        };
        text.push_str(&format!(
            "{date};{time};{};{label};{};{value};{};{};\r\n",
            r.asset, r.volts, r.temperature_c, r.humidity_pct
        ));
    }
    text
}

/// One line a test, UTC, units behind the numbers.
fn bench(rows: &[&QuayReading]) -> String {
    let mut text = String::from("-- Kestrel Quay workshop, invented --\n");
    for r in rows {
        let stamp = r.at.to_string();
        let (date, time) = (stamp[..10].replace('-', "/"), &stamp[11..19]);
        let value = if r.over { "> 200 GOhm".to_owned() } else { format!("{} GOhm", r.ohms / 1e9) };
        text.push_str(&format!(
            "{date} {time} BENCH B1 <{}> {} to case: {value} at 1012 V after 60 s\n",
            r.asset, r.label
        ));
    }
    text
}

/// Tabs, a row per machine, a column per phase, a row of units, the day alone.
fn cranes(rows: &[&QuayReading]) -> String {
    let mut text = String::from(
        "Machine\tTested on\tVolts\tWinding temp\tU-frame\tV-frame\tW-frame\tNote\n\t\tV\t°C\tMΩ\tMΩ\tMΩ\t\n",
    );
    let mut visits: BTreeMap<(i64, &str), Vec<&&QuayReading>> = BTreeMap::new();
    for r in rows {
        visits.entry((r.at.utc_day(), r.asset)).or_default().push(r);
    }
    for ((day, asset), phases) in visits {
        let date = Stamp::from_micros(day * DAY_MICROS).date();
        text.push_str(&format!("{asset}\t{date}\t500\t{}", phases[0].temperature_c));
        for label in ["U", "V", "W"] {
            let cell = match phases.iter().find(|r| r.label == label) {
                None => "n/a".to_owned(),
                Some(r) if r.over => ">550".to_owned(),
                Some(r) => format!("{}", (r.ohms / 1e4).round() / 1e2),
            };
            text.push_str(&format!("\t{cell}"));
        }
        text.push_str("\t\n");
    }
    text
}

/// Date and time as the yard's clock shows them.
fn local(at: Stamp) -> (String, String) {
    let zoned = jiff::Timestamp::from_microsecond(at.micros())
        .ok()
        .and_then(|t| t.in_tz("Europe/Berlin").ok());
    match zoned {
        Some(z) => (z.strftime("%d.%m.%Y").to_string(), z.strftime("%H:%M").to_string()),
        None => (String::new(), String::new()),
    }
}

/// The bytes of a text in Windows-1252; our texts hold nothing that it lacks.
fn windows_1252(text: &str) -> Vec<u8> {
    text.chars().map(|c| u8::try_from(c as u32).unwrap_or(b'?')).collect()
}
