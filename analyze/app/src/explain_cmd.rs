//! `wheelwitness explain`: a number of the report, back to raw records.

use crate::exit;
use crate::judge_cmd::{named, open, read_hand, read_vehicle};
use crate::terminal::{complain, say};
use clap::Args;
use std::path::{Path, PathBuf};
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::explain::{ExplainError, Target, explain};
use wheelwitness_analyze::report;
use wheelwitness_analyze::result::DriveResult;

/// Arguments of `explain`.
#[derive(Debug, Args)]
#[command(after_help = EXPLAIN_NOTES)]
pub struct ExplainArgs {
    /// The capture folder
    pub capture: PathBuf,
    /// Number of the claim, as the report prints it
    #[arg(long, value_name = "N", required_unless_present = "selection")]
    pub claim: Option<usize>,
    /// Number of the period within the claim
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub period: usize,
    /// Number of a selection instead of a claim
    #[arg(long, value_name = "N", conflicts_with = "claim")]
    pub selection: Option<u32>,
    /// The vehicle file that the report was made with, if it is not the one in the capture
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// The hand sheet that the report was made with
    #[arg(long, value_name = "FILE")]
    pub hand: Option<PathBuf>,
    /// The result.json to compare with [default: the one of the report in the capture folder]
    #[arg(long, value_name = "FILE")]
    pub result: Option<PathBuf>,
}

const EXPLAIN_NOTES: &str = "\
Shows what a period of a claim rests on: the estimate with its uncertainty components, the rows of
the fit, the turns counted again from the raw counts, and the raw lines at both ends. Where a
result.json is at hand, every number is compared with it.";

/// Explains and returns the exit code.
pub fn run(args: &ExplainArgs) -> i32 {
    match explained(args) {
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

fn explained(args: &ExplainArgs) -> Result<String, (i32, String)> {
    let vehicle = read_vehicle(args.vehicle.as_deref())?;
    let hand = read_hand(args.hand.as_deref())?;
    let beside = Beside { vehicle: named(&vehicle), hand: named(&hand) };
    let target = match (args.selection, args.claim) {
        (Some(number), _) => Target::Selection(number),
        (None, claim) => Target::Claim { claim: claim.unwrap_or(1), period: args.period },
    };
    let printed = match &args.result {
        Some(file) => Some(read_result(file)?),
        None => read_result(&args.capture.join("report").join("result.json")).ok(),
    };
    let mut reader = open(&args.capture)?;
    explain(&mut reader, beside, target, printed.as_ref()).map_err(|e| {
        let code =
            if matches!(e, ExplainError::NoSuch(_)) { exit::USAGE } else { exit::UNREADABLE };
        (code, format!("{}: {e}", args.capture.display()))
    })
}

/// Reads a result.json.
pub(crate) fn read_result(file: &Path) -> Result<DriveResult, (i32, String)> {
    let unreadable = |e: String| (exit::UNREADABLE, format!("{}: {e}", file.display()));
    let text = std::fs::read_to_string(file).map_err(|e| unreadable(e.to_string()))?;
    report::json::read(&text).map_err(|e| unreadable(e.to_string()))
}
