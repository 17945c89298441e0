//! Whole streams against what is expected of them, and profiles against what they are told.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

mod damage;
mod drafts;
mod fixtures;
mod profiles;
mod shown;
