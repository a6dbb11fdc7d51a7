//! Media that are full, read-only, gone, or have a longest file: the real program on real ones.

use crate::bench::{Feed, Kept, Outcome, Program, Scratch, Wire, send};
use crate::volume::{System, Volume, shut_down};
use nix::mount::{MntFlags, MsFlags, mount, umount2};
use nix::sys::signal::Signal;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// After space was made, or a medium went, the recording must go on within so many seconds.
const BACK_S: f64 = 2.0;
const GONE_S: f64 = 1.25;

/// A recording with a talking line, until it is ended.
struct Talk<'a> {
    recorder: Program,
    wire: &'a Wire,
    feed: Feed,
}

impl<'a> Talk<'a> {
    fn begin(wire: &'a Wire, mut command: Command, more: &[&str]) -> Result<Self, String> {
        command.args(["record", "--quiet", "--reserve", "0", "--source", &wire.source()]);
        let mut recorder = Program::start(command.args(more))?;
        recorder.wait_for("opened")?;
        Ok(Talk { recorder, wire, feed: Feed::default() })
    }

    /// Talks while `body` runs, then ends the recording; gives exit code and what it said.
    fn during<T>(
        mut self,
        body: impl FnOnce(&mut Program) -> Result<T, String>,
    ) -> Result<(T, Option<i32>, String, usize), String> {
        let on = AtomicBool::new(true);
        let mut device = self.wire.device()?;
        let (feed, recorder) = (&self.feed, &mut self.recorder);
        let done = std::thread::scope(|scope| {
            scope.spawn(|| {
                let on = || on.load(Ordering::Relaxed);
                feed.run(&mut device, 20, Duration::from_millis(3), on);
            });
            let done = body(recorder);
            on.store(false, Ordering::Relaxed);
            done
        })?;
        self.recorder.signal(Signal::SIGTERM);
        let (code, said) = self.recorder.end()?;
        Ok((done, code, said, self.feed.sent()))
    }
}

/// A small medium in memory.
pub(crate) struct Small(pub(crate) PathBuf);

impl Small {
    pub(crate) fn new(bench: &Scratch, size: &str) -> Result<Small, String> {
        let at = bench.path("small");
        std::fs::create_dir(&at).map_err(|e| e.to_string())?;
        let options = format!("size={size}");
        mount(Some("tmpfs"), &at, Some("tmpfs"), MsFlags::empty(), Some(options.as_str()))
            .map_err(|e| format!("no small medium: {e}; this needs root"))?;
        Ok(Small(at))
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = umount2(&self.0, MntFlags::MNT_DETACH);
    }
}

/// A medium fills up, space is made, and the recording goes on without a hole.
pub fn space_returns(program: &Path) -> Outcome {
    let bench = Scratch::new("space")?;
    let small = Small::new(&bench, "2m")?;
    let (ballast, into) = (small.0.join("ballast"), small.0.join("drive"));
    std::fs::write(&ballast, vec![1; 1_900_000]).map_err(|e| e.to_string())?;
    let wire = Wire::new()?;
    let talk = Talk::begin(&wire, Command::new(program), &["--into", text(&into)?])?;
    let (back_s, code, said, sent) = talk.during(|recorder| {
        recorder.wait_for("No space left")?;
        std::thread::sleep(Duration::from_secs(3));
        std::fs::remove_file(&ballast).map_err(|e| e.to_string())?;
        let made = Instant::now();
        recorder.wait_for("takes data again")?;
        Ok(made.elapsed().as_secs_f64())
    })?;
    let words = whole(&into, code, &said, sent)?;
    let told = format!("goes on {back_s:.2} s after space was made, all {words} words kept");
    if back_s > BACK_S { Err(told) } else { Ok(told) }
}

/// The medium goes away under the recording; the second one takes over.
pub fn pulled(program: &Path) -> Outcome {
    let bench = Scratch::new("pulled")?;
    let volume = Volume::new(System::Ext4)?;
    let (into, spare) = (volume.top().join("drive"), bench.path("spare"));
    let wire = Wire::new()?;
    let more = ["--into", text(&into)?, "--spare", text(&spare)?];
    let talk = Talk::begin(&wire, Command::new(program), &more)?;
    let (gone_s, code, said, sent) = talk.during(|recorder| {
        std::thread::sleep(Duration::from_millis(600));
        let pulled = Instant::now();
        shut_down(&volume.top())?;
        recorder.wait_for("recording goes on into")?;
        let gone_s = pulled.elapsed().as_secs_f64();
        std::thread::sleep(Duration::from_millis(600));
        Ok(gone_s)
    })?;
    let mut volume = volume;
    volume.restore()?;
    let both = bench.path("both");
    join(&[&into, &spare], &both)?;
    let words = whole(&both, code, &said, sent)?;
    let told = format!("noticed after {gone_s:.2} s, both media together hold all {words} words");
    if gone_s > GONE_S { Err(told) } else { Ok(told) }
}

