//! `wheelwitness judge`: from a capture to verdicts and a report folder.

use crate::exit;
use crate::progress::Watched;
use crate::terminal::{complain, say, say_painted};
use clap::Args;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use wheelwitness_analyze::assemble::{Beside, JudgeError};
use wheelwitness_analyze::judge::judge_beside;
use wheelwitness_analyze::report;
use wheelwitness_analyze::result::{DriveResult, Verdict};
use wheelwitness_analyze::series::Series;
use wheelwitness_capture::read::CaptureReader;

/// Arguments of `judge`.
#[derive(Debug, Args)]
#[command(after_help = JUDGE_NOTES)]
pub struct JudgeArgs {
    /// The capture folder that the recorder made
    pub capture: PathBuf,
    /// Judge by this vehicle file instead of the one in the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// Hand sheet: what was turned by hand in this recording (see `wheelwitness hand new`)
    #[arg(long, value_name = "FILE")]
    pub hand: Option<PathBuf>,
    /// Folder for the report [default: `report` inside the capture folder]
    #[arg(long, value_name = "FOLDER")]
    pub report: Option<PathBuf>,
    /// Print the verdicts only, write no report
    #[arg(long)]
    pub no_report: bool,
    /// Exit with 10 when a claim is disproven, with 11 when one is undecided
    #[arg(long)]
    pub require: bool,
    /// Say how far it is on standard error, a line for each tenth, even if no person looks
    #[arg(long)]
    pub progress: bool,
}

const JUDGE_NOTES: &str = "\
The report folder holds report.html (opens offline, prints well), result.json, summary.txt and
the figures. The same capture and vehicle file always give the same report.

A verdict is evidence, not approval: local rules and a licensed workshop have the last word.";

/// Judges and returns the exit code.
pub fn run(args: &JudgeArgs) -> i32 {
    let judged = judged(args);
    let (result, series) = match judged {
        Ok(judged) => judged,
        Err((code, text)) => {
            complain(&text);
            return code;
        }
    };
    say_painted(&report::terminal(&result, width(), std::io::stdout().is_terminal()));
    if !args.no_report {
        let folder = args.report.clone().unwrap_or_else(|| args.capture.join("report"));
        match report::write_folder(&folder, &result, &series) {
            Ok(page) => say(&format!("\nReport: {}\n", page.display())),
            Err(error) => {
                complain(&error.to_string());
                return exit::STORAGE;
            }
        }
    }
    exit_code(&result, args.require)
}

fn judged(args: &JudgeArgs) -> Result<(DriveResult, Series), (i32, String)> {
    let vehicle = read_vehicle(args.vehicle.as_deref())?;
    let hand = read_hand(args.hand.as_deref())?;
    let beside = Beside { vehicle: named(&vehicle), hand: named(&hand) };
    judge_with(&args.capture, beside, args.progress)
}

/// Judges a capture folder; an error is an exit code and what to say.
pub fn judge_folder(
    capture: &Path,
    vehicle: Option<&Path>,
) -> Result<(DriveResult, Series), (i32, String)> {
    let vehicle = read_vehicle(vehicle)?;
    judge_with(capture, Beside { vehicle: named(&vehicle), ..Beside::default() }, false)
}

/// Judges a capture folder by everything that lies beside it.
pub fn judge_with(
    capture: &Path,
    beside: Beside<'_>,
    progress: bool,
) -> Result<(DriveResult, Series), (i32, String)> {
    let what = capture.display();
    let unreadable = |e: std::io::Error| (exit::UNREADABLE, format!("cannot read {what}: {e}"));
    let watched = Watched::open(capture, progress).map_err(unreadable)?;
    let mut reader = CaptureReader::named(watched, what.to_string())
        .map_err(|e| (exit::UNREADABLE, e.to_string()))?;
    judge_beside(&mut reader, beside).map_err(|e| (exit::UNREADABLE, error_text(capture, &e)))
}

/// A vehicle file or a hand sheet, borrowed.
pub fn named(vehicle: &Option<(String, String)>) -> Option<(&str, &str)> {
    vehicle.as_ref().map(|(text, name)| (text.as_str(), name.as_str()))
}

/// Opens a capture folder.
pub fn open(capture: &Path) -> Result<CaptureReader, (i32, String)> {
    CaptureReader::open(capture).map_err(|e| (exit::UNREADABLE, e.to_string()))
}

/// Text and name of a vehicle file, if one is given.
pub fn read_vehicle(file: Option<&Path>) -> Result<Option<(String, String)>, (i32, String)> {
    read_text(file, "give a vehicle file, or write one with `wheelwitness vehicle new`")
}

/// Text and name of a hand sheet, if one is given.
pub fn read_hand(file: Option<&Path>) -> Result<Option<(String, String)>, (i32, String)> {
    read_text(file, "give a hand sheet, or write one with `wheelwitness hand new`")
}

fn read_text(file: Option<&Path>, help: &str) -> Result<Option<(String, String)>, (i32, String)> {
    let Some(path) = file else { return Ok(None) };
    match std::fs::read_to_string(path) {
        Ok(text) => Ok(Some((text, path.display().to_string()))),
        Err(e) => Err((exit::UNREADABLE, format!("{}: {e}; {help}", path.display()))),
    }
}

/// What to say about a capture that cannot be judged.
pub fn error_text(capture: &Path, error: &JudgeError) -> String {
    format!("{}: {error}", capture.display())
}

/// The exit code of a result.
fn exit_code(result: &DriveResult, require: bool) -> i32 {
    let any = |v: Verdict| result.claims.iter().any(|c| c.verdict == v);
    if require && any(Verdict::Disproven) {
        exit::DISPROVEN
    } else if require && any(Verdict::Undecided) {
        exit::UNDECIDED
    } else if result.capture.holes.is_empty() {
        exit::DONE
    } else {
        exit::HOLES
    }
}

/// Columns to print into: those of the terminal if it says, else 80.
pub fn width() -> usize {
    let columns = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok());
    columns.filter(|c| (40..=200).contains(c)).unwrap_or(80)
}
