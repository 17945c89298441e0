//! `lab`: what learners' runs on training parts recorded, against what is known of the parts.

mod sheets;

use std::path::Path;

use askama::Template;
use serde::Serialize;

use super::args::LabRuns;
use super::output::{self, Format};
use super::place::{Place, shown};
use super::{Exit, Failure, note};
use crate::bench::{results, sheet_of};
use crate::dossier::{CAUTION, Desk, Fleet, Standing};
use crate::lab::{Mark, Met, Run, marks, runs};
use crate::store::Reader;
use crate::store::sqlite::SqliteReader;
use crate::trend::Assessor;

/// A run with its marks.
#[derive(Serialize)]
struct RunOut {
    began: String,
    ended: String,
    station: String,
    operator: String,
    tester: String,
    asset: String,
    known: String,
    /// Points met, of those that the record says anything of.
    met: usize,
    of: usize,
    /// Points not met, in words.
    not_met: Vec<String>,
    points: Vec<PointOut>,
}

#[derive(Serialize)]
struct PointOut {
    point: String,
    expected: String,
    found: String,
    met: &'static str,
}

/// The sheet as a page to print.
#[derive(Template)]
#[template(
    ext = "html",
    source = r#"<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Lab sheet</title>
<style>
body { font: 11pt/1.4 sans-serif; margin: 2em; max-width: 60em }
table { border-collapse: collapse; width: 100%; margin: 0 0 1.5em }
th, td { text-align: left; vertical-align: top; padding: .2em .6em; border-bottom: 1px solid #999 }
section { break-inside: avoid }
</style></head><body>
<h1>Lab sheet</h1>
{% for run in runs %}<section>
<h2>{{ run.operator }} on {{ run.asset }}, {{ run.began }}</h2>
<p>Station {{ run.station }}, tester {{ run.tester }}. Known of the part: {{ run.known }}.
{{ run.met }} of {{ run.of }} points met.</p>
<table><thead><tr><th>point</th><th>expected</th><th>recorded</th><th></th></tr></thead><tbody>
{% for p in run.points %}<tr><td>{{ p.point }}</td><td>{{ p.expected }}</td><td>{{ p.found }}</td><td>{{ p.met }}</td></tr>
{% endfor %}</tbody></table>
</section>{% endfor %}
<p>{{ caution }}</p>
</body></html>
"#
)]
struct SheetPage<'a> {
    runs: &'a [RunOut],
    caution: &'a str,
}

pub(crate) fn lab(place: &mut Place, ask: LabRuns) -> Result<Exit, Failure> {
    let mut out = Vec::new();
    for (asset, run) in asked(place, &ask)? {
        let Some(known) = &asset.training else { continue };
        let rated_s = place.config.assess.visits.rated_duration_s;
        out.push(run_out(&run, known.to_string(), marks(&run, &asset, known, rated_s)));
    }
    out.sort_by(|a, b| (&a.began, &a.operator).cmp(&(&b.began, &b.operator)));
    if let Some(path) = &ask.output {
        write_page(path, &out)?;
        return Ok(Exit::Done);
    }
    let columns = [
        ("began", "began"),
        ("operator", "by"),
        ("station", "station"),
        ("asset", "part"),
        ("known", "known of it"),
        ("met", "met"),
        ("of", "of"),
        ("not_met", "not met"),
    ];
    output::rows(place.format, &columns, &out, "no run on a training part is recorded")?;
    if place.format == Format::Table && !out.is_empty() {
        note("`--format json` has every point, `-o FILE.html` makes a page to print");
    }
    Ok(Exit::Done)
}