/// A file system turns read-only: told with its reason; and one that is so refuses at the start.
pub fn read_only(program: &Path) -> Outcome {
    let bench = Scratch::new("read-only")?;
    let volume = Volume::new(System::Ext4)?;
    let (into, spare) = (volume.top().join("drive"), bench.path("spare"));
    let wire = Wire::new()?;
    let more = ["--into", text(&into)?, "--spare", text(&spare)?];
    let talk = Talk::begin(&wire, Command::new(program), &more)?;
    let (told_s, code, said, sent) = talk.during(|recorder| {
        std::thread::sleep(Duration::from_millis(600));
        remount_read_only(&volume.top())?;
        let begun = Instant::now();
        recorder.wait_for("recording goes on into")?;
        Ok(begun.elapsed().as_secs_f64())
    })?;
    if !said.contains("Read-only file system") {
        return Err(format!("the reason is not told: {said}"));
    }
    let both = bench.path("both");
    join(&[&into, &spare], &both)?;
    let words = whole(&both, code, &said, sent)?;
    let mut command = Command::new(program);
    command.args(["record", "--source", &wire.source(), "--reserve", "0", "--into"]);
    let again = Program::start(command.arg(volume.top().join("again")))?.end()?;
    if again.0 != Some(6) || !again.1.contains("fsck") {
        return Err(format!("at the start: exit code {:?}, {}", again.0, again.1));
    }
    Ok(format!(
        "told after {told_s:.2} s with the reason, all {words} words kept; refused at the \
                start with the cure"
    ))
}

/// What the kernel does by itself after an error of an ext4 file system.
fn remount_read_only(top: &Path) -> Result<(), String> {
    let source = crate::bench::must(Command::new("findmnt").args(["-no", "SOURCE"]).arg(top))?;
    let device = source.trim().trim_start_matches("/dev/");
    let errors = Some("errors=remount-ro");
    mount(None::<&str>, top, None::<&str>, MsFlags::MS_REMOUNT, errors)
        .map_err(|e| format!("errors=remount-ro: {e}"))?;
    let switch = format!("/sys/fs/ext4/{device}/trigger_fs_error");
    std::fs::write(&switch, "1").map_err(|e| format!("{switch}: {e}"))
}

/// No file may be longer than a limit (4 GiB on FAT32; here 1 MiB): a new segment follows.
pub fn longest_file(program: &Path) -> Outcome {
    let bench = Scratch::in_memory("longest")?;
    let into = bench.path("drive");
    let wire = Wire::new()?;
    let mut command = Command::new("bash");
    // A limit of the process answers EFBIG, as FAT32 does, once its signal is ignored.
    command.args(["-c", "trap '' XFSZ; ulimit -f 1024; exec \"$0\" \"$@\""]).arg(program);
    let talk = Talk::begin(&wire, command, &["--into", text(&into)?])?;
    let bytes = vec![b'x'; 100_000];
    let mut device = wire.device()?;
    let ((), code, said, _) = talk.during(|recorder| {
        for _ in 0..25 {
            if !send(&mut device, &bytes, || true) {
                return Err("the line is not read".into());
            }
        }
        recorder.wait_for("File too large")
    })?;
    let kept = Kept::of(&into)?;
    kept.check_holes()?;
    let xs = kept.bytes().iter().filter(|b| **b == b'x').count();
    if code != Some(0) || !kept.closed || xs < 2_500_000 {
        return Err(format!("exit code {code:?}, {xs} bytes, {said}"));
    }
    Ok(format!("{xs} bytes over a limit of 1 MiB a file: none lost, goes on in new segments"))
}

/// Everything that was sent is there and the recording ended well.
fn whole(folder: &Path, code: Option<i32>, said: &str, sent: usize) -> Result<usize, String> {
    let kept = Kept::of(folder)?;
    kept.check_holes()?;
    let words = kept.words()?;
    if code == Some(0) && kept.closed && words == sent {
        return Ok(words);
    }
    Err(format!("exit code {code:?}, {words} of {sent} words, it said: {said}"))
}

fn join(folders: &[&Path], into: &Path) -> Result<(), String> {
    std::fs::create_dir(into).map_err(|e| e.to_string())?;
    for folder in folders {
        for file in std::fs::read_dir(folder).map_err(|e| e.to_string())?.flatten() {
            let copied = std::fs::copy(file.path(), into.join(file.file_name()));
            copied.map_err(|e| e.to_string())?;
        }
    }
    Ok(())
}

fn text(path: &Path) -> Result<&str, String> {
    path.to_str().ok_or_else(|| format!("{} is no text", path.display()))
}
