//! Bodies come in time: a client that sends slowly, or not at all, does not hold a request open.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::Instant;

use axum::body::{Body, HttpBody};
use axum::extract::Request;
use tokio_stream::StreamExt;

use crate::limits::{BODY_PAUSE, BODY_TIME};

/// Bounds the pauses within a body and its time as a whole; the flag is set when it came too
/// slowly.
pub(in crate::web) fn timed(request: Request) -> (Request, Arc<AtomicBool>) {
    let slow = Arc::new(AtomicBool::new(false));
    if request.body().is_end_stream() {
        return (request, slow);
    }
    let (began, flag) = (Instant::now(), Arc::clone(&slow));
    let late = move || {
        flag.store(true, Relaxed);
        io::Error::from(io::ErrorKind::TimedOut)
    };
    let request = request.map(|body| {
        let parts = body.into_data_stream().timeout(BODY_PAUSE).map(move |part| match part {
            Ok(_) if began.elapsed() > BODY_TIME => Err(late()),
            Ok(part) => part.map_err(io::Error::other),
            Err(_) => Err(late()),
        });
        Body::from_stream(parts)
    });
    (request, slow)
}
