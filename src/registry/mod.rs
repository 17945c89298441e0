//! Changes that people make: assets, events, gear, proofs, aliases, corrections, readings by hand.
//! Each is checked here, named and dated, and recorded as a new row.

mod hand;
mod rows;
mod table;
mod waiting;

pub use hand::{HandError, correct, destination, person};
pub use rows::{CorrectionRow, LimitRow, ranges_of};
pub use table::{Register, Row, RowError, read_rows, write_rows};
pub use waiting::place_waiting;
