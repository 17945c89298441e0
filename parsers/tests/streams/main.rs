//! Whole streams against what is expected of them, and profiles against what they are told.
#![expect(clippy::unwrap_used, reason = "a test that cannot read its own data has failed")]

mod damage;
mod drafts;
mod fixtures;
mod profiles;
mod shown;
