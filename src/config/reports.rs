//! The tables `[[report]]`: as written, as meant.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use jiff::civil::Time;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::model::{AssetId, text};
use crate::report::{Every, Form, Paper, Schedule, TESTED_WITHIN_DAYS};

/// `[[report]]`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ReportTable {
    name: String,
    asset: Option<String>,
    folder: PathBuf,
    every: String,
    at: Option<String>,
    zone: Option<String>,
    format: Option<String>,
    paper: Option<String>,
    tested_within_days: Option<f64>,
}

/// The scheduled reports as meant; the error names the table and what is wrong in it.
pub(super) fn meant(tables: Vec<ReportTable>) -> Result<Vec<Schedule>, String> {
    let mut names = BTreeSet::new();
    let mut all = Vec::new();
    for table in tables {
        let at = format!("report `{}`", table.name);
        if !names.insert(table.name.to_lowercase()) {
            return Err(format!("{at}: expected each name once, found it twice"));
        }
        all.push(schedule(table).map_err(|why| format!("{at}: {why}"))?);
    }
    Ok(all)
}

fn schedule(table: ReportTable) -> Result<Schedule, String> {
    let name = text("name", &table.name).map_err(|e| e.to_string())?;
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_');
    if name.is_empty() || !name.chars().all(plain) {
        return Err("`name`: expected letters, digits, - and _: files are named by it".into());
    }
    if table.folder == Path::new("") {
        return Err("`folder`: expected a folder, found nothing".into());
    }
    let word = |field: &str, found: &str, expected: &str| {
        format!("`{field}`: expected {expected}, found `{found}`")
    };
    let every = Every::parse(&table.every)
        .ok_or_else(|| word("every", &table.every, "day, week or month"))?;
    let at: Time = match &table.at {
        Some(at) => at.parse().map_err(|_| word("at", at, "a time like `06:00`"))?,
        None => Time::constant(6, 0, 0, 0),
    };
    let zone = match &table.zone {
        Some(zone) => {
            TimeZone::get(zone).map_err(|_| word("zone", zone, "a name like `Europe/Berlin`"))?
        }
        None => TimeZone::UTC,
    };
    let form = match &table.format {
        Some(form) => Form::parse(form).ok_or_else(|| word("format", form, "html, pdf or csv"))?,
        None => Form::Pdf,
    };
    let paper = match table.paper.as_deref() {
        None | Some("a4") => Paper::A4,
        Some("letter") => Paper::Letter,
        Some(other) => return Err(word("paper", other, "a4 or letter")),
    };
    let within_days = table.tested_within_days.unwrap_or(TESTED_WITHIN_DAYS);
    if !(within_days > 0.0 && within_days.is_finite()) {
        return Err(format!("`tested_within_days`: expected days above 0, found {within_days}"));
    }
    let asset = table.asset.map(|id| AssetId::new(&id)).transpose().map_err(|e| e.to_string())?;
    Ok(Schedule { name, asset, folder: table.folder, every, at, zone, form, paper, within_days })
}

#[cfg(test)]
mod tests {
    use crate::config::Config;

    #[test]
    fn what_cannot_be_meant_is_told_with_its_place() {
        let table = |more: &str| {
            let all = "[[report]]\nname = \"fleet\"\nfolder = \"out\"\nevery = \"week\"\n";
            format!("{all}{more}\n")
        };
        assert_eq!(Config::parse(&table("")).unwrap().reports.len(), 1);
        for (text, words) in [
            (table("at = \"soon\""), "report `fleet`: `at`: expected a time like `06:00`"),
            (table("zone = \"Quay\""), "`zone`: expected a name like"),
            (table("format = \"doc\""), "`format`: expected html, pdf or csv, found `doc`"),
            (table("paper = \"a5\""), "`paper`: expected a4 or letter"),
            (table("tested_within_days = 0"), "`tested_within_days`: expected days above 0"),
            (table("asset = \"\""), "expected a name on one line"),
            (table("") + &table(""), "report `fleet`: expected each name once"),
            (table("").replace("fleet", "../x"), "`name`: expected letters"),
            (table("").replace("week", "year"), "`every`: expected day, week or month"),
        ] {
            let told = Config::parse(&text).unwrap_err();
            assert!(told.contains(words), "{told}");
        }
    }
}
