//! `wheelwitness archive`: one folder per drive, kept, found again, checked, sent.

mod find;
mod keep;
mod judged;
mod send;
mod room;
mod words;

use crate::exit;
use crate::terminal::complain;
use clap::{Args, Subcommand};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::report;
use wheelwitness_analyze::result::DriveResult;
use wheelwitness_archive::archive::Archive;
use wheelwitness_archive::error::Error;
use wheelwitness_archive::judgement::{Bench, Texts};

/// Arguments of `archive`.
#[derive(Debug, Args)]
pub struct ArchiveArgs {
    /// Folder of the archive
    #[arg(long, value_name = "FOLDER", default_value = "drive-archive", global = true)]
    pub archive: PathBuf,
    /// What to do
    #[command(subcommand)]
    pub command: ArchiveCommand,
}

/// What to do with an archive.
#[derive(Debug, Subcommand)]
pub enum ArchiveCommand {
    /// Copy a capture into the archive, judge it, write its report.
    Keep(keep::KeepArgs),
    /// List drives: all, or those that fit.
    List(find::ListArgs),
    /// Show what is known about one drive.
    Show(find::ShowArgs),
    /// Add a dated note to a drive.
    Note(keep::NoteArgs),
    /// Check every hash and every block, and say what to do about damage.
    Verify(find::VerifyArgs),
    /// Judge drives again with this program, and print what is otherwise.
    Rejudge(judged::RejudgeArgs),
    /// Put a drive into one file, to send.
    Pack(send::PackArgs),
    /// Take in a drive that was sent, if all of it is as it should be.
    Unpack(send::UnpackArgs),
    /// Make room, by age or size; never the last copy; without --remove only says what would go.
    Thin(room::ThinArgs),
}

/// Why a command ends early, or how it ends: an exit code and what to complain about.
type Ended = Result<i32, (i32, String)>;

/// Runs the command and returns the exit code.
pub fn run(args: &ArchiveArgs) -> i32 {
    let at = args.archive.as_path();
    let ended = match &args.command {
        ArchiveCommand::Keep(a) => keep::keep(at, a),
        ArchiveCommand::List(a) => find::list(at, a),
        ArchiveCommand::Show(a) => find::show(at, a),
        ArchiveCommand::Note(a) => keep::note(at, a),
        ArchiveCommand::Verify(a) => find::verify(at, a),
        ArchiveCommand::Rejudge(a) => judged::rejudge(at, a),
        ArchiveCommand::Pack(a) => send::pack(at, a),
        ArchiveCommand::Unpack(a) => send::unpack(at, a),
        ArchiveCommand::Thin(a) => room::thin(at, a),
    };
    ended.unwrap_or_else(|(code, text)| {
        complain(&text);
        code
    })
}

/// An error of the archive, for the shell.
fn told(e: Error) -> (i32, String) {
    let code = match e {
        Error::Reading { .. } | Error::Unfit(_) => exit::UNREADABLE,
        Error::Writing { .. } | Error::Refused(_) => exit::STORAGE,
    };
    (code, e.to_string())
}

fn open(at: &Path) -> Result<Archive, (i32, String)> {
    Archive::open(at).map_err(told)
}

/// Judges a capture and writes its report, as `wheelwitness judge` does.
fn judge(capture: &Path, beside: Beside<'_>, into: &Path) -> Result<DriveResult, String> {
    let judged = crate::judge_cmd::judge_with(capture, beside, false);
    let (result, series) = judged.map_err(|(_, text)| text)?;
    report::write_folder(into, &result, &series).map_err(|e| e.to_string())?;
    Ok(result)
}

/// What a drive is to be judged by.
fn texts<'a>(
    vehicle: &'a Option<(String, String)>,
    hand: &'a Option<(String, String)>,
) -> Texts<'a> {
    let text = |of: &'a Option<(String, String)>| of.as_ref().map(|f| f.0.as_str());
    Texts { vehicle: text(vehicle), hand: text(hand) }
}

/// This program, now.
fn bench() -> Bench<'static> {
    Bench { judge: &judge, program: env!("CARGO_PKG_VERSION"), now_ns: now_ns() }
}

fn now_ns() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_nanos()).unwrap_or(i64::MAX)
}
