//! `archive list`, `archive show` and `archive verify`.

use super::{Ended, open, told, words};
use crate::exit;
use crate::terminal::{complain, say};
use clap::{Args, ValueEnum};
use std::path::Path;
use wheelwitness_analyze::result::Verdict;
use wheelwitness_archive::archive::{Archive, Drive, Listing};
use wheelwitness_archive::search::{Wanted, day};

/// Arguments of `archive list`.
#[derive(Debug, Args)]
#[command(after_help = LIST_NOTES)]
pub struct ListArgs {
    /// Begun on this day or later, UTC, as 2026-05-17
    #[arg(long, value_name = "DAY")]
    pub from: Option<String>,
    /// Begun on this day or before
    #[arg(long, value_name = "DAY")]
    pub to: Option<String>,
    /// Part of the vehicle's name
    #[arg(long, value_name = "TEXT")]
    pub vehicle: Option<String>,
    /// Part of the name of a mode that was seen
    #[arg(long, value_name = "TEXT")]
    pub mode: Option<String>,
    /// Id of a claim that was judged; with --verdict, the claim that has it
    #[arg(long, value_name = "ID")]
    pub claim: Option<String>,
    /// Some claim has this verdict
    #[arg(long, value_enum)]
    pub verdict: Option<Word>,
    /// Part of a note
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
}

/// Word of a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Word {
    /// Inside the limit, with certainty.
    Proven,
    /// Outside, with certainty.
    Disproven,
    /// Anything else.
    Undecided,
}

const LIST_NOTES: &str = "\
Everything given must fit; capital and small letters are alike; verdicts and modes are those of
the newest judgement. Example:
  wheelwitness archive list --vehicle wagon --claim center-locks --verdict disproven";

/// Arguments of `archive show`.
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// The drive: the beginning of its name, or of its recording id
    pub drive: String,
}

/// Arguments of `archive verify`.
#[derive(Debug, Args)]
pub struct VerifyArgs {
    /// The drives [default: all]
    pub drives: Vec<String>,
}

fn wanted(args: &ListArgs) -> Result<Wanted, (i32, String)> {
    let at = |text: &Option<String>, after| {
        let day = text.as_ref().map(|t| day(t, after)).transpose();
        day.map_err(|e| (exit::USAGE, e.to_string()))
    };
    Ok(Wanted {
        from_ns: at(&args.from, false)?,
        before_ns: at(&args.to, true)?,
        vehicle: args.vehicle.clone(),
        mode: args.mode.clone(),
        claim: args.claim.clone(),
        verdict: args.verdict.map(|v| match v {
            Word::Proven => Verdict::Proven,
            Word::Disproven => Verdict::Disproven,
            Word::Undecided => Verdict::Undecided,
        }),
        note: args.note.clone(),
    })
}

pub(super) fn list(at: &Path, args: &ListArgs) -> Ended {
    let wanted = wanted(args)?;
    let listing = open(at)?.list().map_err(told)?;
    let fit: Vec<&Drive> = listing.drives.iter().filter(|d| wanted.fits(&d.manifest)).collect();
    fit.iter().for_each(|d| say(&words::entry(d)));
    say(&format!("{} of {} drives\n", fit.len(), listing.drives.len()));
    Ok(complain_about(&listing))
}

/// Says what cannot be read and what was left behind; returns the exit code.
fn complain_about(listing: &Listing) -> i32 {
    for drive in &listing.drives {
        if let Some((_, why)) = drive.passed_over.first() {
            complain(&format!(
                "{why}; an older manifest counts: see `wheelwitness archive verify`"
            ));
        }
    }
    for (id, why) in &listing.unreadable {
        complain(&format!("{id}: {why}; take this drive from a pack or another archive"));
    }
    for path in &listing.leftovers {
        let what = path.display();
        complain(&format!("{what}: left by something that was cut off; it may be removed by hand"));
    }
    if listing.unreadable.is_empty() { exit::DONE } else { exit::UNREADABLE }
}

pub(super) fn show(at: &Path, args: &ShowArgs) -> Ended {
    let drive = open(at)?.find(&args.drive).map_err(told)?;
    say(&words::whole(&drive));
    Ok(exit::DONE)
}

pub(super) fn verify(at: &Path, args: &VerifyArgs) -> Ended {
    let archive = open(at)?;
    let mut code = exit::DONE;
    let drives = if args.drives.is_empty() {
        let listing = archive.list().map_err(told)?;
        code = complain_about(&listing);
        listing.drives
    } else {
        let found = args.drives.iter().map(|d| archive.find(d).map_err(told));
        found.collect::<Result<_, _>>()?
    };
    for drive in &drives {
        if !verified(&archive, drive).map_err(told)? {
            code = exit::UNREADABLE;
        }
    }
    Ok(code)
}

fn verified(archive: &Archive, drive: &Drive) -> Result<bool, wheelwitness_archive::error::Error> {
    let found = archive.verify(drive)?;
    let word = if found.is_whole() { "whole" } else { "DAMAGED" };
    let (files, size) = (found.files, words::bytes(found.bytes));
    let records = found.records;
    say(&format!("{}: {word}: {files} files, {size}, {records} records\n", drive.id));
    if found.pages_not_here > 0 {
        let (n, id) = (found.pages_not_here, &drive.id);
        say(&format!(
            "    {n} pages and figures are not here, and are no loss: \
             `wheelwitness archive rejudge {id}` makes new ones\n"
        ));
    }
    found.remarks.iter().for_each(|r| say(&format!("    {}\n", words::line(r))));
    for d in &found.damage {
        let (file, what) = (words::line(&d.file), words::line(&d.what));
        complain(&format!("{}: {file}: {what}", drive.id));
    }
    Ok(found.is_whole())
}
