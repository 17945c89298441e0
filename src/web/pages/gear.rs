//! Gear and proofs: what is due, how testers were proved, and what a set is good for.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{StatusCode, Uri};
use axum::response::Redirect;
use ohmward_parsers::{Resistance, read_resistance};
use serde::Deserialize;

use super::asked::{Asked, Fields, Filled, Wrongs, apart, on_to, wrongs};
use super::numbers::{filters, minute};
use super::{Frame, Page, Section};
use crate::model::{Gear, GearKind, Proof, ProofKind, ProofMoment, Stamp, set_rating};
use crate::registry::{self, read_row};
use crate::store::{Change, Reader, Recorded, Result as StoreResult, When};
use crate::trend::words::ohms;
use crate::web::Service;
use crate::web::refusal::Refusal;

/// Proofs that are shown: the newest.
const PROOFS: usize = 50;

/// Days before a due date from which it is said.
const SOON: f64 = 30.0;

/// Options of the page.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    done: String,
}

#[derive(Template)]
#[template(path = "gear.html", config = "src/web/pages/askama.toml")]
pub(super) struct GearPage {
    frame: Frame,
    gear: Vec<GearView>,
    proofs: Vec<ProofView>,
    more_proofs: usize,
    /// A set that was asked about: its parts, and what it is good for.
    set: Option<(Vec<String>, String)>,
    wrong: Wrongs,
    fields: Fields,
}

struct GearView {
    id: String,
    kind: GearKind,
    rating: String,
    range: String,
    due: String,
    /// `overdue`, `soon` or nothing.
    urgency: &'static str,
    remark: String,
    in_circuit: bool,
    in_set: bool,
}

struct ProofView {
    at: String,
    tester: String,
    what: String,
    read: String,
    passed: bool,
    remark: String,
    by: String,
}

/// The parts that were ticked: `set` may stand several times in the address.
fn ticked(uri: &Uri) -> Vec<String> {
    let pairs = Query::<Vec<(String, String)>>::try_from_uri(uri);
    let pairs = pairs.map(|Query(pairs)| pairs).unwrap_or_default();
    pairs.into_iter().filter(|(name, _)| name == "set").map(|(_, value)| value).collect()
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    asked: Asked<Ask>,
) -> Result<Page<GearPage>, Refusal> {
    show(&service, asked, Wrongs::default(), Fields::default()).await
}

async fn show(
    service: &Arc<Service>,
    asked: Asked<Ask>,
    wrong: Wrongs,
    fields: Fields,
) -> Result<Page<GearPage>, Refusal> {
    let (gear, proofs) = service
        .ask(|reader| -> StoreResult<_> {
            Ok((reader.gear(When::ALWAYS)?, reader.proofs(None, When::ALWAYS)?))
        })
        .await?;
    let parts = ticked(&asked.uri);
    let chosen: Vec<&Gear> =
        gear.iter().map(|row| &row.value).filter(|g| parts.contains(&g.id.to_string())).collect();
    let set = set_words(&chosen);
    let now = service.shared.clock.now();
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = GearPage {
        frame: Frame::of(Section::Gear, asked.who, &asked.uri).having_done(&asked.query.done),
        more_proofs: proofs.len().saturating_sub(PROOFS),
        proofs: proofs.iter().rev().take(PROOFS).map(ProofView::of).collect(),
        gear: gear.iter().map(|row| GearView::of(&row.value, now, &parts)).collect(),
        set,
        wrong,
        fields,
    };
    Ok(Page(status, page))
}

/// What a set is good for, in a sentence.
fn set_words(parts: &[&Gear]) -> Option<(Vec<String>, String)> {
    let rating = set_rating(parts.iter().copied())?;
    let names = parts.iter().map(|part| part.id.to_string()).collect();
    let list = |ids: &[crate::model::Text]| {
        ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ")
    };
    let words = match (rating.category, rating.voltage_v) {
        (Some(category), Some(volts)) if rating.weakest.is_empty() => {
            format!("{category} {volts} V")
        }
        (Some(category), Some(volts)) => {
            format!("{category} {volts} V: {} decides", list(&rating.weakest))
        }
        _ => format!("nobody can say: {} states no category or no voltage", list(&rating.unstated)),
    };
    Some((names, words))
}

/// Records a piece of gear as it is from now on.
pub(super) async fn add(
    State(service): State<Arc<Service>>,
    filled: Filled,
) -> Result<Result<Redirect, Page<GearPage>>, Refusal> {
    let columns = [
        "gear",
        "kind",
        "category",
        "rated_voltage_v",
        "full_scale_ohm",
        "lowest_ohm",
        "due",
        "remark",
        "ranges",
        "proof_days",
    ];
    record(&service, filled, &columns, "gear", |cells| read_row(cells).map(Change::Gear)).await
}

