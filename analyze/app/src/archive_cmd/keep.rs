//! `archive keep` and `archive note`.

use super::{Ended, bench, now_ns, open, texts, told, words};
use crate::exit;
use crate::judge_cmd::{read_hand, read_vehicle};
use crate::terminal::say;
use clap::Args;
use std::path::{Path, PathBuf};
use wheelwitness_analyze::report::words::counted;
use wheelwitness_archive::archive::Archive;

/// Arguments of `archive keep`.
#[derive(Debug, Args)]
#[command(after_help = KEEP_NOTES)]
pub struct KeepArgs {
    /// The capture folder that the recorder made; it is only read
    pub capture: PathBuf,
    /// Keep and judge by this vehicle file instead of the one in the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// Keep and judge by this hand sheet too: what was turned by hand in this recording
    #[arg(long, value_name = "FILE")]
    pub hand: Option<PathBuf>,
    /// A first note
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

const KEEP_NOTES: &str = "\
The drive's folder appears complete or not at all, with the capture, the vehicle file, the hand
sheet if there is one, the report and a manifest with the hash of every file. A capture that cannot
be judged yet is kept all the same. Example:
  wheelwitness archive keep drives/first --note \"new rear tyres\"";

/// Arguments of `archive note`.
#[derive(Debug, Args)]
pub struct NoteArgs {
    /// The drive: the beginning of its name, or of its recording id
    pub drive: String,
    /// The note; notes are never changed or removed
    pub text: String,
}

pub(super) fn keep(at: &Path, args: &KeepArgs) -> Ended {
    let (vehicle, hand) =
        (read_vehicle(args.vehicle.as_deref())?, read_hand(args.hand.as_deref())?);
    let archive = Archive::open_or_make(at).map_err(told)?;
    let kept = archive.keep(&args.capture, texts(&vehicle, &hand), args.note.as_deref(), &bench());
    let drive = kept.map_err(told)?;
    say(&words::whole(&drive));
    let holes = &drive.manifest.recording.holes;
    Ok(if holes.is_empty() { exit::DONE } else { exit::HOLES })
}

pub(super) fn note(at: &Path, args: &NoteArgs) -> Ended {
    let archive = open(at)?;
    let drive = archive.find(&args.drive).map_err(told)?;
    let drive = archive.note(&drive, &args.text, now_ns()).map_err(told)?;
    let n = drive.manifest.notes.len() as u64;
    say(&format!("{}: {}\n", drive.id, counted(n, "note")));
    Ok(exit::DONE)
}
