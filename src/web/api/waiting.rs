//! What waits for a person: readings without an asset or phase, records that could not be read.

use std::collections::HashMap;
use std::collections::hash_map::Entry as Seen;
use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asked::{Asked, Sent};
use super::paging::{List, Page, by_time, list};
use crate::dossier::SourceNames;
use crate::intake::{Again, IntakeError, Registers, Retried, readable, retry};
use crate::store::{Batch, Reader, Result, StoredReject, When};
use crate::web::Service;
use crate::web::refusal::Refusal;

list! {
    /// Options of `GET /v1/tray`.
    TrayQuery {}
}

list! {
    /// Options of `GET /v1/rejects`. A reject has no measuring time: `as_of` changes nothing.
    RejectsQuery {
        /// Also those that a retry has settled.
        #[serde(default)]
        #[param(value_type = Option<bool>)]
        settled: bool,
    }
}

/// A reading that waits for its asset or phase.
#[derive(Serialize, ToSchema)]
pub(super) struct TrayOut {
    /// The id of its reading.
    #[schema(example = "12.345")]
    reading: String,
    /// When it was measured.
    taken_at: String,
    /// When it became known.
    recorded_at: String,
    /// What was written for the asset.
    #[schema(example = "slot 14")]
    written_asset: String,
    /// What was written for the phase.
    #[schema(example = "L1")]
    written_phase: String,
    /// Ohms; what they mean is `bound`.
    resistance_ohm: f64,
    /// `=` measured, `>` at least, `<` at most.
    bound: &'static str,
    /// The tester.
    tester: String,
    /// Why it waits.
    reason: String,
    /// The file, connection, client or person it came from.
    from: String,
}

/// Readings whose asset or phase is not known yet, by time.
#[utoipa::path(get, path = "/v1/tray", tag = "corrections", params(TrayQuery),
    responses((status = 200, description = "The tray.", body = Vec<TrayOut>)))]
pub(super) async fn tray(
    State(service): State<Arc<Service>>,
    asked: Asked<TrayQuery>,
) -> std::result::Result<Page<TrayOut>, Refusal> {
    let when = asked.query.when();
    let rows = service
        .ask(move |reader| {
            let mut sources = SourceNames::new(reader);
            let named = |stored: crate::store::StoredTray| -> Result<_> {
                Ok((sources.of(stored.id.batch)?, stored))
            };
            reader.tray(when)?.into_iter().map(named).collect::<Result<Vec<_>>>()
        })
        .await?;
    let page = Page::of(&asked.query, &asked.uri, rows, |(_, stored)| {
        let id = stored.id;
        format!("{} {:016x} {:016x}", by_time(stored.item.reading.taken_at), id.batch, id.record)
    });
    Ok(page.map(|(from, stored)| TrayOut {
        reading: stored.id.to_string(),
        taken_at: stored.item.reading.taken_at.to_string(),
        recorded_at: stored.recorded_at.to_string(),
        written_asset: stored.item.written_asset.into(),
        written_phase: stored.item.written_phase.into(),
        resistance_ohm: stored.item.reading.ohms,
        bound: stored.item.reading.bound.word(),
        tester: stored.item.reading.tester.to_string(),
        reason: stored.item.reason.into(),
        from,
    }))
}

/// A record that could not be read, kept whole.
#[derive(Serialize, ToSchema)]
pub(super) struct RejectOut {
    /// A number to name it by.
    #[schema(example = 7)]
    number: u64,
    /// Where it came from.
    #[schema(example = "quay-2026-03.csv")]
    source: String,
    /// Which profile could not read it.
    profile: String,
    /// Which record of its delivery, counted from 1.
    record: u64,
    /// Its first byte there.
    offset: u64,
    /// Its length in bytes.
    length: u64,
    /// A short kind for counting.
    kind: String,
    /// What was expected and found.
    reason: String,
    /// Its bytes as text; what is no text is escaped.
    bytes: String,
    /// When it became known.
    recorded_at: String,
    /// Whether a retry has settled it.
    settled: bool,
}

/// Batches by their number, each read once: most rejects come many to a batch.
struct Batches<'r> {
    reader: &'r dyn Reader,
    seen: HashMap<u64, Option<Batch>>,
}

impl<'r> Batches<'r> {
    fn of(reader: &'r dyn Reader) -> Self {
        Batches { reader, seen: HashMap::new() }
    }

    fn get(&mut self, number: u64) -> Result<Option<&Batch>> {
        Ok(match self.seen.entry(number) {
            Seen::Occupied(seen) => seen.into_mut(),
            Seen::Vacant(new) => new.insert(self.reader.batch(number)?),
        }
        .as_ref())
    }

    /// Whether something of a batch was known at a time.
    fn is_known(&mut self, number: u64, when: When) -> Result<bool> {
        Ok(self.get(number)?.is_some_and(|batch| batch.received_at <= when.known_at))
    }

    /// Whether a reject was settled at a time.
    fn is_settled(&mut self, r: &StoredReject, when: When) -> Result<bool> {
        match r.settled_by {
            None => Ok(false),
            Some(by) if self.get(by)?.is_none() => Ok(true),
            Some(by) => self.is_known(by, when),
        }
    }
}

