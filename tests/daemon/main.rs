//! The daemon as a whole: the real binary with real pseudo-terminals, real files and real requests.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]
#![expect(
    clippy::print_stdout,
    reason = "figures and skipped checks are shown to who runs the tests"
)]

mod api;
mod bench;
mod clock;
mod demo;
mod faults;
mod folder;
mod fuzz;
mod http;
mod kill;
mod life;
mod lines;
mod load;
mod messages;
mod postman;
mod receiver;
mod reports;
mod running;
mod serial;
mod stream;
