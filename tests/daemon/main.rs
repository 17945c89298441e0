//! The daemon as a whole: the real binary with real pseudo-terminals, real files and real requests.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod bench;
mod faults;
mod folder;
mod http;
mod kill;
mod life;
mod load;
mod running;
mod serial;
