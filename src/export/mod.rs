//! Everything out again: the canonical CSV, and all registers beside it.

mod all;
mod canonical;

pub use all::{ALL_FILES, export_all};
pub use canonical::{CanonicalWriter, Corrections, ExportError, HEADER, Row, export_readings};
