//! Published formulas and tables of the trade, each with its source and how far it was checked.
//!
//! **S**: stated in a public document that was read. **M**: from memory, to be checked against a
//! bought copy before anything is quoted. **C**: computed from the formula.

pub mod circuit;
pub mod machine;
pub mod temperature;
pub mod vehicle;
