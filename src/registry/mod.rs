//! Changes that people make: assets, events, gear, proofs, aliases, corrections, readings by hand.
//! Each is checked here, named and dated, and recorded as a new row.

mod answers;
mod hand;
mod rows;
mod table;
mod waiting;

pub use answers::{AnswerRow, answers, take_over};
pub use hand::{HandError, correct, destination, person};
pub use rows::{CorrectionRow, LimitRow};
pub use table::{Register, Row, RowError, read_rows, write_rows};
pub use waiting::place_waiting;