/// The runs that were asked for, each with its part.
fn asked(place: &Place, ask: &LabRuns) -> Result<Vec<(crate::model::Asset, Run)>, Failure> {
    let reader = place.reader()?;
    let assessor = Assessor::new(place.config.assess.trend.clone());
    let desk = Desk::new(&reader, place.when, &place.config.assess, &assessor)?;
    let ids = match &ask.asset {
        Some(asset) => {
            let asset = place.known_asset(asset)?;
            if asset.training.is_none() {
                return Err(Failure::Failed(format!(
                    "`{0}` is no training part, so nothing is known to hold a run against \
                     (`ohmward asset add {0} --training sound`, or with its faults, makes it one)",
                    asset.id
                )));
            }
            vec![asset.id]
        }
        None => {
            let fleet = Fleet::read(&reader, place.when)?;
            let parts = fleet.assets.into_iter().filter(|(_, s)| *s == Standing::Training);
            parts.map(|(asset, _)| asset.id).collect()
        }
    };
    let of_sheets = of_sheets(place, &reader, &assessor)?;
    let gap = place.config.assess.visits.gap_hours;
    let mut out = Vec::new();
    for id in ids {
        let dossier = desk.open(&id)?;
        let own: Vec<&Run> = of_sheets.iter().filter(|run| run.asset == id).collect();
        let mut all = runs(&reader, &dossier, gap)?;
        // What a sheet tells, its readings tell once more, and less of it.
        all.retain(|run| !own.iter().any(|sheet| sheet.holds(run)));
        all.extend(own.into_iter().cloned());
        for run in all {
            let here = ask.station.as_ref().is_none_or(|station| *run.station == **station);
            if here && ask.since.is_none_or(|since| run.ended >= since) {
                out.push((dossier.asset.clone(), run));
            }
        }
    }
    Ok(out)
}

/// Sheets looked at, the newest first: some years of a bench.
const MOST_SHEETS: usize = 10_000;

/// The runs that run sheets tell of, of training parts only.
fn of_sheets(
    place: &Place,
    reader: &SqliteReader,
    assessor: &Assessor,
) -> Result<Vec<Run>, Failure> {
    let mut out = Vec::new();
    for key in reader.sheets(None, MOST_SHEETS)? {
        let Some(sheet) = sheet_of(reader, &key)? else { continue };
        let asset = reader.asset(&sheet.asset, place.when)?;
        if key.opened > place.when.as_of || asset.is_none_or(|asset| asset.training.is_none()) {
            continue;
        }
        let results = results(reader, &sheet, &place.config.assess, assessor)?;
        out.extend(sheets::run(&sheet, &results));
    }
    Ok(out)
}

fn run_out(run: &Run, known: String, marks: Vec<Mark>) -> RunOut {
    let count = |met: Met| marks.iter().filter(|m| m.met == met).count();
    let not_met = marks.iter().filter(|m| m.met == Met::No);
    RunOut {
        began: run.began.to_string(),
        ended: run.ended.to_string(),
        station: run.station.to_string(),
        operator: run.operator.to_string(),
        tester: run.tester.to_string(),
        asset: run.asset.to_string(),
        known,
        met: count(Met::Yes),
        of: count(Met::Yes) + count(Met::No),
        not_met: not_met.map(|m| format!("{}: {}", m.point, m.found)).collect(),
        points: marks
            .into_iter()
            .map(|m| PointOut {
                point: m.point,
                expected: m.expected,
                found: m.found,
                met: m.met.word(),
            })
            .collect(),
    }
}

fn write_page(path: &Path, runs: &[RunOut]) -> Result<(), Failure> {
    if path.extension().is_none_or(|e| e != "html") {
        return Err(Failure::Usage(format!(
            "`{}`: expected a name that ends in .html",
            shown(path)
        )));
    }
    let failed = |why: String| Failure::Failed(format!("cannot write `{}`: {why}", shown(path)));
    let page = SheetPage { runs, caution: CAUTION };
    let page = page.render().map_err(|e| failed(e.to_string()))?;
    std::fs::write(path, page).map_err(|e| failed(e.to_string()))?;
    note(format!("the lab sheet of {} runs is written to {}", runs.len(), shown(path)));
    Ok(())
}
