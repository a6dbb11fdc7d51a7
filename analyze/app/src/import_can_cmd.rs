//! `wheelwitness import-can`: from CAN traffic that another tool recorded to a capture.

use crate::exit;
use crate::judge_cmd::read_vehicle;
use crate::terminal::{complain, say};
use clap::Args;
use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::PathBuf;
use wheelwitness_capture::exchange::{ImportError, Imported, import_can};
use wheelwitness_capture::import::Extras;
use wheelwitness_capture::record::RecordingId;
use wheelwitness_capture::storage::DirStorage;

/// Arguments of `import-can`.
#[derive(Debug, Args)]
#[command(after_help = IMPORT_NOTES)]
pub struct ImportCanArgs {
    /// A pcapng file of CAN traffic, or lines of frames; `-` reads standard input
    pub file: PathBuf,
    /// The capture folder to make; it must not hold a capture yet
    pub into: PathBuf,
    /// The vehicle file to put into the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
}

const IMPORT_NOTES: &str = "\
The content of the file decides, not its name. pcapng: packets of link type 227; other packets are
counted and left out. Lines: the first one names the columns, at least time_s,interface,id,data;
id and data are hexadecimal. Example:
  time_s,interface,id,extended,data
  12.345678,can0,18FEBF0B,1,00327D7D7D7DFFFF";

/// Imports and returns the exit code.
pub fn run(args: &ImportCanArgs) -> i32 {
    match import(args) {
        Ok(done) => {
            say(&told(args, &done));
            if done.cut_at.is_some() { exit::HOLES } else { exit::DONE }
        }
        Err((code, text)) => {
            complain(&text);
            code
        }
    }
}

fn import(args: &ImportCanArgs) -> Result<Imported, (i32, String)> {
    let vehicle = read_vehicle(args.vehicle.as_deref())?;
    let named = |e: &dyn std::fmt::Display| format!("{}: {e}", args.file.display());
    let from: Box<dyn BufRead> = if args.file.as_os_str() == "-" {
        Box::new(std::io::stdin().lock())
    } else {
        let file = File::open(&args.file).map_err(|e| (exit::UNREADABLE, named(&e)))?;
        Box::new(BufReader::new(file))
    };
    let storage = DirStorage::create(&args.into).map_err(|e| (exit::STORAGE, refused(args, &e)))?;
    let extras = Extras {
        vehicle_file: vehicle.as_ref().map(|v| v.0.as_str()),
        simulated_clock_scale: None,
    };
    import_can(from, storage, RecordingId::random(), &extras).map_err(|e| {
        // Only a folder that is still empty goes away.
        let _ = std::fs::remove_dir(&args.into);
        (code_of(&e), named(&e))
    })
}

fn refused(args: &ImportCanArgs, error: &io::Error) -> String {
    let next = match error.kind() {
        io::ErrorKind::AlreadyExists => "; name a folder that does not exist yet",
        _ => "",
    };
    format!("{}: {error}{next}", args.into.display())
}

fn code_of(error: &ImportError) -> i32 {
    match error {
        ImportError::Beginning(_) | ImportError::Writing(_) => exit::STORAGE,
        _ => exit::UNREADABLE,
    }
}

/// What was done, and what was not.
fn told(args: &ImportCanArgs, done: &Imported) -> String {
    let names: Vec<&str> = done.sources.iter().map(|s| s.1.as_str()).collect();
    let into = args.into.display();
    let mut text = format!("{} CAN frames from {} into {into}\n", done.frames, names.join(", "));
    if done.refused > 0 {
        text += &format!("{} of them cannot be frames; the capture keeps them\n", done.refused);
    }
    if done.others > 0 {
        text += &format!("{} packets of other links were left out\n", done.others);
    }
    if let Some((block, offset)) = done.cut_at {
        text += &format!(
            "The file breaks off in block {block} at byte {offset}; all before it is there\n"
        );
    }
    text + &format!("Next: wheelwitness judge {into}\n")
}
