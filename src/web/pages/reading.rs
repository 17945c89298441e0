//! One reading: all that is known of it, what was done with it, and how to put it right.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Redirect;
use serde::Deserialize;

use super::asked::{Asked, Fields, Filled, Wrongs, apart, on_to, segment, wrongs};
use super::numbers::{bounded, filters, minute};
use super::visit::ReadingView;
use super::{Frame, Page, Section};
use crate::dossier::SourceNames;
use crate::intake::readable;
use crate::model::{AssetId, CorrectionKind, Phase, ReadingId};
use crate::registry::{correct, move_to};
use crate::store::sqlite::SqliteReader;
use crate::store::{Reader, Result as StoreResult, StoreError, When};
use crate::web::Service;
use crate::web::refusal::Refusal;

#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct Ask {
    done: String,
}

#[derive(Template)]
#[template(path = "reading.html", config = "src/web/pages/askama.toml")]
pub(super) struct ReadingPage {
    frame: Frame,
    id: ReadingId,
    asset: String,
    phase: String,
    /// As it counts now; none while it is in the tray.
    reading: Option<ReadingView>,
    facts: Vec<(&'static str, String)>,
    /// The line as it came, of a stream.
    line: Option<String>,
    corrections: Vec<CorrectionView>,
    is_void: bool,
    is_doubted: bool,
    wrong: Wrongs,
    fields: Fields,
}

struct CorrectionView {
    at: String,
    by: String,
    what: String,
    reason: String,
}

pub(super) async fn page(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    asked: Asked<Ask>,
) -> Result<Page<ReadingPage>, Refusal> {
    let id = ReadingId::parse(&id)?;
    let frame = Frame::new(format!("Reading {id}"), Some(asked.who), &asked.uri)
        .under(Section::Fleet)
        .having_done(&asked.query.done);
    show(&service, id, frame, Wrongs::default(), Fields::default()).await
}

/// Puts a reading right: void, restore, overrule or move it.
pub(super) async fn put_right(
    State(service): State<Arc<Service>>,
    Path(id): Path<String>,
    filled: Filled,
) -> Result<Result<Redirect, Page<ReadingPage>>, Refusal> {
    let id = ReadingId::parse(&id)?;
    let Filled { who, uri, fields } = filled;
    let act = fields.get("act").to_owned();
    let kind = match act.as_str() {
        "void" => Some(CorrectionKind::Void),
        "restore" => Some(CorrectionKind::Restore),
        "overrule" => Some(CorrectionKind::Overrule),
        _ => None,
    };
    let (given, by) = (fields.clone(), who.name.clone());
    let done = service
        .change(move |reader, writer, now| {
            let reason = given.get("reason");
            apart(match kind {
                Some(kind) => correct(reader, writer, now, &by, id, kind, reason),
                None => AssetId::new(given.get("asset")).map_err(Into::into).and_then(|asset| {
                    let phase = Some(given.get("phase")).filter(|p| !p.is_empty());
                    move_to(reader, writer, (now, &by), id, (&asset, phase), reason)
                }),
            })
        })
        .await?;
    match done {
        Ok(()) => {
            let done = if act.is_empty() { "move" } else { &act };
            Ok(Ok(on_to(&format!("/reading/{id}"), done)))
        }
        Err(error) => {
            let frame = Frame::new(format!("Reading {id}"), Some(who), &uri).under(Section::Fleet);
            Ok(Err(show(&service, id, frame, wrongs(error)?, fields).await?))
        }
    }
}

/// Where a reading belongs now, after what people put right.
fn belongs(reader: &SqliteReader, id: ReadingId) -> StoreResult<Option<(AssetId, Phase)>> {
    let stored = reader.find(id)?.ok_or(StoreError::NoReading(id))?;
    let series = &stored.reading.series;
    let first = (series.asset.clone(), series.phase.clone());
    let moves = reader.corrections(&first.0, When::ALWAYS)?.into_iter();
    let last = moves.rev().find_map(|row| match row.value.kind {
        CorrectionKind::Move { asset, phase } if row.value.reading == id => Some((asset, phase)),
        _ => None,
    });
    Ok(if stored.in_tray { last } else { Some(last.unwrap_or(first)) })
}

async fn show(
    service: &Arc<Service>,
    id: ReadingId,
    frame: Frame,
    wrong: Wrongs,
    fields: Fields,
) -> Result<Page<ReadingPage>, Refusal> {
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = service
        .ask_desk(When::ALWAYS, move |reader, desk| {
            let stored = reader.find(id)?.ok_or(StoreError::NoReading(id))?;
            let place = belongs(reader, id)?;
            let from = SourceNames::new(reader).of(id.batch)?;
            let (mut is_void, mut is_doubted) = (false, false);
            let mut reading = None;
            if let Some((asset, _)) = &place {
                let entry = desk.reading(asset, id)?;
                is_void = entry.as_ref().is_some_and(|e| e.judged.corrected.voided.is_some());
                is_doubted = entry.as_ref().is_some_and(|e| {
                    use crate::visits::{Exclusion, Role};
                    matches!(
                        e.judged.role,
                        Role::LeftOut(Exclusion::ProofFailed(_) | Exclusion::NoContact(_))
                    )
                });
                reading = entry.as_ref().map(ReadingView::of);
            }
            let r = &stored.reading;
            let batch = reader.batch(id.batch)?;
            let waiting = match stored.in_tray {
                true => reader.tray(When::ALWAYS)?.into_iter().find(|t| t.id == id),
                false => None,
            };
            let (written_asset, written_phase) = waiting
                .map(|t| (t.item.written_asset.to_string(), t.item.written_phase.to_string()))
                .unwrap_or_default();
            let facts = [
                ("As read", bounded(r.bound.word(), r.ohms)),
                ("Asset as written", written_asset),
                ("Phase as written", written_phase),
                ("Taken", minute(r.taken_at)),
                ("Became known", minute(stored.recorded_at)),
                ("Time known to the", r.precision.to_string()),
                ("Tester", r.tester.to_string()),
                ("Operator", r.operator.to_string()),
                ("Station", r.station.to_string()),
                ("Remark", r.remark.to_string()),
                ("From", format!("{from}, record {} of batch {}", id.record, id.batch)),
                ("Came by", batch.map(|b| b.source.kind.to_string()).unwrap_or_default()),
            ];
            let corrections = reader
                .all_corrections(When::ALWAYS)?
                .into_iter()
                .filter(|row| row.value.reading == id)
                .map(|row| CorrectionView {
                    at: minute(row.mark.recorded_at),
                    by: row.mark.by.to_string(),
                    what: match &row.value.kind {
                        CorrectionKind::Void => "void".to_owned(),
                        CorrectionKind::Restore => "counts again".to_owned(),
                        CorrectionKind::Overrule => "counts although a proof failed".to_owned(),
                        CorrectionKind::Move { asset, phase } => format!("to {asset} {phase}"),
                    },
                    reason: row.value.reason.to_string(),
                })
                .collect();
            let (asset, phase) = place
                .map(|(asset, phase)| (asset.to_string(), phase.to_string()))
                .unwrap_or_default();
            Ok(ReadingPage {
                frame,
                id,
                asset,
                phase,
                reading,
                facts: facts.into_iter().filter(|(_, value)| !value.is_empty()).collect(),
                line: reader.line(id.batch, id.record)?.map(|bytes| readable(&bytes)),
                corrections,
                is_void,
                is_doubted,
                wrong,
                fields,
            })
        })
        .await?;
    Ok(Page(status, page))
}

impl ReadingPage {
    fn asset_path(&self) -> String {
        format!("/asset/{}", segment(&self.asset))
    }
}
