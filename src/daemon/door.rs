//! Connections: how many may be open, and none that takes nothing any more.

use std::collections::HashMap;
use std::future::{Ready, ready};
use std::io;
use std::net::IpAddr;
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};

use axum_server::accept::Accept;
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::TcpStream;
use tokio::time::Sleep;

use crate::limits;
use crate::web::Reach;

/// Files that the rest of the daemon may have open.
const OTHER_FILES: u64 = 256;

/// Lets connections in while there is room.
#[derive(Clone)]
pub(super) struct Door {
    most: usize,
    /// None where one address stands for all: behind a proxy.
    most_of_one: Option<usize>,
    inside: Arc<Mutex<Inside>>,
}

#[derive(Default)]
struct Inside {
    all: usize,
    by_address: HashMap<IpAddr, usize>,
}

impl Door {
    pub(super) fn new(reach: Reach) -> Self {
        let files = raise_limit().saturating_sub(OTHER_FILES) as usize;
        Door {
            most: limits::CONNECTIONS.min(files),
            most_of_one: (!reach.behind_proxy).then_some(limits::CONNECTIONS_OF_ADDRESS),
            inside: Arc::default(),
        }
    }

    fn enter(&self, peer: IpAddr) -> Option<Place> {
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        let own = inside.by_address.get(&peer).copied().unwrap_or(0);
        // This machine's own programs are not held apart: whoever runs here can do worse.
        let crowded = !peer.is_loopback() && self.most_of_one.is_some_and(|most| own >= most);
        if inside.all >= self.most || crowded {
            tracing::debug!(%peer, "a connection too many");
            return None;
        }
        inside.all += 1;
        inside.by_address.insert(peer, own + 1);
        Some(Place { peer, inside: Arc::clone(&self.inside) })
    }
}

/// As many open files as the system allows this process, and how many those are.
fn raise_limit() -> u64 {
    let Rlimit { current, maximum } = getrlimit(Resource::Nofile);
    let wanted = limits::CONNECTIONS as u64 + OTHER_FILES;
    let wanted = maximum.map_or(wanted, |most| most.min(wanted));
    if current.is_some_and(|current| current < wanted)
        && let Err(why) = setrlimit(Resource::Nofile, Rlimit { current: Some(wanted), maximum })
    {
        tracing::warn!("the limit on open files stays as it is: {why}");
    }
    getrlimit(Resource::Nofile).current.unwrap_or(u64::MAX)
}

/// The place of one connection; free again when it is dropped.
struct Place {
    peer: IpAddr,
    inside: Arc<Mutex<Inside>>,
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        inside.all -= 1;
        let left = inside.by_address.get(&self.peer).copied().unwrap_or(1) - 1;
        match left {
            0 => inside.by_address.remove(&self.peer),
            left => inside.by_address.insert(self.peer, left),
        };
    }
}

impl<S> Accept<TcpStream, S> for Door {
    type Stream = Guest;
    type Service = S;
    type Future = Ready<io::Result<(Guest, S)>>;

    fn accept(&self, stream: TcpStream, service: S) -> Self::Future {
        ready(stream.peer_addr().and_then(|peer| {
            stream.set_nodelay(true)?;
            let full = || io::Error::new(io::ErrorKind::ConnectionRefused, "too many connections");
            let place = self.enter(peer.ip().to_canonical()).ok_or_else(full)?;
            Ok((Guest { stream, stalled: None, _place: place }, service))
        }))
    }
}

/// A connection; it ends when what is sent to it is not taken for too long.
pub(super) struct Guest {
    stream: TcpStream,
    stalled: Option<Pin<Box<Sleep>>>,
    _place: Place,
}

impl Guest {
    fn not_for_ever<T>(
        &mut self,
        done: Poll<io::Result<T>>,
        cx: &mut Context<'_>,
    ) -> Poll<io::Result<T>> {
        if done.is_ready() {
            self.stalled = None;
            return done;
        }
        let wait = || Box::pin(tokio::time::sleep(limits::WRITE_PAUSE));
        let stalled = self.stalled.get_or_insert_with(wait);
        match stalled.as_mut().poll(cx) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl AsyncRead for Guest {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buf)
    }
}

impl AsyncWrite for Guest {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &[u8],
    ) -> Poll<io::Result<usize>> {
        let done = Pin::new(&mut self.stream).poll_write(cx, buf);
        self.not_for_ever(done, cx)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bufs: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let done = Pin::new(&mut self.stream).poll_write_vectored(cx, bufs);
        self.not_for_ever(done, cx)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_cannot_take_all_places() {
        let door = Door::new(Reach { beyond: true, tls: true, ..Reach::LOCAL });
        let [one, other, here]: [IpAddr; 3] =
            ["192.0.2.1", "192.0.2.2", "127.0.0.1"].map(|a| a.parse().unwrap());
        let mut inside: Vec<_> =
            (0..limits::CONNECTIONS_OF_ADDRESS).map(|_| door.enter(one).unwrap()).collect();
        assert!(door.enter(one).is_none());
        assert!(door.enter(other).is_some() && door.enter(here).is_some());
        inside.pop();
        assert!(door.enter(one).is_some());
        drop(inside);
        let inside = door.inside.lock().unwrap();
        assert!(inside.all == 0 && inside.by_address.is_empty());
    }

    #[test]
    fn places_are_bounded() {
        let door = Door { most: 2, most_of_one: None, inside: Arc::default() };
        let here = IpAddr::from([127, 0, 0, 1]);
        let inside = [door.enter(here).unwrap(), door.enter(here).unwrap()];
        assert!(door.enter(here).is_none());
        drop(inside);
        assert!(door.enter(here).is_some());
    }
}
