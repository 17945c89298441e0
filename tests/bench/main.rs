//! Run sheets on the real binary: a tester on a pseudo-terminal, a person at the forms, and what
//! survives when the service does not.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod document;
mod person;
#[path = "../daemon/running.rs"]
#[expect(dead_code, reason = "shared with the daemon's tests, which use all of it")]
mod running;
mod runs;
#[path = "../daemon/bench.rs"]
#[expect(dead_code, reason = "shared with the daemon's tests, which use all of it")]
mod tester;
mod trouble;
