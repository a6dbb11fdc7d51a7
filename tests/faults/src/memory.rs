//! Memory that runs out: the real program in a group of processes to which the kernel gives little.

use crate::bench::{Kept, LIMIT, Outcome, Program, Scratch, WORD_BYTES, Wire};
use crate::full::Small;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;
use wheelwitness_logger::recovery::{NOTE_NAME, settle};

/// What the recorder may have, in bytes: enough to record, less than it holds for a medium that
/// takes nothing (32 MiB).
const MAY_HAVE: u64 = 24 << 20;
/// Words in a burst on the line.
const BURST: u64 = 4096;

/// Where groups with a limit of memory are made, and what the limit is called: cgroups of version
/// 1, then 2 (cgroups(7)).
const GROUPS: [(&str, &str); 2] =
    [("/sys/fs/cgroup/memory", "memory.limit_in_bytes"), ("/sys/fs/cgroup", "memory.max")];

/// A group of processes with a limit of memory.
struct Group(PathBuf);

impl Group {
    fn new(bytes: u64) -> Result<Group, String> {
        let made = GROUPS.iter().find_map(|(top, limit)| {
            let path = Path::new(top).join(format!("wheelwitness-{}", std::process::id()));
            std::fs::create_dir(&path).ok()?;
            let group = Group(path);
            std::fs::write(group.0.join(limit), bytes.to_string()).ok()?;
            Some(group)
        });
        made.ok_or("no group with a limit of memory can be made: needs root and cgroups".into())
    }

    /// A command that runs `program` in the group.
    fn command(&self, program: &Path) -> Command {
        let mut command = Command::new("sh");
        command.args(["-c", "echo $$ >\"$0\"; exec \"$@\""]);
        command.arg(self.0.join("cgroup.procs")).arg(program);
        command
    }
}

impl Drop for Group {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir(&self.0);
    }
}

/// The medium takes nothing more, what arrives waits in memory, and the kernel ends the recorder
/// for that: what was synced is there, and the next start says that the end is missing.
pub fn starved(program: &Path) -> Outcome {
    let bench = Scratch::new("starved")?;
    let small = Small::new(&bench, "2m")?;
    let (ballast, into) = (small.0.join("ballast"), small.0.join("drive"));
    std::fs::write(&ballast, vec![1; 1_000_000]).map_err(|e| e.to_string())?;
    let group = Group::new(MAY_HAVE)?;
    let wire = Wire::new()?;
    let mut command = group.command(program);
    command.args(["record", "--quiet", "--reserve", "0", "--source", &wire.source(), "--into"]);
    let mut recorder = Program::start(command.arg(&into))?;
    recorder.wait_for("opened")?;
    let sent = feed_until_dead(&mut recorder, &wire)?;
    let (code, said) = recorder.end()?;
    std::fs::remove_file(&ballast).map_err(|e| e.to_string())?;
    if code.is_some() || !said.contains("No space left") {
        return Err(format!("not ended by the kernel: exit code {code:?}; it said: {said}"));
    }
    let kept = Kept::of(&into)?;
    kept.check_holes()?;
    let words = kept.words()?;
    let medium_words = (500_000 / WORD_BYTES, sent as usize);
    if kept.closed || !(medium_words.0..=medium_words.1).contains(&words) {
        return Err(format!("{words} of {sent} words"));
    }
    let noted = settle(&into).map_err(|e| e.to_string())?.is_some();
    if !noted || !into.join(NOTE_NAME).exists() {
        return Err("nobody says that this recording was cut off".into());
    }
    Ok(format!("ended by the kernel at {} MiB: {words} words kept in order", MAY_HAVE >> 20))
}

/// Sends numbered words as fast as the line takes them, until the recorder is gone.
fn feed_until_dead(recorder: &mut Program, wire: &Wire) -> Result<u64, String> {
    let mut device = wire.device()?;
    let on = AtomicBool::new(true);
    std::thread::scope(|scope| {
        let feeding = scope.spawn(|| {
            let (mut next, until) = (0, Instant::now() + LIMIT);
            while on.load(Ordering::Relaxed) && Instant::now() < until {
                let words = next..next + BURST;
                let bytes: Vec<u8> = words.flat_map(u64::to_le_bytes).collect();
                let sent = crate::bench::send(&mut device, &bytes, || on.load(Ordering::Relaxed));
                next += BURST;
                if !sent {
                    break;
                }
            }
            let _ = device.flush();
            next
        });
        let ended = recorder.wait_until_gone();
        on.store(false, Ordering::Relaxed);
        let sent = feeding.join().map_err(|_| "the feed panicked".to_owned());
        ended.and(sent)
    })
}