/// A reject with where it came from, as it was known at a time; none where it was not known yet.
fn told(batches: &mut Batches<'_>, r: StoredReject, when: When) -> Result<Option<RejectOut>> {
    if !batches.is_known(r.batch, when)? {
        return Ok(None);
    }
    let settled = batches.is_settled(&r, when)?;
    let Some(batch) = batches.get(r.batch)? else {
        return Ok(None);
    };
    Ok(Some(RejectOut {
        number: r.number,
        source: batch.source.name.to_string(),
        profile: batch.source.profile.to_string(),
        record: r.place.record,
        offset: r.item.offset,
        length: r.item.len,
        kind: r.item.kind.into(),
        reason: r.item.reason.into(),
        bytes: readable(&r.item.bytes),
        recorded_at: batch.received_at.to_string(),
        settled,
    }))
}

/// Records that could not become readings, oldest first.
#[utoipa::path(get, path = "/v1/rejects", tag = "corrections", params(RejectsQuery),
    responses((status = 200, description = "Rejects.", body = Vec<RejectOut>)))]
pub(super) async fn rejects(
    State(service): State<Arc<Service>>,
    asked: Asked<RejectsQuery>,
) -> std::result::Result<Page<RejectOut>, Refusal> {
    let Asked { query, uri } = asked;
    service
        .ask(move |reader| -> Result<_> {
            let (when, mut batches) = (query.when(), Batches::of(reader));
            let past = when.known_at != When::ALWAYS.known_at;
            let mut rows = reader.rejects(query.settled || past)?;
            if past {
                let mut standing = Vec::new();
                for reject in rows {
                    let known = batches.is_known(reject.batch, when)?;
                    if known && (query.settled || !batches.is_settled(&reject, when)?) {
                        standing.push(reject);
                    }
                }
                rows = standing;
            }
            // Only what stands on the page is told in full.
            let page = Page::of(&query, &uri, rows, |r| format!("{:016x}", r.number));
            page.try_map(|reject| told(&mut batches, reject, when))
        })
        .await
}

/// One reject.
#[utoipa::path(get, path = "/v1/rejects/{number}", tag = "corrections",
    params(("number" = u64, Path, description = "Its number.", example = 7)),
    responses((status = 200, description = "The reject.", body = RejectOut)))]
pub(super) async fn reject(
    State(service): State<Arc<Service>>,
    Path(number): Path<String>,
) -> std::result::Result<Json<RejectOut>, Refusal> {
    let wrong = || crate::model::Invalid::new("number", "the number of a reject", &number);
    let number: u64 = number.parse().map_err(|_| wrong())?;
    let found = service
        .ask(move |reader| -> Result<_> {
            let found = reader.rejects(true)?.into_iter().find(|r| r.number == number);
            Ok(found
                .map(|r| told(&mut Batches::of(reader), r, When::ALWAYS))
                .transpose()?
                .flatten())
        })
        .await?;
    found.map(Json).ok_or_else(|| no_reject(number))
}

fn no_reject(number: u64) -> Refusal {
    let error = format!("there is no reject {number} (GET /v1/rejects lists those that wait)");
    Refusal::new(StatusCode::NOT_FOUND, error)
}

/// Which rejects are to be read again.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RetryIn {
    /// Their numbers; left out: all that wait.
    #[schema(example = json!([7]))]
    numbers: Option<Vec<u64>>,
    /// Another profile than the one they were read by.
    profile: Option<String>,
}

/// What became of rejects that were read again.
#[derive(Serialize, ToSchema)]
pub(super) struct RetriedOut {
    /// Readings stored.
    accepted: u64,
    /// Readings that were there already.
    duplicate: u64,
    /// Readings put in the tray.
    tray: u64,
    /// Records that still cannot be read.
    rejected: u64,
}

/// Reads rejects again, after their profile was mended.
#[utoipa::path(post, path = "/v1/rejects/retry", tag = "corrections", request_body = RetryIn,
    responses((status = 200, description = "What became of them.", body = RetriedOut)))]
pub(super) async fn retry_rejects(
    State(service): State<Arc<Service>>,
    Sent(asked): Sent<RetryIn>,
) -> std::result::Result<Json<RetriedOut>, Refusal> {
    let shared = Arc::clone(&service.shared);
    let waiting = service.ask(|reader| reader.rejects(false)).await?;
    let missing = |n: &&u64| !waiting.iter().any(|r| r.number == **n);
    if let Some(&number) = asked.numbers.iter().flatten().find(missing) {
        return Err(no_reject(number));
    }
    let chosen = |r: &StoredReject| asked.numbers.as_ref().is_none_or(|n| n.contains(&r.number));
    let rejects: Vec<StoredReject> = waiting.into_iter().filter(chosen).collect();
    let done = service
        .change(move |reader, writer, now| -> std::result::Result<Retried, IntakeError> {
            let registers = Registers::read(reader)?;
            let again = Again {
                kept: &shared.store.kept(),
                profiles: &shared.every_profile(),
                profile: asked.profile.as_deref(),
                aliases: &registers.aliases,
                gear: &registers.gear,
                now,
                first_met: &|id| shared.class.asset(id),
            };
            retry(reader, writer, &again, rejects)
        })
        .await?;
    Ok(Json(RetriedOut {
        accepted: done.accepted,
        duplicate: done.duplicate,
        tray: done.tray,
        rejected: done.rejected,
    }))
}
