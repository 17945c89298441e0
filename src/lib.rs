//! Keeps ward over insulation: reads insulation-resistance readings, keeps them as time series by
//! asset and phase, and says which insulation is declining, how sure it is, and when the trend
//! would reach the limit.
//!
//! The rooms, from the ground up; each may name only those above it in this list that stand on a
//! lower floor (`tests/tidy.rs` holds the table).

pub mod limits;

pub mod clock;
pub mod model;
pub mod standards;

pub mod invent;
pub mod normalise;
pub mod trend;
pub mod visits;

pub mod notify;
pub mod sources;
pub mod store;

pub mod dossier;
pub mod intake;
pub mod registry;

pub mod bench;
pub mod export;
pub mod lab;
pub mod replay;
pub mod report;
pub mod watch;

pub mod config;
pub mod web;

pub mod daemon;

mod cli;
pub use cli::run;
