//! The lab sheet: what a learner's run on a training part recorded, held against what is known of
//! that part. For an instructor with a class; it marks records, not people, and says nothing of
//! what was not recorded.

mod marks;
mod run;

pub use marks::{Mark, Met, marks};
pub use run::{Check, LabTest, Run, Step, runs};
