//! Statistics of decline: functions of points and settings, without IO, clock, store or log.

pub mod algebra;
pub mod assess;
pub mod censored;
pub mod crossing;
pub mod decide;
pub mod field;
pub mod fit;
pub mod kendall;
pub mod multiple;
pub mod normal;
pub mod ols;
pub mod outcome;
pub mod penalised;
pub mod proven;
pub mod reach;
pub mod reason;
mod recession;
pub mod sen;
pub mod step;
pub mod straight;
pub mod tails;
pub mod words;

pub use assess::{Assessment, LineAssessment, Settings, assess};

#[cfg(test)]
mod assess_tests;
#[cfg(test)]
mod fit_tests;
#[cfg(test)]
mod properties;
