//! `POST /v1/readings`: a body of readings, answered when they are durable.

use std::net::SocketAddr;
use std::sync::{Arc, PoisonError};

use axum::Json;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{ConnectInfo, FromRequest, Request, State};
use axum::http::{HeaderMap, StatusCode, header};

use utoipa::ToSchema;

use super::wire::TakenOut;
use crate::intake::{BodyImport, BodyKind, BodyTaken};
use crate::limits;
use crate::store::Writer;
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
/// A JSON array is one delivery: all of it is stored or nothing. JSON lines and CSV are taken in
/// parts. Sending the same again gives duplicates, never a second reading.
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
    let kind = kind(request.headers())?;
    // The room is taken before the body is read, so that bodies cannot fill the memory.
    let kib = (announced(request.headers()).min(limits::BODY_BYTES) / 1024 + 1) as u32;
    let room = Arc::clone(&service.room).try_acquire_many_owned(kib).map_err(|_| {
        Refusal::busy(1, "too much is waiting to be stored (send it again a little later)")
    })?;
    let body = Bytes::from_request(request, &()).await.map_err(unread)?;
    let done = tokio::task::spawn_blocking(move || {
        let taken = service.take(kind, &body, &client.ip().to_string());
        drop(room);
        taken
    });
    match done.await {
        Ok(taken) => taken.map(|taken| Json(TakenOut::of(taken))),
        Err(_) => Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, "the request failed")),
    }
}

impl Service {
    fn take(&self, kind: BodyKind, bytes: &[u8], client: &str) -> Result<BodyTaken, Refusal> {
        let registers = self.registers.lock().unwrap_or_else(PoisonError::into_inner).current()?;
        let import = BodyImport {
            kind,
            bytes,
            client,
            profiles: &self.shared.profiles,
            aliases: &registers.aliases,
            gear: &registers.gear,
            now: self.shared.clock.now(),
            first_met: &|id| self.shared.class.asset(id),
        };
        let taken = import.run(&mut self.shared.writer.clone() as &mut dyn Writer)?;
        self.shared.wake.wake();
        self.standing.came(import.now, client);
        let (tally, receipt) = (&self.standing.tally, &taken.receipt);
        tally.bytes.add(bytes.len() as u64);
        tally.count(receipt.accepted, receipt.duplicate, receipt.tray, receipt.rejected);
        Ok(taken)
    }
}

/// How the body is written, by its content type.
fn kind(headers: &HeaderMap) -> Result<BodyKind, Refusal> {
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
        "application/json" => Ok(BodyKind::JsonArray),
        "application/x-ndjson" | "application/jsonl" | "application/json-lines" => {
            Ok(BodyKind::JsonLines)
        }
        "text/csv" => Ok(BodyKind::Csv),
        _ => Err(unsupported(written)),
    }
}

/// The length that a client announces; without one the longest is assumed.
fn announced(headers: &HeaderMap) -> usize {
    let length = headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok());
    length.and_then(|v| v.parse().ok()).unwrap_or(limits::BODY_BYTES)
}

fn unread(rejection: BytesRejection) -> Refusal {
    match rejection.status() {
        StatusCode::PAYLOAD_TOO_LARGE => Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("expected at most {} bytes (send it in parts)", limits::BODY_BYTES),
        ),
        status => Refusal::new(status, rejection.body_text()),
    }
}
