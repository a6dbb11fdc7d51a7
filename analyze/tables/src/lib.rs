//! TABLES: the only crate that knows polars.
