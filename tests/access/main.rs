//! Who is let in, and what bad requests do: the real binary, asked over real connections.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod ask;
mod audit;
mod exposed;
mod local;
mod matrix;
mod people;
mod rough;
#[path = "../daemon/running.rs"]
#[expect(dead_code, reason = "shared with the daemon's tests, which use all of it")]
mod running;
mod slow;
