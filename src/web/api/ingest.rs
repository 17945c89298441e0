//! `POST /v1/readings`: a body of readings, answered when they are durable.

use std::net::SocketAddr;
use std::pin::pin;
use std::sync::Arc;

use axum::Json;
use axum::body::{Body, Bytes};
use axum::extract::rejection::BytesRejection;
use axum::extract::{ConnectInfo, FromRequest, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use tokio::sync::{OwnedSemaphorePermit, mpsc};
use tokio_stream::StreamExt;
use utoipa::ToSchema;

use super::asking::aside;
use super::wire::TakenOut;
use crate::intake::{BodyImport, BodyTaken, IntakeError, LinesKind};
use crate::limits;
use crate::store::sqlite::WriterHandle;
use crate::web::Service;
use crate::web::refusal::Refusal;

/// Content types that are taken, as they are named to a client.
const TAKEN: &str = "`application/json` (an array), `application/x-ndjson` (an object a line) or \
`text/csv` (canonical CSV)";

/// A reading as it may be sent: the canonical columns. `taken_at`, `asset`, `phase` and
/// `resistance_ohm` are needed; a record that cannot be read is answered in `rejected`.
#[derive(ToSchema)]
#[expect(dead_code, reason = "it describes what the parsers read")]
pub(super) struct ReadingIn {
    /// When it was measured.
    #[schema(example = "2026-03-02T08:15:00Z")]
    taken_at: String,
    /// The asset's id, or another name of it.
    #[schema(example = "YT-014/drive")]
    asset: String,
    /// What the live lead was on.
    #[schema(example = "U")]
    phase: String,
    /// What the other lead was on; left out: `case`.
    #[schema(example = "case")]
    against: Option<String>,
    /// What else defines comparability.
    setup: Option<String>,
    /// Ohms; what they mean is `bound`.
    #[schema(example = 550e6)]
    resistance_ohm: f64,
    /// `=` measured, `>` at least, `<` at most; left out: `=`.
    #[schema(example = ">")]
    bound: Option<String>,
    /// Nominal test voltage in volts.
    #[schema(example = 500.0)]
    test_voltage_v: Option<f64>,
    /// Delivered voltage in volts.
    delivered_voltage_v: Option<f64>,
    /// Seconds of applied voltage.
    #[schema(example = 60.0)]
    duration_s: Option<f64>,
    /// Degrees Celsius.
    #[schema(example = 22.0)]
    temperature_c: Option<f64>,
    /// What that temperature was of: `winding` or `ambient`.
    #[schema(example = "winding")]
    temperature_of: Option<String>,
    /// Relative humidity in per cent.
    humidity_pct: Option<f64>,
    /// The tester.
    #[schema(example = "HT-5")]
    tester: Option<String>,
    /// Who measured.
    operator: Option<String>,
    /// Where.
    station: Option<String>,
    /// Free text.
    remark: Option<String>,
}

/// Takes in readings; answers when they are durable.
///
/// A JSON array is read whole; JSON lines and CSV are taken in as they come, however long they are.
/// Where it is answered by 503 a part may be stored already: send all of it again. Sending the same again gives duplicates, never a second reading.
#[utoipa::path(post, path = "/v1/readings", tag = "readings",
    request_body(
        description = "A JSON array of readings, one JSON object a line, or canonical CSV.",
        content((Vec<ReadingIn> = "application/json"), (String = "application/x-ndjson",
            example = "{\"taken_at\":\"2026-03-02T08:15:00Z\",\"asset\":\"YT-014/drive\",\"phase\":\"U\",\"resistance_ohm\":5.5e8,\"bound\":\">\"}\n"),
            (String = "text/csv",
            example = "taken_at,asset,phase,resistance_ohm,bound\n2026-03-02T08:15:00Z,YT-014/drive,U,550000000,>\n"))
    ),
    responses((status = 200, description = "Every record, counted once; also when all are \
        rejected.", body = TakenOut)))]
pub(super) async fn send_readings(
    State(service): State<Arc<Service>>,
    ConnectInfo(client): ConnectInfo<SocketAddr>,
    request: Request,
) -> Result<Json<TakenOut>, Refusal> {
    let client = client.ip().to_string();
    let taken = match kind(request.headers())? {
        None => service.take_array(request, client).await?,
        Some(kind) => service.take_lines(kind, request, client).await?,
    };
    Ok(Json(TakenOut::of(taken)))
}

impl Service {
    /// The room is taken before a body is read, so that bodies cannot fill the memory.
    fn room(&self, kib: u32) -> Result<OwnedSemaphorePermit, Refusal> {
        Arc::clone(&self.room).try_acquire_many_owned(kib).map_err(|_| {
            Refusal::busy(1, "too much is waiting to be stored (send it again a little later)")
        })
    }

    async fn take_array(
        self: &Arc<Self>,
        request: Request,
        client: String,
    ) -> Result<BodyTaken, Refusal> {
        let most = limits::BODY_BYTES as u64;
        let kib = announced(request.headers()).unwrap_or(most).min(most) / 1024 + 1;
        let room = self.room(kib as u32)?;
        let body = Bytes::from_request(request, &()).await.map_err(unread)?;
        let service = Arc::clone(self);
        aside(move || {
            let length = body.len() as u64;
            let taken =
                service.take(&client, length, |import, mut store| import.array(&body, &mut store));
            drop(room);
            taken
        })
        .await
    }

