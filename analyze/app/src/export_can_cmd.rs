//! `wheelwitness export-can`: the CAN traffic of a capture for other tools.

use crate::exit;
use crate::judge_cmd::open;
use crate::terminal::{complain, say};
use clap::Args;
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;
use wheelwitness_capture::exchange::{ExportError, Exported, export_can};

/// Arguments of `export-can`.
#[derive(Debug, Args)]
#[command(after_help = EXPORT_NOTES)]
pub struct ExportCanArgs {
    /// The capture folder
    pub capture: PathBuf,
    /// The pcapng file to write; an existing file is never overwritten
    #[arg(long, value_name = "FILE")]
    pub into: PathBuf,
}

const EXPORT_NOTES: &str = "\
Writes pcapng with link type 227 (SocketCAN), one interface for each source that had CAN frames,
serial-line adapters included. Times go on evenly from the wall clock at the start of the recording.
What the recorder lost and what cannot be read of the capture is told, and not in the file.";

/// Exports and returns the exit code.
pub fn run(args: &ExportCanArgs) -> i32 {
    match export(args) {
        Ok(done) => {
            say(&told(args, &done));
            if done.holes > 0 { exit::HOLES } else { exit::DONE }
        }
        Err((code, text)) => {
            complain(&text);
            code
        }
    }
}

fn export(args: &ExportCanArgs) -> Result<Exported, (i32, String)> {
    let mut reader = open(&args.capture)?;
    let failed = |e: io::Error| (exit::STORAGE, format!("{}: {e}", args.into.display()));
    let file = File::create_new(&args.into).map_err(|e| match e.kind() {
        io::ErrorKind::AlreadyExists => {
            (exit::STORAGE, format!("{}: {e}; name another file", args.into.display()))
        }
        _ => failed(e),
    })?;
    let (done, mut into) = export_can(&mut reader, BufWriter::new(file)).map_err(|e| match e {
        ExportError::Capture(e) => (exit::UNREADABLE, e.to_string()),
        ExportError::Writing(e) => failed(e),
    })?;
    into.flush().and_then(|()| into.get_ref().sync_all()).map_err(failed)?;
    Ok(done)
}

/// What was done, and what was not.
fn told(args: &ExportCanArgs, done: &Exported) -> String {
    let mut text = format!(
        "{}: {} CAN frames of {} interfaces\n",
        args.into.display(),
        done.frames,
        done.interfaces
    );
    let parts = [
        (done.refused, "damaged frames or lines were left out"),
        (done.lost, "had been lost by the recorder"),
        (done.holes, "stretches of the capture cannot be read"),
    ];
    for (count, what) in parts.into_iter().filter(|(count, _)| *count > 0) {
        text += &format!("{count} {what}\n");
    }
    text
}
