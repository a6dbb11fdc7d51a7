//! What the kernel of this computer may not have, such as FAT: the guest of the recorder's tests.

use crate::bench::Outcome;
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

/// Cuts the power of a FAT volume `count` times in the guest, where this program runs again.
pub fn fat_cuts(program: &Path, count: u64) -> Outcome {
    let mut command = Command::new(runner());
    command.arg(program).args(["fat-cuts", &count.to_string()]);
    // About a second a cut, with room for a slow computer.
    command.env("WHEELWITNESS_GUEST_SECONDS", (120 + count * 4).to_string());
    let output = command.output().map_err(|e| format!("no guest: {e}"))?;
    let said = String::from_utf8_lossy(&output.stdout);
    let last = said.lines().rev().find(|line| !line.trim().is_empty()).unwrap_or_default();
    if output.status.success() {
        return Ok(last.to_owned());
    }
    Err(format!("{last} {}", String::from_utf8_lossy(&output.stderr).trim()))
}
