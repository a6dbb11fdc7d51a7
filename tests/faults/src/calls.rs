//! System calls that fail: each write, sync, opening and removal of a recording, once, with each
//! error that an operating system may have for it. strace injects them into the real program.

use crate::bench::{Feed, Kept, Outcome, Program, Scratch, Wire, repeat};
use nix::sys::signal::Signal;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

/// The calls by which a recording reaches its medium.
const CALLS: [&str; 6] = ["write", "fdatasync", "fsync", "openat", "mkdir", "unlink"];
/// What they may be answered.
const ERRORS: [&str; 7] = ["EIO", "ENOSPC", "EROFS", "EDQUOT", "EFBIG", "EINTR", "EACCES"];
/// Segments whose files are watched; a recording that meets one error makes two.
const SEGMENTS: u32 = 4;
/// How long the line talks in one recording.
const TALK: Duration = Duration::from_millis(700);

/// One recording under injection.
struct Run {
    code: Option<i32>,
    said: String,
    kept: Kept,
    sent: usize,
    trace: String,
}

/// Lets each call fail once with each error; a short sweep takes every third.
pub fn sweep(program: &Path, full: bool, threads: u64) -> Outcome {
    let clean = run(program, None)?;
    let counts = CALLS.map(|call| (call, count_of(&clean.trace, call)));
    let all: Vec<_> = counts
        .into_iter()
        .flat_map(|(call, count)| (1..=count).map(move |nth| (call, nth)))
        .flat_map(|(call, nth)| ERRORS.map(|error| (call, nth, error)))
        .collect();
    let step = if full { 1 } else { 5 };
    let chosen: Vec<_> = all.iter().step_by(step).collect();
    let (unharmed, refused, told) = (AtomicU64::new(0), AtomicU64::new(0), AtomicU64::new(0));
    repeat(chosen.len() as u64, threads, |number| {
        let (call, nth, error) = chosen[number as usize];
        let run = run(program, Some(&format!("{call}:error={error}:when={nth}")))?;
        let counter = match judge(&run).map_err(|why| {
            format!("{call} number {nth} fails with {error}: {why}; it said: {}", run.said)
        })? {
            Harm::None => &unharmed,
            Harm::Refused => &refused,
            Harm::Told => &told,
        };
        counter.fetch_add(1, Ordering::Relaxed);
        Ok(())
    })?;
    let count = |n: &AtomicU64| n.load(Ordering::Relaxed);
    Ok(format!(
        "{} recordings, one failing call each: {} lost nothing, {} refused to begin, {} ended \
         with what is missing told; 0 panics, 0 silent losses",
        chosen.len(),
        count(&unharmed),
        count(&refused),
        count(&told),
    ))
}

enum Harm {
    None,
    Refused,
    Told,
}

/// Everything that was sent is there, or the user was told and the shell too.
fn judge(run: &Run) -> Result<Harm, String> {
    if run.said.contains("panicked") || run.said.contains("our bug") {
        return Err("a panic".into());
    }
    run.kept.check_holes()?;
    let words = run.kept.words()?;
    match run.code {
        Some(0) if words == run.sent && run.kept.closed => Ok(Harm::None),
        Some(6) if run.sent == 0 && !run.said.trim().is_empty() => Ok(Harm::Refused),
        Some(4 | 6) if !run.said.trim().is_empty() => Ok(Harm::Told),
        code => Err(format!("exit code {code:?} with {words} of {} words", run.sent)),
    }
}

/// Records what the line says, with one call failing or none.
fn run(program: &Path, inject: Option<&str>) -> Result<Run, String> {
    let bench = Scratch::in_memory("calls")?;
    let into = bench.path("drive");
    let trace = bench.path("trace");
    let wire = Wire::new()?;
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "-o"]).arg(&trace);
    for path in watched(&into) {
        command.arg("-P").arg(path);
    }
    command.args(["-e", &format!("trace={}", CALLS.join(","))]);
    if let Some(inject) = inject {
        command.args(["-e", &format!("inject={inject}")]);
    }
    command.arg(program).args(["record", "--quiet", "--patience", "3"]);
    command.args(["--source", &wire.source(), "--into"]).arg(&into);
    let mut recorder = Program::start(&mut command)?;
    let feed = Feed::default();
    if recorder.wait_for("opened").is_ok() {
        let mut device = wire.device()?;
        let on = AtomicBool::new(true);
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let on = || on.load(Ordering::Relaxed);
                feed.run(&mut device, 10, Duration::from_millis(3), on);
            });
            std::thread::sleep(TALK);
            on.store(false, Ordering::Relaxed);
        });
        terminate(&recorder);
    }
    let (code, said) = recorder.end()?;
    let trace = std::fs::read_to_string(&trace).unwrap_or_default();
    Ok(Run { code, said, kept: kept_or_none(&into)?, sent: feed.sent(), trace })
}

fn kept_or_none(into: &Path) -> Result<Kept, String> {
    if into.exists() { Kept::of(into) } else { Ok(Kept::default()) }
}

/// The folder, the one above it, the mark and the first segments.
fn watched(into: &Path) -> Vec<PathBuf> {
    let mut all = vec![into.to_owned(), into.join("recorder.lock")];
    all.extend(into.parent().map(Path::to_owned));
    all.extend((1..=SEGMENTS).map(|n| into.join(format!("segment-{n:06}.wwc"))));
    all
}

/// Asks the traced program to end.
fn terminate(strace: &Program) {
    if let Some(id) = child_of(strace.id()) {
        // It may have ended by itself.
        let _ = nix::sys::signal::kill(id, Signal::SIGTERM);
    }
}

/// The first process that `id` started: the traced one.
fn child_of(id: u32) -> Option<nix::unistd::Pid> {
    let path = format!("/proc/{id}/task/{id}/children");
    let children = std::fs::read_to_string(path).ok()?;
    let first = children.split_whitespace().next()?;
    Some(nix::unistd::Pid::from_raw(first.parse().ok()?))
}

fn count_of(trace: &str, call: &str) -> usize {
    let begins = format!("{call}(");
    trace
        .lines()
        .filter(|line| line.split_whitespace().nth(1).is_some_and(|w| w.starts_with(&begins)))
        .count()
}

/// A sync that returns only after `stall`: nothing may be lost meanwhile.
pub fn stall(program: &Path, stall: Duration) -> Outcome {
    let bench = Scratch::in_memory("stall")?;
    let into = bench.path("drive");
    let wire = Wire::new()?;
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "-o", "/dev/null", "-e", "trace=fdatasync", "-e"]);
    command.arg(format!("inject=fdatasync:delay_exit={}:when=4", stall.as_micros()));
    command.arg(program).args(["record", "--quiet", "--source", &wire.source(), "--into"]);
    let mut recorder = Program::start(command.arg(&into))?;
    recorder.wait_for("opened")?;
    let (feed, on) = (Feed::default(), AtomicBool::new(true));
    let mut device = wire.device()?;
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let on = || on.load(Ordering::Relaxed);
            feed.run(&mut device, 10, Duration::from_millis(3), on);
        });
        std::thread::sleep(stall + Duration::from_secs(2));
        on.store(false, Ordering::Relaxed);
    });
    terminate(&recorder);
    let (code, said) = recorder.end()?;
    let kept = Kept::of(&into)?;
    kept.check_holes()?;
    let words = kept.words()?;
    if code != Some(0) || words != feed.sent() {
        return Err(format!("exit code {code:?}, {words} of {} words; {said}", feed.sent()));
    }
    Ok(format!("a sync of {:.1} s: all {words} words kept, none dropped", stall.as_secs_f64()))
}
