//! The bench: a run sheet leads from choosing the asset to the verdict, fills from the station's
//! stream, and says whose the values are. [`take`](take::take) is its heart: a sheet, a command and
//! what is known give acts or a refusal; acts are kept, and the same acts give the same sheet.

mod act;
mod gear;
mod live;
mod proving;
mod readings;
mod refusal;
mod result;
mod sheet;
mod station;
mod take;
mod wire;
pub mod words;

#[cfg(test)]
mod tests;

pub use act::{Act, Entry, GearChosen, Plan, Point, Proved, Value};
pub use live::LiveValue;
pub use proving::{NOT_TESTED_FROM_V, Settings, brings_energy, discharge_s};
pub use refusal::Refusal;
pub use result::{Effect, Expected, Says, Shown, TestResult, effects, results};
pub use sheet::{Answer, Attempt, End, Sheet, Test};
pub use station::{Asked, Seen, Setup, Station, Stations, Watched, sheet_of};
pub use take::{Command, Facts, Taken, take};
