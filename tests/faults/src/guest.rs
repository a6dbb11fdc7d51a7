//! What the kernel of this computer may not have, such as FAT: the guest of the recorder's tests.

use crate::bench::Outcome;
use crate::cut::Found;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The top of the house.
pub fn top() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).unwrap_or(here).into()
}

/// What runs a command in the guest.
pub fn runner() -> PathBuf {
    top().join("logger/can-guest/run")
}

/// Cuts of one run of the guest.
const CUTS_A_RUN: u64 = 50;

/// Cuts the power of FAT volumes `count` times in the guest, where this program runs again, some
/// cuts a run. What each run has shown is told, and kept in the file `into`; runs that are in it
/// already are not made again.
pub fn fat_cuts(program: &Path, count: u64, into: Option<&Path>) -> Outcome {
    let mut all = Found::default();
    let lines = into.map(std::fs::read_to_string).and_then(Result::ok).unwrap_or_default();
    lines.lines().filter_map(Found::of_line).for_each(|found| all.add(&found));
    while all.cuts < count {
        let found = fat_run(program, all.cuts, CUTS_A_RUN.min(count - all.cuts))?;
        all.add(&found);
        if let Some(into) = into {
            let file = OpenOptions::new().append(true).create(true).open(into);
            let kept = file.and_then(|mut file| writeln!(file, "{}", found.line()));
            kept.map_err(|e| format!("{}: {e}", into.display()))?;
        }
        eprintln!("FAT: {all}");
    }
    Ok(all.to_string())
}

/// One run of the guest. The number of cuts before it gives it volumes of its own.
fn fat_run(program: &Path, before: u64, count: u64) -> Result<Found, String> {
    let mut command = Command::new(runner());
    command.arg(program).args(["fat-cuts", &before.to_string(), &count.to_string()]);
    // About a second a cut, with room for a busy computer.
    command.env("WHEELWITNESS_GUEST_SECONDS", (120 + count * 15).to_string());
    let output = command.output().map_err(|e| format!("no guest: {e}"))?;
    let said = String::from_utf8_lossy(&output.stdout);
    let last = said.lines().rev().find(|line| !line.trim().is_empty()).unwrap_or_default();
    match Found::of_line(last) {
        Some(found) if output.status.success() => Ok(found),
        _ => Err(format!("{last} {}", String::from_utf8_lossy(&output.stderr).trim())),
    }
}
