//! The pages in a real browser: what people do on them, with mouse and keyboard, on a phone and a
//! desk, in light and dark.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod asset;
mod bench;
mod change;
mod checks;
mod driver;
mod entry;
mod findings;
mod fleet;
mod looks;
mod paper;
#[path = "../bench/person.rs"]
#[expect(dead_code, reason = "shared with the bench's tests, which use all of it")]
mod person;
mod quay;
mod roles;
#[path = "../daemon/running.rs"]
#[expect(dead_code, reason = "shared with the daemon's tests, which use all of it")]
mod running;
#[path = "../daemon/bench.rs"]
#[expect(dead_code, reason = "shared with the daemon's tests, which use all of it")]
mod tester;
mod waiting;
