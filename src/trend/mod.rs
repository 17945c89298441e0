//! Statistics of decline: functions of points and settings, without IO, clock, store or log.

pub mod algebra;
mod assess;
pub mod band;
pub mod censored;
pub mod companion;
pub mod crossing;
pub mod decide;
pub mod detect;
pub mod evidence;
pub mod field;
pub mod filter;
pub mod fit;
pub mod imbalance;
pub mod kendall;
pub mod learn;
pub mod multiple;
pub mod normal;
pub mod ols;
pub mod outcome;
pub mod peers;
pub mod penalised;
pub mod projection;
pub mod proven;
pub mod reach;
pub mod reason;
mod recession;
pub mod sen;
pub mod step;
pub mod straight;
pub mod tails;
pub mod words;

pub use assess::{Assessment, Assessor, Habit, LineAssessment, Settings};
pub use detect::{Alarm, Context, CrossingTimes, Notice, NoticeKind};

#[cfg(test)]
mod evidence_tests;
#[cfg(test)]
mod fit_tests;
#[cfg(test)]
mod properties;
