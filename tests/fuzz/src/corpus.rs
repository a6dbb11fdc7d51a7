//! Inputs worth keeping, as text: a line of hexadecimal digits an input.

use crate::targets::Target;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// So many bytes of inputs are kept of a target, the shortest first.
const MOST_BYTES: usize = 8 * 1024;

/// The folder beside this crate's sources.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("corpus")
}

/// The inputs kept of a target.
pub fn kept(target: &Target) -> Vec<Vec<u8>> {
    let text = fs::read_to_string(folder().join(format!("{}.hex", target.name)));
    text.unwrap_or_default().lines().filter_map(bytes_of).collect()
}

/// Everything that is known of a target: its seeds and what was kept.
pub fn all(target: &Target) -> Vec<Vec<u8>> {
    let mut all = (target.seeds)();
    all.extend(kept(target));
    all
}

/// Puts all of it into a folder, a file each, as the engine wants it.
pub fn lay_out(target: &Target, into: &Path) -> io::Result<()> {
    fs::create_dir_all(into)?;
    for (n, bytes) in all(target).iter().enumerate() {
        fs::write(into.join(format!("kept-{n:05}")), bytes)?;
    }
    Ok(())
}

/// Keeps what a folder of the engine holds.
pub fn keep(target: &Target, from: &Path) -> io::Result<usize> {
    let mut inputs = Vec::new();
    for entry in fs::read_dir(from)? {
        inputs.push(fs::read(entry?.path())?);
    }
    inputs.sort_by(|a, b| (a.len(), a).cmp(&(b.len(), b)));
    inputs.dedup();
    let (mut text, mut count, mut room) = (String::new(), 0, MOST_BYTES);
    for bytes in &inputs {
        let Some(left) = room.checked_sub(bytes.len()) else { break };
        (room, count) = (left, count + 1);
        bytes.iter().for_each(|byte| text += &format!("{byte:02x}"));
        text.push('\n');
    }
    fs::create_dir_all(folder())?;
    fs::write(folder().join(format!("{}.hex", target.name)), text)?;
    Ok(count)
}

fn bytes_of(line: &str) -> Option<Vec<u8>> {
    let digits = line.as_bytes().chunks_exact(2);
    digits.map(|two| u8::from_str_radix(std::str::from_utf8(two).ok()?, 16).ok()).collect()
}
