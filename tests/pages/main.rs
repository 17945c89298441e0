//! The pages without a browser: what their forms do, by plain HTTP.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

#[path = "../access/ask.rs"]
#[expect(dead_code, reason = "shared with the tests of access, which use all of it")]
mod ask;
mod change;
mod lists;
#[path = "../daemon/running.rs"]
#[expect(dead_code, reason = "shared with the daemon's tests, which use all of it")]
mod running;
