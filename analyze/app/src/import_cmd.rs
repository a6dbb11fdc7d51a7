//! `wheelwitness import-wire`: from lines of wire bytes to a capture.

use crate::exit;
use crate::judge_cmd::read_vehicle;
use crate::terminal::{complain, say};
use clap::Args;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use wheelwitness_capture::import::{Extras, ImportError, import_wire};
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::DirStorage;

/// Arguments of `import-wire`.
#[derive(Debug, Args)]
#[command(after_help = IMPORT_NOTES)]
pub struct ImportArgs {
    /// File of lines `boottime_ns source hexbytes`; `-` reads standard input
    pub lines: PathBuf,
    /// The capture folder to make; it must not hold a capture yet
    pub into: PathBuf,
    /// The vehicle file to put into the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// Say in the capture that the lines come from a simulation whose clock ran this much faster
    #[arg(long, value_name = "FACTOR")]
    pub simulated: Option<f64>,
}

const IMPORT_NOTES: &str = "\
A line is: nanoseconds of boot-time, the name or number of the source, and the bytes as they were
read, in hexadecimal. `#` begins a comment. A line `source NAME serial-can` before the first bytes
of a source says that it is a serial-line CAN adapter. Example:
  60000000000 board 2450575757";

/// Imports and returns the exit code.
pub fn run(args: &ImportArgs) -> i32 {
    match import(args) {
        Ok(text) => {
            say(&text);
            exit::DONE
        }
        Err((code, text)) => {
            complain(&text);
            code
        }
    }
}

fn import(args: &ImportArgs) -> Result<String, (i32, String)> {
    let vehicle = read_vehicle(args.vehicle.as_deref())?;
    let lines: Box<dyn BufRead> = if args.lines.as_os_str() == "-" {
        Box::new(std::io::stdin().lock())
    } else {
        let file = File::open(&args.lines)
            .map_err(|e| (exit::UNREADABLE, format!("{}: {e}", args.lines.display())))?;
        Box::new(BufReader::new(file))
    };
    let failed = |e: std::io::Error| (exit::STORAGE, format!("{}: {e}", args.into.display()));
    let storage = DirStorage::create(&args.into).map_err(failed)?;
    let extras = Extras {
        vehicle_file: vehicle.as_ref().map(|v| v.0.as_str()),
        simulated_clock_scale: args.simulated,
    };
    let done = import_wire(lines, storage, RecordingId::random(), &extras)
        .map_err(|e| (code_of(&e), format!("{}: {e}", args.lines.display())))?;
    let names: Vec<&str> = done.sources.iter().map(|s| s.1.as_str()).collect();
    let into = args.into.display();
    Ok(format!(
        "{} lines from {} into {into}\nNext: wheelwitness judge {into}\n",
        done.lines,
        names.join(", ")
    ))
}

fn code_of(error: &ImportError) -> i32 {
    match error {
        ImportError::Beginning(_) | ImportError::Writing(_) => exit::STORAGE,
        _ => exit::UNREADABLE,
    }
}
