//! What stands inside a cell or line: numbers, quantities with units, resistances, times.

pub(crate) mod number;
pub(crate) mod quantity;
pub(crate) mod resistance;
pub(crate) mod rfc3339;
pub(crate) mod time;
pub(crate) mod unit;