    /// The bytes go through a short queue: a client is read only as fast as its lines are stored.
    async fn take_lines(
        self: &Arc<Self>,
        kind: LinesKind,
        request: Request,
        client: String,
    ) -> Result<BodyTaken, Refusal> {
        let most = limits::LINES_BYTES;
        if announced(request.headers()).is_some_and(|length| length > most) {
            return Err(too_long(most));
        }
        let room = self.room(limits::LINES_KIB)?;
        let (queue, mut parts) = mpsc::channel(limits::LINES_QUEUE);
        let service = Arc::clone(self);
        let storing = aside(move || {
            let mut parts = std::iter::from_fn(move || parts.blocking_recv());
            let taken = service.take(&client, 0, |import, store| {
                let mut store = store.with_part_bytes(limits::LINES_PART_BYTES);
                import.lines(kind, &mut parts, &mut store)
            });
            drop(room);
            taken
        });
        let storing = tokio::spawn(storing);
        let fed = self.feed(request.into_body(), queue).await;
        let failed = "the request failed by a fault of this program";
        let taken = storing
            .await
            .unwrap_or_else(|_| Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, failed)));
        match fed {
            // What the client is told of its own body comes first.
            Some(refusal) => Err(refusal),
            None => taken,
        }
    }

    /// Hands on a body as it comes; says why not all of it.
    async fn feed(&self, body: Body, queue: mpsc::Sender<Part>) -> Option<Refusal> {
        let mut bytes = body.into_data_stream();
        let mut ended = pin!(self.shared.news.ended());
        let mut read = 0;
        loop {
            let next = tokio::select! {
                next = tokio::time::timeout(limits::BODY_QUIET, bytes.next()) => next,
                () = &mut ended => {
                    let why = "the service is ending (send all of it again)";
                    return cut(&queue, Refusal::busy(5, why)).await;
                }
            };
            let part = match next {
                Ok(None) => return None,
                Ok(Some(Ok(part))) => part,
                Ok(Some(Err(e))) => {
                    let why = format!("the body broke off: {e} (send all of it again)");
                    return cut(&queue, Refusal::new(StatusCode::BAD_REQUEST, why)).await;
                }
                Err(_) => {
                    let why = "nothing came for too long (send all of it again)";
                    return cut(&queue, Refusal::new(StatusCode::REQUEST_TIMEOUT, why)).await;
                }
            };
            read += part.len() as u64;
            if read > limits::LINES_BYTES {
                return cut(&queue, too_long(limits::LINES_BYTES)).await;
            }
            self.standing.tally.bytes.add(part.len() as u64);
            // Large parts are cut, so that the queue is short in bytes too.
            for part in part.chunks(PART) {
                // Nobody takes it any more: the store refused, and says why itself.
                queue.send(Ok(part.to_vec())).await.ok()?;
            }
        }
    }

    fn take(
        &self,
        client: &str,
        bytes: u64,
        take: impl FnOnce(&BodyImport<'_>, WriterHandle) -> Result<BodyTaken, IntakeError>,
    ) -> Result<BodyTaken, Refusal> {
        let registers = self.shared.registers.current()?;
        let now = self.shared.clock.now();
        let import = BodyImport {
            client,
            profiles: &self.shared.profiles,
            aliases: &registers.aliases,
            gear: &registers.gear,
            now,
            first_met: &|id| self.shared.class.asset(id),
        };
        let taken = take(&import, self.shared.writer.clone());
        // A part may be stored even where the whole was refused.
        self.shared.wake.wake();
        let taken = taken?;
        self.standing.came(now, client);
        let (tally, receipt) = (&self.standing.tally, &taken.receipt);
        tally.bytes.add(bytes);
        tally.count(receipt.accepted, receipt.duplicate, receipt.tray, receipt.rejected);
        Ok(taken)
    }
}

/// Some bytes of a body, or why there are no more.
type Part = Result<Vec<u8>, String>;

/// Most bytes of a part.
const PART: usize = 64 * 1024;

/// Ends a body before its end: a line that was begun is not taken for a whole one.
async fn cut(queue: &mpsc::Sender<Part>, refusal: Refusal) -> Option<Refusal> {
    // Where nobody takes it any more nothing is stored either.
    queue.send(Err("the body broke off".to_owned())).await.ok();
    Some(refusal)
}

fn too_long(most: u64) -> Refusal {
    let error = format!("expected at most {most} bytes (send it in parts)");
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, error)
}

/// How the body is written, by its content type; none: as an array.
fn kind(headers: &HeaderMap) -> Result<Option<LinesKind>, Refusal> {
    let unsupported = |found: &str| {
        let error = format!("expected {TAKEN}, found `{found}`");
        Refusal::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, error)
    };
    let text = |name| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
    if let Some(coding) = text(header::CONTENT_ENCODING).filter(|c| *c != "identity") {
        return Err(unsupported(&format!("content encoding {coding}")));
    }
    let written = text(header::CONTENT_TYPE).ok_or_else(|| unsupported("no content type"))?;
    let media = written.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    match media.as_str() {
        "application/json" => Ok(None),
        "application/x-ndjson" | "application/jsonl" | "application/json-lines" => {
            Ok(Some(LinesKind::Json))
        }
        "text/csv" => Ok(Some(LinesKind::Csv)),
        _ => Err(unsupported(written)),
    }
}

/// The length that a client announces.
fn announced(headers: &HeaderMap) -> Option<u64> {
    headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok())?.parse().ok()
}

fn unread(rejection: BytesRejection) -> Refusal {
    match rejection.status() {
        StatusCode::PAYLOAD_TOO_LARGE => too_long(limits::BODY_BYTES as u64),
        status => Refusal::new(status, rejection.body_text()),
    }
}
