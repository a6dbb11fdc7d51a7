//! TABLES: a result and its series as tables for other tools, in Parquet or CSV.
//!
//! The only crate that knows polars, and never between a capture and a verdict. A table is
//! derived, never the original: beside each file stands one that names the capture it came from
//! by its SHA-256.

mod columns;
mod files;

pub use files::{Exported, TablesError, export};

/// A format of tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Apache Parquet.
    Parquet,
    /// Comma-separated values (RFC 4180) with a header line. Text that a spreadsheet would take
    /// for a formula gets a leading `'`; numbers are unchanged; unknown is an empty cell.
    Csv,
}

impl Format {
    fn extension(self) -> &'static str {
        match self {
            Format::Parquet => "parquet",
            Format::Csv => "csv",
        }
    }
}
