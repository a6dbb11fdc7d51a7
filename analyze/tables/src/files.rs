//! Writing tables, each with a file beside it that names its source.

use crate::{Format, columns};
use polars_core::prelude::{DataFrame, PolarsError};
use polars_io::prelude::{CsvWriter, ParquetWriter, SerWriter};
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_analyze::series::Series;

/// Why tables were not written.
#[derive(Debug, thiserror::Error)]
pub enum TablesError {
    /// The disk said no, or the file is there already.
    #[error("{path} could not be written: {source}; name a folder without it, or remove it first")]
    Storage {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A table could not be made or encoded.
    #[error("the table {table} could not be encoded: {source}")]
    Encoding {
        /// Its name.
        table: &'static str,
        /// What polars said.
        source: Box<PolarsError>,
    },
}

/// A table that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exported {
    /// The file.
    pub path: PathBuf,
    /// Its rows.
    pub rows: usize,
}

/// What stands beside a table, as `<file>.source.json`.
#[derive(Serialize)]
struct Source<'a> {
    schema: &'static str,
    table: &'a str,
    rows: usize,
    sha256: String,
    capture_sha256: &'a str,
    recording: &'a str,
    vehicle_sha256: &'a str,
    program: String,
}

/// Writes the tables `steps` and `claims` of a drive into `dir`, which is made if it is not there.
/// Existing files are never overwritten.
pub fn export(
    dir: &Path,
    result: &DriveResult,
    series: &Series,
    format: Format,
) -> Result<Vec<Exported>, TablesError> {
    fs::create_dir_all(dir).map_err(|e| storage(dir, e))?;
    let tables = [
        ("steps", columns::steps(result, series, format)),
        ("claims", columns::claims(result, format)),
    ];
    let mut exported = Vec::new();
    for (table, frame) in tables {
        let encoding = |e| TablesError::Encoding { table, source: Box::new(e) };
        let mut frame = frame.map_err(encoding)?;
        let bytes = encoded(&mut frame, format).map_err(encoding)?;
        let path = dir.join(format!("{table}.{}", format.extension()));
        write_new(&path, &bytes)?;
        write_source(&path, table, frame.height(), &bytes, result)?;
        exported.push(Exported { path, rows: frame.height() });
    }
    Ok(exported)
}

fn encoded(frame: &mut DataFrame, format: Format) -> Result<Vec<u8>, PolarsError> {
    let mut bytes = Vec::new();
    match format {
        Format::Parquet => {
            ParquetWriter::new(&mut bytes).finish(frame)?;
        }
        Format::Csv => CsvWriter::new(&mut bytes).finish(frame)?,
    }
    Ok(bytes)
}

fn write_source(
    path: &Path,
    table: &str,
    rows: usize,
    bytes: &[u8],
    result: &DriveResult,
) -> Result<(), TablesError> {
    let digest = Sha256::digest(bytes);
    let source = Source {
        schema: "wheelwitness-table-source/1",
        table,
        rows,
        sha256: digest.iter().map(|b| format!("{b:02x}")).collect(),
        capture_sha256: &result.capture.sha256,
        recording: &result.capture.recording,
        vehicle_sha256: &result.vehicle.sha256,
        program: format!("{} {}", result.program.name, result.program.version),
    };
    let text = serde_json::to_string_pretty(&source).expect("texts and numbers only");
    let mut name = path.as_os_str().to_owned();
    name.push(".source.json");
    write_new(Path::new(&name), (text + "\n").as_bytes())
}

/// Writes a file that must not be there yet.
fn write_new(path: &Path, bytes: &[u8]) -> Result<(), TablesError> {
    let mut file = fs::File::create_new(path).map_err(|e| storage(path, e))?;
    file.write_all(bytes).map_err(|e| storage(path, e))
}

fn storage(path: &Path, source: io::Error) -> TablesError {
    TablesError::Storage { path: path.into(), source }
}
