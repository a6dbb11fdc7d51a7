//! `archive thin`.

use super::{Ended, now_ns, open, told, words};
use crate::exit;
use crate::terminal::{complain, say};
use clap::Args;
use std::path::{Path, PathBuf};
use wheelwitness_archive::thin::{Plan, Rule};

/// Arguments of `archive thin`.
#[derive(Debug, Args)]
#[command(after_help = THIN_NOTES)]
pub struct ThinArgs {
    /// Drives that began, and were kept, more than this many days ago
    #[arg(long, value_name = "DAYS", required_unless_present = "down_to")]
    pub older_than: Option<u32>,
    /// The oldest drives, until the archive takes at most this, such as 500MB or 20GB
    #[arg(long, value_name = "SIZE", value_parser = size)]
    pub down_to: Option<u64>,
    /// Where copies are: another archive, a folder of packs, or a pack
    #[arg(long = "copy", value_name = "PATH")]
    pub copies: Vec<PathBuf>,
    /// Remove what would go; without it, nothing is changed
    #[arg(long)]
    pub remove: bool,
}

const THIN_NOTES: &str = "\
A drive goes only if a copy of it was read to the last byte, just now, with every hash right. What
an older check said does not count. Everything else is the last copy and stays. Example:
  wheelwitness archive thin --older-than 365 --copy /media/stick/drive-archive";

/// Reads a size: a number with B, kB, MB, GB or TB, or without for bytes.
pub(super) fn size(text: &str) -> Result<u64, String> {
    let units = [("kB", 1_000), ("MB", 1_000_000), ("GB", 1_000_000_000)];
    let units = units.into_iter().chain([("TB", 1_000_000_000_000), ("B", 1)]);
    let mut parts = units.filter_map(|(u, factor)| Some((text.strip_suffix(u)?, factor)));
    let (number, factor) = parts.next().unwrap_or((text, 1));
    let number: Option<u64> = number.trim().parse().ok();
    number
        .and_then(|n| n.checked_mul(factor))
        .ok_or_else(|| "write a whole number such as 500MB or 20GB".into())
}

/// Nanoseconds in a day.
const DAY_NS: i64 = 86_400_000_000_000;

pub(super) fn thin(at: &Path, args: &ThinArgs) -> Ended {
    let archive = open(at)?;
    let before = |days: u32| now_ns().saturating_sub(i64::from(days).saturating_mul(DAY_NS));
    let rule = Rule { before_ns: args.older_than.map(before), down_to_bytes: args.down_to };
    let plan = if args.remove {
        archive.thin(&rule, &args.copies)
    } else {
        archive.plan(&rule, &args.copies)
    };
    let plan = plan.map_err(told)?;
    say(&told_plan(&plan, args.remove));
    for (id, why) in &plan.staying {
        complain(&format!("{id}: stays: {why}"));
    }
    Ok(if plan.staying.is_empty() { exit::DONE } else { exit::STORAGE })
}

fn told_plan(plan: &Plan, removed: bool) -> String {
    let word = if removed { "removed" } else { "would go" };
    let mut text = String::new();
    let mut bytes = 0;
    for (drive, copy) in &plan.going {
        let size = drive.manifest.bytes();
        bytes += size;
        let (id, size) = (&drive.id, words::bytes(size));
        text += &format!("{id}: {word}: {size}; whole copy in {}\n", copy.display());
    }
    let (n, size) = (plan.going.len(), words::bytes(bytes));
    text += &format!("{n} drives, {size}, {word}; {} stay\n", plan.staying.len());
    if !removed && n > 0 {
        text += "Nothing was changed; the same command with --remove removes them.\n";
    }
    text
}
