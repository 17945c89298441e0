//! `POST /v1/readings`: a body of readings, answered when they are durable.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Json;
use axum::body::Bytes;
use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, StatusCode, header};
use tokio::sync::mpsc;
use utoipa::ToSchema;

use super::asking::aside;
use super::coming::Coming;
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
    async fn take_array(
        self: &Arc<Self>,
        request: Request,
        client: String,
    ) -> Result<BodyTaken, Refusal> {
        let mut coming = Coming::new(self, request, limits::BODY_BYTES as u64)?;
        let body = coming.collect(u64::MAX).await?;
        self.take_whole(coming, client, move |import, store| import.array(&body, store)).await
    }

    /// Short ones are stored when they are here. Long ones go through a short queue: a client is
    /// read only as fast as its lines are stored.
    async fn take_lines(
        self: &Arc<Self>,
        kind: LinesKind,
        request: Request,
        client: String,
    ) -> Result<BodyTaken, Refusal> {
        let mut coming = Coming::new(self, request, limits::LINES_BYTES)?;
        let begun = coming.collect(limits::LINES_AWAITED).await?;
        if coming.ended {
            return self
                .take_whole(coming, client, move |import, store| {
                    import.lines(kind, &mut std::iter::once(Ok(begun)), store)
                })
                .await;
        }
        let room = coming.flow().await?;
        let (queue, mut parts) = mpsc::channel(limits::LINES_QUEUE);
        let service = Arc::clone(self);
        let storing = tokio::spawn(aside(move || {
            let mut parts = std::iter::from_fn(move || parts.blocking_recv());
            let taken = service.take(&client, |import, store| {
                let mut store = store.with_part_bytes(limits::LINES_PART_BYTES);
                import.lines(kind, &mut parts, &mut store)
            });
            drop(room);
            taken
        }));
        let fed = feed(begun, &mut coming, &queue).await;
        if fed.is_err() {
            // A line that was begun is not taken for a whole one. Where nobody takes it any more
            // nothing is stored either.
            queue.send(Err("the body broke off".to_owned())).await.ok();
        }
        drop(queue);
        let failed = "the request failed by a fault of this program";
        let taken = storing
            .await
            .unwrap_or_else(|_| Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, failed)));
        // What the client is told of its own body comes first.
        fed.and(taken)
    }

    /// Stores a body that is here; its room is free when it is stored.
    async fn take_whole(
        self: &Arc<Self>,
        coming: Coming,
        client: String,
        take: impl FnOnce(&BodyImport<'_>, &mut WriterHandle) -> Result<BodyTaken, IntakeError>
        + Send
        + 'static,
    ) -> Result<BodyTaken, Refusal> {
        let service = Arc::clone(self);
        aside(move || {
            let taken = service.take(&client, |import, mut store| take(import, &mut store));
            drop(coming);
            taken
        })
        .await
    }

    fn take(
        &self,
        client: &str,
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
        tally.count(receipt.accepted, receipt.duplicate, receipt.tray, receipt.rejected);
        Ok(taken)
    }
}

/// Some bytes of a body, or why there are no more.
type Part = Result<Vec<u8>, String>;

/// Most bytes of a part.
const PART: usize = 64 * 1024;

/// Hands on a body as it comes.
///
/// # Errors
/// Why not all of it came.
async fn feed(
    begun: Vec<u8>,
    coming: &mut Coming,
    queue: &mpsc::Sender<Part>,
) -> Result<(), Refusal> {
    let mut next = Some(Bytes::from(begun));
    while let Some(bytes) = next {
        // Large parts are cut, so that the queue is short in bytes too.
        for part in bytes.chunks(PART) {
            if queue.send(Ok(part.to_vec())).await.is_err() {
                // Nobody takes it any more: the store refused, and says why itself.
                return Ok(());
            }
        }
        next = coming.next().await?;
    }
    Ok(())
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
