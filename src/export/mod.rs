//! Everything out again: the canonical CSV and all registers beside it, and tables of readings,
//! findings and assessments for other programs.

mod all;
mod assessments;
mod canonical;
mod findings;
mod parquet;
mod readings;
mod table;
mod walk;

pub use self::parquet::ParquetTable;
pub use all::{ALL_FILES, export_all};
pub use assessments::{ASSESSMENTS, Assessed, assessed};
pub use canonical::{CanonicalWriter, HEADER, export_readings};
pub use findings::{FINDINGS, Stated, stated};
pub use readings::READINGS;
pub use table::{Column, CsvTable, Get, Table};
pub use walk::{Corrections, ExportError, Row, Selection, each_reading};
