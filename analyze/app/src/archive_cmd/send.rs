//! `archive pack` and `archive unpack`.

use super::room::size;
use super::{Ended, judged, open, told, words};
use crate::exit;
use crate::terminal::say;
use clap::Args;
use std::path::{Path, PathBuf};
use wheelwitness_archive::archive::Archive;
use wheelwitness_archive::judgement::Texts;
use wheelwitness_archive::pack::pack_name;

/// Arguments of `archive pack`.
#[derive(Debug, Args)]
#[command(after_help = PACK_NOTES)]
pub struct PackArgs {
    /// The drive: the beginning of its name, or of its recording id
    pub drive: String,
    /// The file to write; an existing one is never overwritten [default: the drive's name with
    /// `.tar`, in this folder]
    #[arg(long, value_name = "FILE")]
    pub into: Option<PathBuf>,
}

const PACK_NOTES: &str = "\
A plain tar file with the capture, the vehicle files, the results, the notes and the manifests.
Report pages and figures stay here: whoever unpacks it makes them anew from the capture.";

/// Arguments of `archive unpack`.
#[derive(Debug, Args)]
#[command(after_help = UNPACK_NOTES)]
pub struct UnpackArgs {
    /// The pack that was received
    pub pack: PathBuf,
    /// Refuse a drive that would take more than this, such as 500MB or 20GB
    #[arg(long, value_name = "SIZE", default_value = "64GB", value_parser = size)]
    pub most: u64,
    /// Do not judge it here
    #[arg(long)]
    pub no_judge: bool,
}

const UNPACK_NOTES: &str = "\
The pack may come from a stranger: entries with any name, kind, length or hash that the manifest
does not have refuse all of it, and nothing is left behind. Then the drive is judged here, and
what the sender's verdicts say otherwise is printed.";

pub(super) fn pack(at: &Path, args: &PackArgs) -> Ended {
    let archive = open(at)?;
    let drive = archive.find(&args.drive).map_err(told)?;
    let into = args.into.clone().unwrap_or_else(|| PathBuf::from(pack_name(&drive)));
    let bytes = archive.pack(&drive, &into).map_err(told)?;
    say(&format!("{}: {} in {}\n", drive.id, words::bytes(bytes), into.display()));
    Ok(exit::DONE)
}

pub(super) fn unpack(at: &Path, args: &UnpackArgs) -> Ended {
    let archive = Archive::open_or_make(at).map_err(told)?;
    let drive = archive.unpack(&args.pack, args.most).map_err(told)?;
    say(&words::entry(&drive));
    if args.no_judge {
        say("The verdicts are the sender's; `wheelwitness archive rejudge` judges it here.\n");
    } else {
        say("The verdicts above are the sender's. Judged here:\n");
        judged::one(&archive, &drive, Texts::default())?;
    }
    Ok(exit::DONE)
}
