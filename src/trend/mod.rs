//! Statistics of decline: functions of points and settings, without IO, clock, store or log.

pub mod companion;
pub mod detect;
pub mod filter;
pub mod imbalance;
pub mod peers;
pub mod projection;
