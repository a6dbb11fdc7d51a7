//! `archive rejudge`.

use super::{Ended, bench, open, texts, told, words};
use crate::exit;
use crate::judge_cmd::{read_hand, read_vehicle};
use crate::terminal::say;
use clap::Args;
use std::path::{Path, PathBuf};
use wheelwitness_archive::archive::{Archive, Drive};
use wheelwitness_archive::judgement::Texts;

/// Arguments of `archive rejudge`.
#[derive(Debug, Args)]
#[command(after_help = REJUDGE_NOTES)]
pub struct RejudgeArgs {
    /// The drives [default: all]
    pub drives: Vec<String>,
    /// Judge by this vehicle file; it is kept with each drive
    #[arg(long, value_name = "FILE")]
    pub vehicle: Option<PathBuf>,
    /// Judge by this hand sheet too; it is kept with each drive
    #[arg(long, value_name = "FILE")]
    pub hand: Option<PathBuf>,
}

const REJUDGE_NOTES: &str = "\
The earlier judgement and its report stay beside the new one. Without --vehicle or --hand,
a drive is judged by the vehicle file and the hand sheet that it was judged by last.";

pub(super) fn rejudge(at: &Path, args: &RejudgeArgs) -> Ended {
    let (vehicle, hand) =
        (read_vehicle(args.vehicle.as_deref())?, read_hand(args.hand.as_deref())?);
    let by = texts(&vehicle, &hand);
    let archive = open(at)?;
    let drives = if args.drives.is_empty() {
        archive.list().map_err(told)?.drives
    } else {
        let found = args.drives.iter().map(|d| archive.find(d).map_err(told));
        found.collect::<Result<Vec<_>, _>>()?
    };
    let mut code = exit::DONE;
    for drive in &drives {
        if !one(&archive, drive, by)? {
            code = exit::UNREADABLE;
        }
    }
    Ok(code)
}

/// Judges one drive again and prints what is otherwise; false if there is no result.
pub(super) fn one(archive: &Archive, drive: &Drive, by: Texts<'_>) -> Result<bool, (i32, String)> {
    let again = archive.rejudge(drive, by, &bench()).map_err(told)?;
    let newest = again.drive.manifest.judgements.last();
    if let Some(why) = newest.and_then(|j| j.failed.as_ref()) {
        say(&format!("{}: no result: {}\n", drive.id, words::line(why)));
        return Ok(false);
    }
    let verdicts = newest.map_or(String::new(), words::tally);
    let n = again.differences.len();
    say(&format!("{}: {verdicts}; {n} otherwise than before\n", drive.id));
    again.differences.iter().for_each(|d| say(&words::difference(d)));
    Ok(true)
}
