//! Keeps ward over insulation: reads insulation-resistance readings, keeps them as time series by
//! asset and phase, and says which insulation is declining, how sure it is, and when the trend
//! would reach the limit.
//!
//! The rooms, from the ground up; each may name only those above it in this list that stand on a
//! lower floor (`tests/tidy.rs` holds the table).

pub mod limits;

pub mod model;

pub mod invent;

pub mod trend;

pub mod store;
