//! Who is let in: tokens of programs, sessions of people, what is refused before anybody looks at
//! it, and how often one may try.

mod body;
mod headers;
mod lasting;
mod login;
mod notes;
mod origin;
mod sessions;
mod throttle;

use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use axum::extract::{DefaultBodyLimit, Request};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::routing::{self, MethodRouter};
use tokio::sync::Semaphore;

use super::Service;
use super::refusal::Refusal;
use super::route::{Needs, Route};
use crate::limits;
use crate::model::{AccessKind, Stamp, Token};
use crate::registry::Keys;
use crate::store::Result as StoreResult;
use crate::store::sqlite::SqliteReader;
use notes::Notes;
use sessions::Sessions;
use throttle::Throttle;

pub(super) use body::timed;
pub(super) use headers::harden;
pub(super) use lasting::{Shown, lasting};
pub(super) use login::{cookie, csrf_of_form, decoded, forged, is_same};
pub(super) use origin::{admit, client};
pub(super) use sessions::Session;

/// How the service is reached: fixed when it starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reach {
    /// From other machines: the address is not one of this machine alone.
    pub beyond: bool,
    /// Under TLS.
    pub tls: bool,
    /// Through a proxy that tells the client's address.
    pub behind_proxy: bool,
    /// Whether browsers are told to come by TLS alone.
    pub tls_alone: bool,
}

impl Reach {
    /// From this machine alone.
    pub const LOCAL: Reach =
        Reach { beyond: false, tls: false, behind_proxy: false, tls_alone: false };

    /// Whether a service without accounts may be open to all who reach it.
    fn may_be_open(self) -> bool {
        !self.beyond && !self.behind_proxy
    }

    /// Whether browsers speak TLS to it, so that cookies must not travel otherwise.
    fn is_secure(self) -> bool {
        self.tls || self.behind_proxy
    }
}

/// What is known of who may come and who is here.
pub(super) struct Access {
    pub(super) reach: Reach,
    keys: Mutex<KeyWatch>,
    pub(super) sessions: Sessions,
    throttle: Throttle,
    notes: Notes,
    /// Passwords that may be checked at once: each takes memory and a processor.
    hashing: Semaphore,
}

impl Access {
    pub(super) fn new(reach: Reach, reader: SqliteReader) -> Self {
        Access {
            reach,
            keys: Mutex::new(KeyWatch { reader, seen: None, current: Arc::default() }),
            sessions: Sessions::default(),
            throttle: Throttle::default(),
            notes: Notes::default(),
            hashing: Semaphore::new(limits::HASHES_AT_ONCE),
        }
    }

    /// Whether everybody who reaches the service may do everything.
    pub(super) fn is_open(&self, keys: &Keys) -> bool {
        self.reach.may_be_open() && keys.is_empty()
    }
}

/// The keys as they are now. Commands of other processes change them as well, so the store's
/// change counter is looked at with every request.
struct KeyWatch {
    reader: SqliteReader,
    seen: Option<i64>,
    current: Arc<Keys>,
}

impl KeyWatch {
    fn current(&mut self) -> StoreResult<Arc<Keys>> {
        let counter = self.reader.change_counter()?;
        if self.seen != Some(counter) {
            let now = Keys::read(&self.reader)?;
            if now != *self.current {
                self.current = Arc::new(now);
            }
            self.seen = Some(counter);
        }
        Ok(Arc::clone(&self.current))
    }
}

impl Service {
    /// Who may come in now.
    pub(super) async fn keys(self: &Arc<Self>) -> Result<Arc<Keys>, Refusal> {
        let service = Arc::clone(self);
        let read = move || {
            let mut keys = service.access.keys.lock().unwrap_or_else(PoisonError::into_inner);
            keys.current()
        };
        match tokio::task::spawn_blocking(read).await {
            Ok(keys) => Ok(keys?),
            Err(_) => Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, "the request failed")),
        }
    }

    /// The token of an `Authorization` header. One that counts is never held up; one that does not
    /// is counted against where it came from.
    pub(super) fn bearer(
        self: &Arc<Self>,
        keys: &Keys,
        shown: &HeaderValue,
        client: IpAddr,
    ) -> Result<Token, Refusal> {
        let shown = shown.to_str().unwrap_or_default();
        let (scheme, token) = shown.split_once(' ').unwrap_or((shown, ""));
        let now: Stamp = self.shared.clock.now();
        if scheme.eq_ignore_ascii_case("bearer")
            && let Some(token) = keys.token(token.trim(), now)
        {
            return Ok(token.clone());
        }
        self.note(AccessKind::TokenRefused, "", client);
        self.access.throttle.of_client(client, Instant::now()).map_err(slow_down)?;
        Err(Refusal::new(
            StatusCode::UNAUTHORIZED,
            "expected `Authorization: Bearer` with a token that counts: this one is unknown, \
             revoked or has expired (`ohmward token list` shows all)",
        ))
    }
}

/// Too many tries.
fn slow_down(seconds: u16) -> Refusal {
    Refusal::slow_down(seconds, "tried in vain too often (wait as long as `Retry-After` says)")
}

/// Nobody is known to call.
pub(super) fn nobody() -> Refusal {
    Refusal::new(
        StatusCode::UNAUTHORIZED,
        "this service asks who you are: log in, or send `Authorization: Bearer` with a token \
         (`ohmward account add`, `ohmward token add`)",
    )
}

/// Whether a method is meant to change nothing (RFC 9110, section 9.2.1).
pub(super) fn is_safe(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// Whether a request comes from a person's browser that wants a page.
fn wants_page(headers: &HeaderMap) -> bool {
    let accept = headers.get(header::ACCEPT).and_then(|accept| accept.to_str().ok());
    accept.is_some_and(|accept| accept.contains("text/html"))
}

/// Logging in and out, and saying who one is where there are no accounts.
pub(super) fn table() -> Vec<Route> {
    let post = |path, handler: MethodRouter<Arc<Service>>| {
        let limited = handler.layer(DefaultBodyLimit::max(limits::LOGIN_BYTES));
        Route::new(Method::POST, path, Needs::Nothing, limited)
    };
    vec![
        post("/login", routing::post(login::log_in)),
        post("/logout", routing::post(login::log_out)),
        post("/who", routing::post(login::say_who)),
    ]
}

/// The session that a request shows.
pub(super) fn session(service: &Service, keys: &Keys, request: &Request) -> Option<Session> {
    let shown = cookie(request.headers(), login::session_cookie(service.access.reach))?;
    service.access.sessions.find(&shown, keys, Instant::now())
}