/// Records a proof of a tester.
pub(super) async fn prove(
    State(service): State<Arc<Service>>,
    filled: Filled,
) -> Result<Result<Redirect, Page<GearPage>>, Refusal> {
    let columns = ["at", "tester", "kind", "value", "unit", "passed", "moment", "remark"];
    record(&service, filled, &columns, "proof", |cells| read_row(cells).map(Change::Proof)).await
}

async fn record(
    service: &Arc<Service>,
    filled: Filled,
    columns: &[&'static str],
    done: &str,
    read: impl FnOnce(&[(&'static str, String)]) -> Result<Change, crate::model::Invalid>,
) -> Result<Result<Redirect, Page<GearPage>>, Refusal> {
    let Filled { who, uri, fields } = filled;
    let cells: Vec<_> = columns
        .iter()
        .map(|column| match *column {
            "at" => ("at", super::numbers::utc(fields.get("at"))),
            column => (column, fields.get(column).to_owned()),
        })
        .collect();
    let wrong = match read(&cells) {
        Err(invalid) => invalid.into(),
        Ok(change) => {
            let by = who.name.clone();
            let recorded = service
                .change(move |reader, writer, now| {
                    apart(registry::record(reader, writer, now, &by, &[change]))
                })
                .await?;
            match recorded {
                Ok(_) => return Ok(Ok(on_to("/gear", done))),
                Err(error) => wrongs(error)?,
            }
        }
    };
    let asked = Asked { who, uri, query: Ask::default() };
    Ok(Err(show(service, asked, wrong, fields).await?))
}

impl GearView {
    fn of(gear: &Gear, now: Stamp, set: &[String]) -> GearView {
        let volts = gear.rated_voltage_v.map(|v| format!(" {v} V")).unwrap_or_default();
        let range = match (gear.lowest_ohm, gear.full_scale_ohm) {
            (Some(low), Some(high)) => format!("{} to {}", ohms(low), ohms(high)),
            (None, Some(high)) => format!("up to {}", ohms(high)),
            (Some(low), None) => format!("from {}", ohms(low)),
            (None, None) => String::new(),
        };
        let urgency = match gear.due {
            Some(due) if due < now => "overdue",
            Some(due) if due < now.plus_days(SOON) => "soon",
            _ => "",
        };
        GearView {
            id: gear.id.to_string(),
            kind: gear.kind,
            rating: format!("{}{volts}", gear.category).trim().to_owned(),
            range,
            due: gear.due.map(Stamp::date).unwrap_or_default(),
            urgency,
            remark: gear.remark.to_string(),
            in_circuit: matches!(gear.kind, GearKind::Tester | GearKind::Lead),
            in_set: set.contains(&gear.id.to_string()),
        }
    }
}

impl ProofView {
    fn of(row: &Recorded<Proof>) -> ProofView {
        let proof = &row.value;
        ProofView {
            at: minute(proof.at),
            tester: proof.tester.to_string(),
            what: format!("{}, {} the readings", proof.kind, proof.moment),
            read: proof.value.map(|v| read_words(v, &proof.unit)).unwrap_or_default(),
            passed: proof.passed,
            remark: proof.remark.to_string(),
            by: row.mark.by.to_string(),
        }
    }
}

/// What a proof read: ohms in the words for ohms, anything else with its unit.
fn read_words(value: f64, unit: &str) -> String {
    let number = format!("{value:.3}");
    let number = number.trim_end_matches('0').trim_end_matches('.');
    let written = format!("{value} {unit}");
    match read_resistance(&written) {
        Ok(Resistance::Measured(read)) if !unit.is_empty() => ohms(read),
        _ => format!("{number} {unit}").trim().to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::read_words;

    #[test]
    fn what_a_proof_read_is_written_as_everywhere() {
        for (value, unit, words) in [
            (550e6, "Ω", "550 MΩ"),
            (0.0, "Ω", "0 Ω"),
            (0.02, "MΩ", "20 kΩ"),
            (4.7, "GΩ", "4.7 GΩ"),
            (531.200_000_01, "V", "531.2 V"),
            (1000.0, "V", "1000 V"),
            (3.0, "", "3"),
            (21.5, "°C", "21.5 °C"),
        ] {
            assert_eq!(read_words(value, unit), words);
        }
    }
}
