//! Changes that people make: assets, events, gear, proofs, aliases, corrections, readings by hand,
//! accounts, the audit.
//! Each is checked here, named and dated, and recorded as a new row.

mod accounts;
mod answers;
mod asset;
mod audit;
mod changes;
mod entry;
mod hand;
mod rows;
mod sheets;
mod table;
mod waiting;

pub use accounts::{AccountError, Keys, Office, digest, random};
pub use answers::{AnswerRow, answers, take_over};
pub use asset::{AssetChange, as_read, isolation};
pub use audit::{Audited, Fields, audit};
pub use changes::{Changed, answer, classes_are_known, record};
pub use entry::{Became, Entered, HandReading, enter};
pub use hand::{HandError, correct, move_to, person};
pub use rows::{CorrectionRow, LimitRow, ranges_of};
pub use sheets::{StepRow, steps, take_over_steps};
pub use table::{Register, Row, RowError, read_row, read_rows, write_rows};
pub use waiting::place_waiting;
