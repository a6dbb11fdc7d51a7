//! `wheelwitness export`: the steps and claims of a drive as tables for other tools.

use crate::exit;
use crate::judge_cmd::judge_folder;
use crate::terminal::{complain, say};
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use wheelwitness_tables::{Format, export};

/// Arguments of `export`.
#[derive(Debug, Args)]
#[command(after_help = EXPORT_NOTES)]
pub struct ExportArgs {
    /// The capture folder
    pub capture: PathBuf,
    /// Folder for the tables; existing files are never overwritten
    pub into: PathBuf,
    /// Judge by this vehicle file instead of the one in the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// File format of the tables
    #[arg(long, value_enum, default_value_t = Written::Parquet)]
    pub format: Written,
}

/// File format of the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Written {
    /// Columns with types, for data tools
    Parquet,
    /// Text, for spreadsheets
    Csv,
}

const EXPORT_NOTES: &str = "\
Writes `steps` (one row per time step: output speeds, input, ground speed, running sums) and
`claims` (one row per claim), each with the SHA-256 of the capture beside it. Tables are derived:
the capture stays the original.";

/// Exports and returns the exit code.
pub fn run(args: &ExportArgs) -> i32 {
    let (result, series) = match judge_folder(&args.capture, args.vehicle.as_deref()) {
        Ok(judged) => judged,
        Err((code, text)) => {
            complain(&text);
            return code;
        }
    };
    let format = match args.format {
        Written::Parquet => Format::Parquet,
        Written::Csv => Format::Csv,
    };
    match export(&args.into, &result, &series, format) {
        Ok(files) => {
            files.iter().for_each(|f| say(&format!("{}: {} rows\n", f.path.display(), f.rows)));
            if result.capture.holes.is_empty() { exit::DONE } else { exit::HOLES }
        }
        Err(error) => {
            complain(&error.to_string());
            exit::STORAGE
        }
    }
}
