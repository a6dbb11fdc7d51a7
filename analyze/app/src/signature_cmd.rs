//! `wheelwitness signature`: selections of a drive beside those of a known-good vehicle.

use crate::exit;
use crate::explain_cmd::read_result;
use crate::terminal::{complain, say};
use clap::Args;
use std::path::{Path, PathBuf};
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_analyze::signature::told;

/// Arguments of `signature`.
#[derive(Debug, Args)]
#[command(after_help = SIGNATURE_NOTES)]
pub struct SignatureArgs {
    /// The reference: a drive of a known-good vehicle
    pub reference: PathBuf,
    /// The drive to put beside it
    pub drive: PathBuf,
}

const SIGNATURE_NOTES: &str = "\
Each is a capture folder that was judged, the folder of a drive in an archive, or a result.json.
Every selection of the drive is put beside the reference's selection of the same two modes that it
is most like, stage by stage; what stands out is marked with *, and the first of it is named. A
stage stands out by a quarter of its time in the reference, at least 0.1 s (common practice).

Record in the reference also the half-shifted states that you can make on purpose (a plug pulled
off a position switch, vehicle chocked, engine off): a drive that is most like one of those has
found its fault. It is no verdict, and changes none.";

/// Prints the comparison and returns the exit code.
pub fn run(args: &SignatureArgs) -> i32 {
    let both = result_of(&args.reference).and_then(|r| Ok((r, result_of(&args.drive)?)));
    match both {
        Ok((reference, drive)) => {
            say(&told(&reference, &drive));
            exit::DONE
        }
        Err((code, text)) => {
            complain(&text);
            code
        }
    }
}

/// The result in a folder that was judged, the newest one where an archive holds several, or a
/// result.json itself.
fn result_of(path: &Path) -> Result<DriveResult, (i32, String)> {
    if !path.is_dir() {
        return read_result(path);
    }
    let unread = |e: std::io::Error| (exit::UNREADABLE, format!("{}: {e}", path.display()));
    let mut files = Vec::new();
    for entry in std::fs::read_dir(path).map_err(unread)? {
        let entry = entry.map_err(unread)?;
        let is_report = entry.file_name().to_string_lossy().starts_with("report");
        files.extend(Some(entry.path().join("result.json")).filter(|f| is_report && f.is_file()));
    }
    let none = || {
        let folder = path.display();
        let text = format!("{folder}: no report in it; first: wheelwitness judge {folder}");
        (exit::UNREADABLE, text)
    };
    read_result(&files.into_iter().max().ok_or_else(none)?)
}
